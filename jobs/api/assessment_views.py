"""Assessments with what stands in the way, the manager's signatures, and papers."""

from collections.abc import Iterable
from typing import Any, ClassVar, cast

import django_filters
from django.db import transaction
from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import mixins, serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from jobs.api.assessment_serializers import BLOCK, AssessmentSerializer, BlockOverrideSerializer, PaperSerializer
from jobs.api.base import ArchivableFilter, ArchivableViewSet, KeptViewSet
from jobs.assessing import Block, blocks_of, override_block
from jobs.models import Assessment, BlockOverride, Paper, Siting, User
from jobs.models.base import Act
from jobs.papers import missing_papers, rules_of, the_company
from jobs.rights import need_on


def told(blocks: Iterable[Block]) -> list[dict[str, Any]]:
    """Return blocks as the API tells them."""
    return [
        {
            "code": block.code,
            "words": block.words,
            "is_absolute": block.is_absolute,
            "override": block.override.pk if block.override else None,
        }
        for block in blocks
    ]


class AssessmentFilter(django_filters.FilterSet):
    """Assessments by place, visit and verdict."""

    home = django_filters.UUIDFilter(field_name="siting__home")

    class Meta:
        model = Assessment
        fields = ["siting", "visit", "cause", "verdict", "author"]


class AssessmentViewSet(KeptViewSet):
    """What made homes move and whether to lift them. The newest of a siting counts; only that one is corrected."""

    queryset = Assessment.objects.order_by()
    serializer_class = AssessmentSerializer
    filterset_class = AssessmentFilter

    @transaction.atomic
    def perform_create(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """Add an assessment of who sends it."""
        need_on(self.request.user, Act.ADD, serializer.save(author=self.request.user))

    @extend_schema(responses=BLOCK(many=True), filters=False)
    @action(detail=True, methods=["get"], pagination_class=None, filterset_class=None)
    def blocks(self, request: Request, pk: str) -> Response:
        """Tell what keeps a plan from being approved, and who has signed past it."""
        return Response(BLOCK(told(blocks_of(self.get_object())), many=True).data)


class BlockOverrideViewSet(
    mixins.CreateModelMixin, mixins.ListModelMixin, mixins.RetrieveModelMixin, GenericViewSet[Any]
):
    """The manager's signed reasons for going past what blocks. They hold for one assessment and are kept."""

    queryset = BlockOverride.objects.order_by()
    serializer_class = BlockOverrideSerializer
    filterset_fields = ["assessment", "code", "signed_by"]
    http_method_names = ["get", "post", "head", "options"]

    def get_queryset(self) -> Any:
        """Return the rows that the person may see."""
        rows: Any = super().get_queryset()
        return rows.visible_to(self.request.user)

    def perform_create(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """Sign past a block of the assessment that counts."""
        sent = serializer.validated_data
        by = cast(User, self.request.user)
        serializer.instance = override_block(sent["assessment"], sent["code"], by, sent["reason"])


class MissingSerializer(serializers.Serializer[Any]):
    """Where and when somebody means to start."""

    siting = serializers.UUIDField()
    on = serializers.DateField(required=False)


class PaperFilter(ArchivableFilter):
    """Papers by place, kind and last day; ``of_company`` keeps the company's own, or leaves them out."""

    of_company = django_filters.BooleanFilter(field_name="siting", lookup_expr="isnull")
    expires_before = django_filters.DateFilter(field_name="expires_on", lookup_expr="lt")

    class Meta:
        model = Paper
        fields = ["siting", "kind"]


class PaperViewSet(ArchivableViewSet):
    """Permits, locate tickets and holds of homes; licence, insurance and jack inspections of the company."""

    queryset = Paper.objects.order_by()
    serializer_class = PaperSerializer
    filterset_class = PaperFilter
    acts: ClassVar[dict[str, Act | None]] = {"restore": Act.ARCHIVE}

    @extend_schema(
        parameters=[
            OpenApiParameter("siting", OpenApiTypes.UUID, required=True),
            OpenApiParameter("on", OpenApiTypes.DATE, description="the day of the start; today without it"),
        ],
        responses=BLOCK(many=True),
        filters=False,
    )
    @action(detail=False, methods=["get"], pagination_class=None, filterset_class=None)
    def missing(self, request: Request) -> Response:
        """Tell which papers keep everybody from starting at a siting on a day, by the rules that hold there."""
        asked = MissingSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        sitings = Siting.objects.visible_to(request.user).select_related("home__rule_set")
        siting = get_object_or_404(sitings, pk=asked.validated_data["siting"])
        rules = rules_of(siting.home, the_company())
        found = missing_papers(siting, asked.validated_data.get("on") or timezone.localdate(), rules)
        return Response(BLOCK(told(found), many=True).data)
