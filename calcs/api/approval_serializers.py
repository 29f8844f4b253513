"""Approvals on the wire: what is asked, what stands in the way, and what was approved."""

from typing import Any

from rest_framework import serializers

from calcs.approving import REASON_AT_MOST
from calcs.models import Approval
from jobs.api.base import RowSerializer


class ApprovalSerializer(RowSerializer):
    """Somebody's word that a plan is to be built. Kept for ever; at most one stands at a siting."""

    replaces = serializers.PrimaryKeyRelatedField(
        queryset=Approval.objects.all(),
        write_only=True,
        required=False,
        allow_null=True,
        default=None,
        help_text="the approval that stands until now, which this one replaces; the reason says why",
    )

    class Meta:
        model = Approval
        fields = [
            *("id", "siting", "plan", "number", "assessment", "assessment_version"),
            *("approved_by", "approved_at", "is_by_manager", "reason", "replaces"),
            *("withdrawn_at", "withdrawn_by", "withdrawn_why"),
        ]
        read_only_fields = [name for name in fields if name not in ("plan", "reason", "replaces")]
        extra_kwargs = {"reason": {"max_length": REASON_AT_MOST}}


class WithdrawingSerializer(serializers.Serializer[Any]):
    """Why an approval is withdrawn."""

    why = serializers.CharField(max_length=REASON_AT_MOST)


class RefusalSerializer(serializers.Serializer[Any]):
    """One reason against approving a plan."""

    code = serializers.CharField()
    words = serializers.CharField()
    is_for_manager = serializers.BooleanField(help_text="the manager may sign past it, with a reason")


class RemarkSerializer(serializers.Serializer[Any]):
    """Something to know before approving a plan."""

    code = serializers.CharField()
    words = serializers.CharField()


class PlanApprovalSerializer(serializers.Serializer[Any]):
    """Whether a plan may be approved by whoever asks, and what stands at its siting."""

    refusals = RefusalSerializer(many=True, help_text="empty: it may be approved")
    told = RemarkSerializer(many=True)
    standing = ApprovalSerializer(allow_null=True, help_text="the approval that stands at the siting, of any plan")
    not_standing = serializers.CharField(
        allow_null=True, help_text="why nobody builds by that approval any more; null while it holds"
    )
