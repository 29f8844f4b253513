"""Approved work in a phone's day, in the OpenAPI document."""

from typing import Any

from rest_framework import serializers

from calcs.api.closing_views import ClosingSerializer, OpenSerializer
from calcs.api.pass_serializers import PassEntrySerializer
from surveys.models import Setup

Fields = serializers.Serializer[Any]


class MarkSerializer(Fields):
    """What a setup was referred to: while it reads the same, the level stands as it stood."""

    name = serializers.CharField()
    read_in = serializers.FloatField()


class WorkSetupSerializer(Fields):
    """The setup that numbers to read hold for."""

    id = serializers.UUIDField()
    code = serializers.CharField()
    sense = serializers.ChoiceField(Setup.Sense.choices)
    mark = MarkSerializer(allow_null=True)


class BesideSerializer(Fields):
    """What is read at a support that a pass does not move."""

    point = serializers.UUIDField()
    read_in = serializers.FloatField(allow_null=True, help_text="the number to read; null where none is known")


class StepSerializer(BesideSerializer):
    """One support in one pass."""

    by_in = serializers.FloatField(help_text="up is positive")
    is_hanging = serializers.BooleanField(help_text="it bears nothing after the pass")
    jack_lb = serializers.FloatField(help_text="what the jack pushes with")


class PassSerializer(Fields):
    """One round: groups in their order, each worked at once."""

    number = serializers.IntegerField()
    day = serializers.IntegerField()
    groups = serializers.ListField(child=StepSerializer(many=True))
    beside = BesideSerializer(many=True)


class WorkSupportSerializer(Fields):
    """How far a support goes in all."""

    point = serializers.UUIDField()
    change_in = serializers.FloatField(help_text="up is positive")
    gap_in = serializers.FloatField(help_text="how far it hangs below the frame: what it goes up more than the frame")


class StopSerializer(Fields):
    """Why not to work on at a support."""

    point = serializers.UUIDField()
    text = serializers.CharField()


class HangingSerializer(Fields):
    """A support that hangs after a pass, and what to do about it."""

    point = serializers.UUIDField()
    # "pass" is no name in Python: it is added below
    advice = serializers.ChoiceField(["snug_now", "leave"])

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Add the number of the pass."""
        return {**super().get_fields(), "pass": serializers.IntegerField()}


class WorkStrapSerializer(Fields):
    """What is done with a strap."""

    strap = serializers.UUIDField()
    handling = serializers.ChoiceField(["loosen_first", "retension", "leave"])
    loosen_in = serializers.FloatField()
    bolt_turns = serializers.FloatField()
    words = serializers.CharField(help_text="what bolt and strap show when it is snug again")


class WorkStackSerializer(Fields):
    """What is built at a support, course by course from the top down."""

    point = serializers.UUIDField()
    stack = serializers.ListField(child=serializers.CharField(), help_text="empty where no stack fits")
    removed = serializers.ListField(child=serializers.CharField())
    added = serializers.ListField(child=serializers.CharField())
    words = serializers.CharField()


class LoadSerializer(Fields):
    """Something to load."""

    part = serializers.CharField()
    words = serializers.CharField()
    count = serializers.IntegerField()
    lb = serializers.FloatField(help_text="all of them together; 0 where a size is not known")


class WorkSerializer(Fields):
    """The work by an approved plan."""

    approval = serializers.UUIDField()
    plan = serializers.UUIDField()
    number = serializers.IntegerField(help_text="the approval's")
    not_to_begin = serializers.ListField(
        child=serializers.CharField(),
        help_text="what keeps everybody from beginning that day; none once it has begun",
    )
    unit = serializers.CharField(help_text="what its numbers are read in: in or mm")
    survey = serializers.UUIDField(help_text="the one that the plan was made from")
    setup = WorkSetupSerializer(allow_null=True)
    anew_since = serializers.DateTimeField(
        allow_null=True, help_text="since when the level stands elsewhere: no number to read holds then"
    )
    sd_in = serializers.FloatField(
        allow_null=True, help_text="how far a number may stand off the one to read, one standard deviation"
    )
    days = serializers.IntegerField(help_text="0 where no order of jacking could be told")
    passes = PassSerializer(many=True)
    supports = WorkSupportSerializer(many=True)
    stops = StopSerializer(many=True)
    hanging = HangingSerializer(many=True)
    straps = WorkStrapSerializer(many=True)
    stacks = WorkStackSerializer(many=True)
    loading = LoadSerializer(many=True)
    loading_lb = serializers.FloatField()
    entries = PassEntrySerializer(many=True, help_text="all that was noted of it so far, in that order")


class DayClosingSerializer(ClosingSerializer):
    """What was checked at the end of the work, and what is open; nothing is open once it is closed."""

    id = serializers.UUIDField(allow_null=True, help_text="null while nobody has begun it")
    is_closed = serializers.BooleanField()
    open = OpenSerializer(many=True)

    class Meta(ClosingSerializer.Meta):
        fields = [*ClosingSerializer.Meta.fields, "is_closed", "open"]
