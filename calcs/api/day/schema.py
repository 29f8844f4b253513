"""A phone's day in the OpenAPI document: it is loaded as plain values, not by these serializers."""

from typing import Any

from rest_framework import serializers

from calcs.api.day.work_schema import DayClosingSerializer, WorkSerializer
from jobs.api import field_serializers, layout_serializers, safety_serializers
from jobs.api.serializers import HomeSerializer, SitingSerializer
from jobs.api.visit_views import VisitSerializer
from jobs.cautions import Moment
from jobs.models import User
from surveys.api.serializers import ReadingSerializer, SetupSerializer, SurveySerializer

Fields = serializers.Serializer[Any]


class AskedSerializer(Fields):
    """Which day is asked for, and in which language."""

    date = serializers.DateField(required=False)
    language = serializers.ChoiceField(User._meta.get_field("language").flatchoices, required=False)


class ContactSerializer(Fields):
    """Whom to call about a home."""

    part = serializers.CharField()
    name = serializers.CharField()
    phone = serializers.CharField()


class DayHandoverSerializer(field_serializers.HandoverSerializer):
    """What was handed over last at the home, whichever visit it was at."""

    author_name = serializers.CharField()
    reader_name = serializers.CharField(help_text="empty while nobody has read it")

    class Meta(field_serializers.HandoverSerializer.Meta):
        fields = [*field_serializers.HandoverSerializer.Meta.fields, "author_name", "reader_name"]


class OpenSurveySerializer(SurveySerializer):
    """A survey that is not handed in yet, with what counts of it so far."""

    setups = SetupSerializer(many=True)
    standing_readings = ReadingSerializer(many=True)

    class Meta(SurveySerializer.Meta):
        fields = [*SurveySerializer.Meta.fields, "setups", "standing_readings"]


class DayDrainRunSerializer(layout_serializers.DrainRunSerializer):
    """A drain run with the places on it."""

    nodes = layout_serializers.DrainNodeSerializer(many=True, help_text="from the upper end down")

    class Meta(layout_serializers.DrainRunSerializer.Meta):
        fields = [*layout_serializers.DrainRunSerializer.Meta.fields, "nodes"]


class HeightSerializer(Fields):
    """A height above the mean of all points that were read."""

    point = serializers.UUIDField()
    height_in = serializers.FloatField()
    sd_in = serializers.FloatField()
    sd_posterior_in = serializers.FloatField(allow_null=True)


class LastSurveySerializer(SurveySerializer):
    """The newest survey that was handed in, with its heights once they are computed."""

    heights = HeightSerializer(many=True, allow_null=True)
    heights_are_newest = serializers.BooleanField(help_text="false once readings came in after they were asked for")

    class Meta(SurveySerializer.Meta):
        fields = [*SurveySerializer.Meta.fields, "heights", "heights_are_newest"]


class PlanMoveSerializer(Fields):
    """What happens at one support; heights are above the mean height of all points that were read."""

    point = serializers.UUIDField()
    move_in = serializers.FloatField(help_text="of the frame, up is positive")
    support_change_in = serializers.FloatField(help_text="of the support under it, a closed gap included")
    from_in = serializers.FloatField()
    to_in = serializers.FloatField(help_text="the height to reach")


class DayPlanSerializer(Fields):
    """A lift plan that stands for the last survey."""

    id = serializers.UUIDField()
    survey = serializers.UUIDField()
    option = serializers.CharField()
    minutes = serializers.FloatField()
    is_recommended = serializers.BooleanField()
    is_provisional = serializers.BooleanField()
    is_approved = serializers.BooleanField(help_text="this is the plan to work by; entries of others are kept too")
    freed = serializers.ListField(child=serializers.UUIDField(), help_text="connections to be freed before the lift")
    moves = PlanMoveSerializer(many=True)


class DayApprovalSerializer(Fields):
    """The approval that stands at a siting."""

    id = serializers.UUIDField()
    plan = serializers.UUIDField(help_text="not among the plans once readings have come in since: don't work by it")
    number = serializers.IntegerField()
    approved_at = serializers.DateTimeField()


class WorstSerializer(Fields):
    """The two neighbours that stand furthest apart."""

    a = serializers.UUIDField()
    b = serializers.UUIDField()
    by_in = serializers.FloatField()
    verdict = serializers.ChoiceField(["within", "uncertain", "over"])


class LastAsLeftSerializer(Fields):
    """How the home was left last."""

    survey = serializers.UUIDField()
    submitted_at = serializers.DateTimeField()
    heights = HeightSerializer(many=True, allow_null=True)
    worst = WorstSerializer(allow_null=True, help_text="null until it is computed")


class PlaceSerializer(Fields):
    """Everything about one home that is visited."""

    siting = SitingSerializer()
    home = HomeSerializer()
    contacts = ContactSerializer(many=True, help_text="empty for those who may not see customers")
    points = layout_serializers.PointSerializer(many=True)
    supports = layout_serializers.SupportSerializer(many=True)
    neighbour_pairs = layout_serializers.NeighbourPairSerializer(many=True)
    benchmarks = layout_serializers.BenchmarkSerializer(many=True)
    connections = layout_serializers.ConnectionSerializer(many=True)
    straps = layout_serializers.StrapSerializer(many=True)
    drain_runs = DayDrainRunSerializer(many=True)
    findings = field_serializers.FindingSerializer(many=True, help_text="those not archived")
    hazards = safety_serializers.HazardSerializer(many=True, help_text="of the home, not cleared yet")
    strap_checks = field_serializers.StrapCheckSerializer(many=True, help_text="the newest of each strap")
    open_surveys = OpenSurveySerializer(many=True)
    last_survey = LastSurveySerializer(allow_null=True)
    plans = DayPlanSerializer(many=True)
    approval = DayApprovalSerializer(allow_null=True)
    last_as_left = LastAsLeftSerializer(allow_null=True)
    last_handover = DayHandoverSerializer(allow_null=True)
    work = WorkSerializer(allow_null=True, help_text="by the approval that stands")
    closing = DayClosingSerializer(allow_null=True, help_text="of that approval")
    rules = serializers.DictField(child=serializers.FloatField(), help_text="the rule book as it holds here")
    reading_sd_in = serializers.DictField(
        child=serializers.FloatField(), help_text="standard deviation of one reading, by method"
    )


class CautionSerializer(Fields):
    """A caution to show at the moment it matters, in the day's language."""

    code = serializers.CharField()
    text = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]  # only the stubs see a clash with Field.source


class MomentCautionSerializer(CautionSerializer):
    """A caution of a moment. Who has read it is sent back with the hash of the text that was read."""

    hazard = serializers.CharField()
    language = serializers.ChoiceField(User._meta.get_field("language").flatchoices)
    text_sha256 = serializers.CharField()
    read_by = serializers.ListField(child=serializers.CharField(), help_text="names, for the text as it is now")


class MomentSerializer(Fields):
    """The cautions of one moment."""

    moment = serializers.ChoiceField(Moment.choices)
    cautions = MomentCautionSerializer(many=True)


class PersonSerializer(Fields):
    """Somebody of the company."""

    id = serializers.UUIDField()
    name = serializers.CharField()


class DayVisitSerializer(VisitSerializer):
    """A visit with who is on it, what was told of it, and its cautions in the order of a day's work."""

    people = PersonSerializer(many=True, help_text="the lead first")
    head_counts = safety_serializers.HeadCountSerializer(many=True, help_text="in the order in which they were noted")
    reports = field_serializers.VisitReportSerializer(many=True, help_text="in the same order")
    cautions_by_moment = MomentSerializer(many=True)

    class Meta(VisitSerializer.Meta):
        fields = [*VisitSerializer.Meta.fields, "people", "head_counts", "reports", "cautions_by_moment"]


class InspectionItemSerializer(Fields):
    """One thing to look at when a home is inspected, in the day's language."""

    code = serializers.CharField(help_text="what a finding's item says")
    words = serializers.CharField()
    look = serializers.CharField(help_text="what to look for")
    source = serializers.CharField()  # type: ignore[assignment]  # only the stubs see a clash with Field.source


class DaySerializer(Fields):
    """A person's day."""

    date = serializers.DateField()
    time_zone = serializers.CharField()
    language = serializers.ChoiceField(User._meta.get_field("language").flatchoices)
    person = serializers.UUIDField()
    visits = DayVisitSerializer(many=True)
    places = PlaceSerializer(many=True, help_text="one a siting that is visited")
    cautions = CautionSerializer(many=True)
    inspection_items = InspectionItemSerializer(
        many=True, help_text="what is looked at of a home as a whole, in order"
    )
