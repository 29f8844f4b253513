"""The steps of a plan's work as a crew notes them, on the wire."""

from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from calcs.engine.errors import InvalidInput
from calcs.engine.units import parse_length
from calcs.models import Approval, PassEntry
from jobs.api.field_serializers import FROM_PHONE, FromPhoneSerializer, check_places
from jobs.spoken import retold
from surveys.ingest import LONGEST_TYPED_CHARS
from surveys.models import Unit


@extend_schema_field({"type": ["string", "number", "null"]})
class LengthField(serializers.Field[str, Any, str, Any]):
    """A length as typed: a number, or a text such as 3 5/8."""

    def to_internal_value(self, data: Any) -> str:
        """Return what was typed; a number becomes the text that says the same."""
        if isinstance(data, bool) or not isinstance(data, str | int | float):
            raise serializers.ValidationError(_("Give a number, or a length as text such as 3 5/8."))
        typed = data.strip() if isinstance(data, str) else f"{Decimal(repr(data)).normalize():f}"
        if len(typed) > LONGEST_TYPED_CHARS:
            raise serializers.ValidationError(
                _("Give a length of at most {most} characters.").format(most=LONGEST_TYPED_CHARS)
            )
        return typed


class PassEntrySerializer(FromPhoneSerializer):
    """One step of a plan's work: at which support, in which pass, and what was read after it."""

    value = LengthField(
        write_only=True, required=False, allow_null=True, help_text="what was read after it, as typed"
    )

    is_plan_approved = serializers.SerializerMethodField(
        help_text="false: it is kept, but nobody has approved the plan, or the approval was withdrawn"
    )

    class Meta(FromPhoneSerializer.Meta):
        model = PassEntry
        fields = [
            *FROM_PHONE,
            "plan",
            "point",
            "pass_number",
            "is_done",
            "value",
            "value_in",
            "typed",
            "unit",
            "note",
            "is_plan_approved",
        ]
        read_only_fields = [*FromPhoneSerializer.Meta.read_only_fields, "value_in", "typed"]
        extra_kwargs = {"pass_number": {"min_value": 1, "max_value": 200}}

    def get_is_plan_approved(self, entry: PassEntry) -> bool:
        """Tell whether the plan is the approved one; rows of a list come with the answer."""
        found = getattr(entry, "is_plan_approved", None)
        return Approval.objects.standing().filter(plan=entry.plan_id).exists() if found is None else bool(found)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """The point is one of the plan's home; what was typed is a length."""
        check_places(attrs["plan"].survey.siting_id, point=attrs["point"])
        typed = attrs.pop("value", None) or ""
        attrs["typed"] = typed
        if typed:
            try:
                attrs["value_in"] = parse_length(typed, unit=attrs.get("unit", Unit.INCHES))
            except InvalidInput as error:
                raise serializers.ValidationError({"value": retold(error.message)}) from None
        return attrs
