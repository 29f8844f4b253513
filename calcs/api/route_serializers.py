"""Plans of several due visits on the wire: what is asked in, who goes where on which day out."""

from typing import Any, ClassVar

from rest_framework import serializers

from calcs import codec
from calcs.api.serializers import FailureSerializer
from calcs.api.trial_serializers import StrictSerializer
from calcs.models import RoutePlan
from calcs.planning.problem import DAY_MIN, MOST_STOPS
from calcs.routes.asked import LEAST_MINUTES, MOST_CREWS, WORKDAYS, Asked, Lock
from jobs.api.base import RowSerializer
from jobs.models import Skill, Visit

Shape = serializers.Serializer[Any]
_MANY: dict[str, Any] = {"many": True, "max_length": MOST_STOPS}
_FEW: dict[str, Any] = {"many": True, "max_length": MOST_CREWS}


class AskedHomeSerializer(StrictSerializer):
    """A home that is to be visited."""

    siting = serializers.UUIDField()
    kind = serializers.ChoiceField(choices=Visit.Kind.choices, default=Visit.Kind.RECHECK)
    minutes = serializers.IntegerField(
        min_value=LEAST_MINUTES,
        max_value=DAY_MIN,
        required=False,
        allow_null=True,
        help_text="without driving; null: by the rules",
    )
    needs = serializers.ListField(
        child=serializers.ChoiceField(choices=Skill.choices),
        required=False,
        allow_null=True,
        help_text="what somebody of the crew must be able to do; null: what is usual for the kind",
    )


class AskedCrewSerializer(StrictSerializer):
    """A lead with the people and trucks that go along; a crew goes together all day."""

    lead = serializers.UUIDField()
    crew = serializers.ListField(child=serializers.UUIDField(), max_length=20, required=False)
    trucks = serializers.ListField(child=serializers.UUIDField(), max_length=20, required=False)


class LockSerializer(StrictSerializer):
    """A home that goes to one crew on one day, whatever else would be better."""

    siting = serializers.UUIDField()
    lead = serializers.UUIDField()
    on = serializers.DateField()


class LocksSerializer(StrictSerializer):
    """What is locked when the same is planned again; nothing else is."""

    locks = LockSerializer(**_MANY)


class AskedSerializer(StrictSerializer):
    """What is to be planned."""

    homes = AskedHomeSerializer(**_MANY)
    crews = AskedCrewSerializer(**_FEW)
    from_on = serializers.DateField(help_text="day 0")
    to_on = serializers.DateField()
    weekdays = serializers.ListField(
        child=serializers.IntegerField(min_value=0, max_value=6),
        max_length=7,
        default=list(WORKDAYS),
        help_text="0: Monday",
    )
    locks = LockSerializer(**_MANY, required=False)

    def asked(self) -> Asked:
        """Return what is asked, of a body that is valid."""
        sent = {name: value for name, value in _plain(self.validated_data).items() if value is not None}
        return codec.decode(sent, Asked)


def locks_of(body: LocksSerializer) -> tuple[Lock, ...]:
    """Return what is locked, of a body that is valid."""
    return tuple(codec.decode(lock, Lock) for lock in _plain(body.validated_data)["locks"])


def _plain(value: Any) -> Any:
    """Return what a serializer made with keys and days as text."""
    if isinstance(value, dict):
        return {name: _plain(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value if value is None or isinstance(value, int | str) else str(value)


class FiguresSerializer(Shape):
    """What a plan comes to, over all crews and days."""

    visits = serializers.IntegerField()
    left_out = serializers.IntegerField()
    miles = serializers.FloatField(help_text="on roads, estimated from straight lines")
    drive_min = serializers.IntegerField()
    late_days = serializers.IntegerField(help_text="what is left out counts as on the day after the last")
    weighted_late_days = serializers.FloatField(help_text="each home's days times its weight, by chance")
    off_season = serializers.IntegerField()


class CallSerializer(Shape):
    """One place that a crew comes to."""

    code = serializers.CharField(help_text="the siting; or the visits that were booked before, or off and a minute")
    is_booked = serializers.BooleanField(help_text="booked before")
    from_min = serializers.IntegerField(help_text="minutes from midnight, by the company's clock")
    to_min = serializers.IntegerField()
    drive_mi = serializers.FloatField(help_text="from the place before")
    drive_min = serializers.IntegerField(help_text="kept for the way: whole steps of 5")
    late_days = serializers.IntegerField()
    is_off_season = serializers.BooleanField()


class RouteSerializer(Shape):
    """One crew's day."""

    crew = serializers.UUIDField(help_text="its lead")
    day = serializers.IntegerField(help_text="from from_on, which is 0")
    calls = CallSerializer(many=True)
    back_mi = serializers.FloatField()
    back_min = serializers.IntegerField()


class LeftOutSerializer(Shape):
    """A home that does not fit, and why."""

    code = serializers.UUIDField(help_text="the siting")
    why = serializers.ChoiceField(choices=["skill", "early", "off", "hours", "lock", "room"])
    lacks = serializers.ListField(child=serializers.CharField(), help_text="skills")


class PlanResultSerializer(Shape):
    """Who goes where on which day."""

    routes = RouteSerializer(many=True)
    left_out = LeftOutSerializer(many=True)
    figures = FiguresSerializer()
    hand = FiguresSerializer(help_text="of hand order: nearest due date first, filled day by day")
    is_proven = serializers.BooleanField(help_text="nothing better exists by what counts")
    slack_mi = serializers.FloatField(help_text="nothing is better by more, in miles or their worth")
    is_by_hand = serializers.BooleanField()


class SearchProgressSerializer(Shape):
    """How far a search is."""

    share = serializers.FloatField(help_text="of the effort, 0 to 1")
    found = FiguresSerializer()
    hand = FiguresSerializer()


class RoutePlanSerializer(RowSerializer):
    """A plan, and how far it is."""

    progress = SearchProgressSerializer(read_only=True, allow_null=True)
    set_aside = serializers.DictField(
        child=serializers.ChoiceField(choices=["place", "booked", "gone"]),
        read_only=True,
        help_text="by siting why a home can't be planned: no place on record, booked already, gone",
    )
    booked = serializers.DictField(
        child=serializers.UUIDField(), read_only=True, help_text="by siting the visit that was booked from it"
    )

    class Meta:
        model = RoutePlan
        fields = [
            *("id", "from_on", "state", "progress", "set_aside", "booked", "replaces", "requested_by"),
            *("created_at", "finished_at"),
        ]
        read_only_fields: ClassVar[list[str]] = fields


class RoutePlanDetailSerializer(RoutePlanSerializer):
    """A plan with what was asked and what came of it."""

    asked = AskedSerializer(read_only=True)
    result = PlanResultSerializer(read_only=True, allow_null=True)
    error = FailureSerializer(read_only=True, allow_null=True)

    class Meta(RoutePlanSerializer.Meta):
        fields = [*RoutePlanSerializer.Meta.fields, "asked", "result", "error"]
        read_only_fields: ClassVar[list[str]] = fields


class BookFromSerializer(StrictSerializer):
    """Which of the planned homes are booked."""

    sitings = serializers.ListField(
        child=serializers.UUIDField(),
        max_length=MOST_STOPS,
        required=False,
        allow_null=True,
        help_text="null or left out: all that the plan visits",
    )


class BookedFromSerializer(Shape):
    """What was booked, and what was not and why."""

    visits = serializers.ListField(child=serializers.UUIDField())
    refused = serializers.DictField(child=serializers.CharField(), help_text="by siting, in a sentence")
