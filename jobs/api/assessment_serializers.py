"""Assessments, signatures past their blocks, and papers, on the wire: shape and field checks only."""

from typing import Any

from drf_spectacular.utils import inline_serializer
from rest_framework import serializers

from jobs.api.base import RowSerializer
from jobs.assessing import BLOCKS, REASON_AT_MOST, problems_of
from jobs.models import Assessment, BlockOverride, Paper


class AssessmentSerializer(RowSerializer):
    """What made a home move, what stands in the way, and the verdict. The newest of a siting counts."""

    fixed = ("siting",)

    class Meta:
        model = Assessment
        fields = [
            *("id", "siting", "visit", "author", "assessed_on", "cause", "evidence", "water", "soil"),
            *("doors_windows", "doors_note", "attached_note", "has_active_leak", "has_standing_water"),
            *("has_roof_snow", "has_wind_forecast", "has_bent_beam", "has_tied_masonry", "has_gas_question"),
            *("land", "is_loan_pending", "verdict", "reason", "wait_until"),
        ]
        read_only_fields = ["author"]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse what is wrong beyond the database's own rules."""
        attrs = super().validate(attrs)
        names = [name for name in self.Meta.fields if name not in ("id", "author")]
        kept = {name: getattr(self.instance, name) for name in names} if self.instance else {}
        if problems := problems_of(Assessment(**kept | attrs)):
            raise serializers.ValidationError(problems)
        return attrs


class BlockOverrideSerializer(RowSerializer):
    """The manager's signed reason for going past a block of the assessment that counts."""

    code = serializers.ChoiceField(choices=list(BLOCKS))
    reason = serializers.CharField(max_length=REASON_AT_MOST)

    class Meta:
        model = BlockOverride
        fields = ["id", "assessment", "code", "reason", "signed_by", "signed_at"]
        read_only_fields = ["signed_by", "signed_at"]


# One thing in the way, and the signature past it where there is one.
BLOCK = inline_serializer(
    "Block",
    {
        "code": serializers.CharField(),
        "words": serializers.CharField(help_text="in the reader's language"),
        "is_absolute": serializers.BooleanField(help_text="nobody goes past it, the manager neither"),
        "override": serializers.UUIDField(allow_null=True, help_text="the signature past it"),
    },
).__class__


class PaperSerializer(RowSerializer):
    """A paper of a home, or of the company where it names no siting."""

    fixed = ("siting", "kind")

    class Meta:
        model = Paper
        fields = [
            *("id", "siting", "kind", "number", "issued_on", "expires_on", "released_on", "note"),
            "archived_at",
        ]
        read_only_fields = ["archived_at"]
