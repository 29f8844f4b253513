"""Approvals over the API: listed, read, given and withdrawn; and what keeps somebody from approving a plan."""

import uuid
from typing import ClassVar, cast

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django_filters import rest_framework as filters
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from calcs.api.approval_serializers import ApprovalSerializer, PlanApprovalSerializer, WithdrawingSerializer
from calcs.approving import approve, standing_approval, told, why_not, why_not_standing, withdraw
from calcs.models import Approval, Plan
from jobs.models import User
from jobs.models.base import Act, CompanyQuerySet


class ApprovalFilter(filters.FilterSet):
    """Approvals by siting and plan; ``standing``: only those that nobody withdrew."""

    standing = filters.BooleanFilter(field_name="withdrawn_at", lookup_expr="isnull", help_text="not withdrawn")

    class Meta:
        model = Approval
        fields = ["siting", "plan", "approved_by"]


class ApprovalViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, GenericViewSet[Approval]):
    """Approvals of plans. Nothing of one changes but that it is withdrawn."""

    queryset = Approval.objects.order_by()
    serializer_class = ApprovalSerializer
    filterset_class = ApprovalFilter
    acts: ClassVar[dict[str, Act | None]] = {"withdraw": Act.CHANGE}

    def get_queryset(self) -> QuerySet[Approval]:
        """Return the rows that the person may see."""
        rows: CompanyQuerySet[Approval] = super().get_queryset()  # type: ignore[assignment]  # DRF knows no own querysets
        return rows.visible_to(self.request.user)

    @extend_schema(
        responses={
            201: ApprovalSerializer,
            409: OpenApiResponse(description="What stands in the way, by the codes of the refusals."),
        }
    )
    def create(self, request: Request) -> Response:
        """Approve a plan; 409 names each refusal, and tells when another approval stands."""
        body = self.get_serializer(data=request.data)
        body.is_valid(raise_exception=True)
        asked = body.validated_data
        plan, reason = asked["plan"], asked.get("reason", "")
        approval = approve(plan, cast(User, request.user), reason, replaces=asked["replaces"])
        return Response(self.get_serializer(approval).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=WithdrawingSerializer, responses=ApprovalSerializer, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def withdraw(self, request: Request, pk: str) -> Response:
        """Take an approval back with a reason; 409 when it is withdrawn already."""
        approval = self.get_object()
        body = WithdrawingSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        withdraw(approval, cast(User, request.user), body.validated_data["why"])
        return Response(self.get_serializer(self.get_object()).data)


class PlanApprovalView(APIView):
    """What keeps whoever asks from approving a plan."""

    rights_model = Plan

    @extend_schema(responses=PlanApprovalSerializer)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        """Return the refusals for the asker, what must be known, and the approval that stands at the siting."""
        plans = Plan.objects.visible_to(request.user).select_related("lift", "survey__siting__home", "survey__author")
        plan, by = get_object_or_404(plans, pk=pk), cast(User, request.user)
        standing = standing_approval(plan.survey.siting)
        found = {
            "refusals": why_not(plan, by),
            "told": told(plan, by),
            "standing": standing,
            "not_standing": why_not_standing(standing) if standing else None,
        }
        return Response(PlanApprovalSerializer(found, context={"request": request}).data)
