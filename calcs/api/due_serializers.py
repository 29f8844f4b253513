"""The due list over the API, as it is told and as it is booked from."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from calcs.due_list import DueRow
from calcs.models import Due
from jobs.booking_questions import QUESTIONS
from jobs.models import Job, Skill, SoilClass, Truck, User, Visit
from jobs.seasons import Fit, Ground


class DueVisitSerializer(serializers.Serializer[Any]):
    """A visit to a home that is due."""

    id = serializers.UUIDField()
    kind = serializers.ChoiceField(Visit.Kind.choices)
    state = serializers.ChoiceField(Visit.State.choices)
    starts_at = serializers.DateTimeField()


class SeasonSerializer(serializers.Serializer[Any]):
    """How good the season is in which a home is due, or today's where the day is past."""

    fit = serializers.ChoiceField(Fit.choices)
    ground = serializers.ChoiceField(Ground.choices, allow_null=True, help_text="what the ground does then")
    better_from = serializers.DateField(allow_null=True, help_text="first day of the better time that follows")


class NearSerializer(serializers.Serializer[Any]):
    """Another home that is due near."""

    siting = serializers.UUIDField()
    home = serializers.UUIDField()
    home_code = serializers.CharField(source="code")
    home_name = serializers.CharField(source="name")
    miles = serializers.FloatField(help_text="as the crow flies")
    due_on = serializers.DateField()
    booked_at = serializers.DateTimeField(allow_null=True, help_text="when somebody goes there anyway")


class DueSerializer(serializers.Serializer[Any]):
    """When a home is due, and why."""

    id = serializers.UUIDField(source="due.id")
    siting = serializers.UUIDField(source="due.siting_id")
    home = serializers.UUIDField(source="due.siting.home_id")
    home_code = serializers.CharField(source="due.siting.home.code")
    home_name = serializers.CharField(source="due.siting.home.name")
    address = serializers.CharField(source="due.siting.address")
    soil_class = serializers.ChoiceField(SoilClass.choices, source="due.siting.home.soil_class")
    survey = serializers.UUIDField(source="due.survey_id", allow_null=True)
    calculation = serializers.UUIDField(source="due.calculation_id", allow_null=True)
    basis = serializers.ChoiceField(Due.Basis.choices, source="due.basis")
    standing = serializers.ChoiceField(Due.Standing.choices, source="due.standing")
    due_on = serializers.DateField(source="due.due_on", allow_null=True, help_text="null: not within the horizon")
    latest_on = serializers.DateField(
        source="due.latest_on", allow_null=True, help_text="when it is as likely over as not"
    )
    chance_now = serializers.FloatField(source="due.chance_now", allow_null=True)
    chance_at_due = serializers.FloatField(source="due.chance_at_due", allow_null=True)
    reason = serializers.CharField(source="why", help_text="in one sentence, in the reader's language")
    rate_in_per_yr = serializers.FloatField(source="due.rate_in_per_yr", allow_null=True)
    worst_in = serializers.FloatField(source="due.worst_in", allow_null=True)
    is_stable = serializers.BooleanField(source="due.is_stable")
    has_outside_mark = serializers.BooleanField(source="due.has_outside_mark")
    as_of = serializers.DateField(source="due.as_of")
    is_past = serializers.BooleanField(help_text="it was due before today")
    season = SeasonSerializer()
    is_same_season = serializers.BooleanField(
        allow_null=True, help_text="as when it was last read, within 45 days of the year; null: never read"
    )
    last_visit = DueVisitSerializer(allow_null=True)
    next_visit = DueVisitSerializer(allow_null=True)
    near = serializers.SerializerMethodField(help_text="the nearest three that are due within 90 days")
    near_count = serializers.IntegerField(source="around.count", help_text="how many are due within 90 days near it")

    @extend_schema_field(NearSerializer(many=True))
    def get_near(self, row: DueRow) -> Any:
        """Return the nearest."""
        return NearSerializer(row.around.nearest, many=True).data


class BookDueSerializer(serializers.Serializer[Any]):
    """A visit to be booked for a home that is due."""

    kind = serializers.ChoiceField(Visit.Kind.choices, default=Visit.Kind.RECHECK)
    starts_at = serializers.DateTimeField()
    ends_at = serializers.DateTimeField()
    lead = serializers.PrimaryKeyRelatedField(queryset=User.objects.all(), allow_null=True, default=None)
    crew = serializers.PrimaryKeyRelatedField(queryset=User.objects.all(), many=True, default=list)
    trucks = serializers.PrimaryKeyRelatedField(queryset=Truck.objects.all(), many=True, default=list)
    needs = serializers.ListField(child=serializers.ChoiceField(Skill.choices), default=list)
    job = serializers.PrimaryKeyRelatedField(queryset=Job.objects.all(), allow_null=True, default=None)
    note = serializers.CharField(max_length=2000, allow_blank=True, default="")
    opens_job = serializers.BooleanField(default=False, help_text="with a job of its own, which came from the list")
    is_another = serializers.BooleanField(default=False, help_text="though a visit is booked already")
    despite = serializers.ListField(
        child=serializers.ChoiceField(list(QUESTIONS.items())), default=list, help_text="booked all the same"
    )
