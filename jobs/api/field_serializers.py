"""What crews note in the field, on the wire: shape and field checks only."""

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from jobs.api.base import RowSerializer
from jobs.inspection_figures import OF_CONNECTION, OF_SUPPORT
from jobs.models import Finding, Handover, StrapCheck, User, VisitReport, WorkTime

FROM_PHONE = ["id", "author", "device", "sequence", "noted_at", "received_at"]


class FromPhoneSerializer(RowSerializer):
    """A row that a phone makes: its key is the phone's own, its maker is whoever is signed in."""

    id = serializers.UUIDField(help_text="made by the phone: sent again, it is kept once")
    noted_at = serializers.DateTimeField(help_text="when it was noted, by the device's clock")

    class Meta:
        fields = FROM_PHONE
        read_only_fields = ["author", "received_at"]

    @property
    def person(self) -> User | None:
        """Who notes it; None where the fields are only described."""
        request = self.context.get("request")
        person: User | None = self.context.get("author") or (request.user if request else None)
        return person

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Let an entry name only what its maker may see."""
        fields = super().get_fields()
        if self.person is not None:
            show_only_visible(fields, self.person)
        return fields


def show_only_visible(fields: Mapping[str, serializers.Field[Any, Any, Any, Any]], person: User) -> None:
    """Have what fields may name end where the sight of ``person`` does."""
    for field in fields.values():
        rows: Any = getattr(field, "queryset", None)
        if hasattr(rows, "visible_to"):
            setattr(field, "queryset", rows.visible_to(person))  # noqa: B010 - only related fields have one
            field.error_messages["does_not_exist"] = _("There is no such thing, or it is not yours to see.")


def check_places(siting_id: Any, **rows: Any) -> None:
    """Refuse rows that lie under another siting, at the field that names them."""
    wrong = {
        name: _("This lies under another siting.")
        for name, row in rows.items()
        if row is not None and row.siting_id != siting_id
    }
    if wrong:
        raise serializers.ValidationError(wrong)


class FindingSerializer(FromPhoneSerializer):
    """What somebody saw. On a support or a connection it may bring what was measured there, for a lead to record."""

    figures = serializers.DictField(
        child=serializers.CharField(max_length=400),
        required=False,
        help_text=f"by field, as typed; of a support {', '.join(OF_SUPPORT)}; of a connection "
        f"{', '.join(OF_CONNECTION)}",
    )

    class Meta(FromPhoneSerializer.Meta):
        model = Finding
        fields = [
            *FROM_PHONE,
            "siting",
            "visit",
            "point",
            "connection",
            "strap",
            "drain_run",
            "item",
            "grade",
            "text",
            "figures",
            "archived_at",
        ]
        read_only_fields = [*FromPhoneSerializer.Meta.read_only_fields, "archived_at"]
        extra_kwargs = {"item": {"help_text": "of the home as a whole: a code out of a day's inspection_items"}}

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """All of it lies under one siting."""
        places = {name: attrs.get(name) for name in ("visit", "point", "connection", "strap", "drain_run")}
        check_places(attrs["siting"].pk, **places)
        return attrs


class RecordSerializer(serializers.Serializer[Any]):
    """Over which version of the support or connection a finding's figures are recorded."""

    version = serializers.IntegerField(min_value=1, help_text="of the support or connection, as it was read")


class StrapCheckSerializer(FromPhoneSerializer):
    """How a strap was found. The newest check is what the strap is taken to be."""

    class Meta(FromPhoneSerializer.Meta):
        model = StrapCheck
        fields = [
            *FROM_PHONE,
            "strap",
            "visit",
            "grade",
            "slack_in",
            "tension_lb",
            "method",
            "frequency_hz",
            "mode",
            "free_length_in",
            "text",
        ]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """The visit goes to where the strap is."""
        check_places(attrs["strap"].siting_id, visit=attrs.get("visit"))
        return attrs


class WorkTimeSerializer(FromPhoneSerializer):
    """Minutes that somebody worked at a visit."""

    class Meta(FromPhoneSerializer.Meta):
        model = WorkTime
        fields = [*FROM_PHONE, "visit", "person", "started_at", "ended_at", "note"]
        extra_kwargs = {"person": {"required": False, "help_text": "without it: whoever notes it"}}

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Without a person it is one's own time."""
        attrs.setdefault("person", self.person)
        return attrs


class VisitReportSerializer(FromPhoneSerializer):
    """How a crew says that a visit stands. It sets the visit's state, unless the visit is over."""

    class Meta(FromPhoneSerializer.Meta):
        model = VisitReport
        fields = [*FROM_PHONE, "visit", "state", "reason"]
        extra_kwargs = {"reason": {"help_text": "why nobody was let in; needed where entry was refused"}}


class HandoverSerializer(FromPhoneSerializer):
    """What a crew that leaves tells the crew that comes."""

    class Meta(FromPhoneSerializer.Meta):
        model = Handover
        fields = [
            *FROM_PHONE,
            "visit",
            "are_straps_slack",
            "are_jacks_in",
            "is_blocked",
            "text",
            "read_at",
            "read_by",
        ]
        read_only_fields = [*FromPhoneSerializer.Meta.read_only_fields, "read_at", "read_by"]
        extra_kwargs = {
            name: {"required": True, "allow_null": False}
            for name in ("are_straps_slack", "are_jacks_in", "is_blocked")
        }
