"""What crews note in the field: listed, read and added; the phone's own key makes repeats harmless."""

from collections.abc import Callable
from typing import Any, ClassVar, cast

import django_filters
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from jobs.api import field_serializers as serializers
from jobs.api.base import ArchivableFilter
from jobs.field_work import note_strap_check, note_work_time
from jobs.handovers import acknowledge, note_handover
from jobs.inspection_findings import may_record, note_finding, record_figures
from jobs.models import Finding, Handover, StrapCheck, User, VisitReport, WorkTime
from jobs.models.base import Act
from jobs.visit_reports import note_visit_report


class FromPhoneSchema(AutoSchema):
    """Tells that a row sent again is answered too."""

    def get_response_serializers(self) -> Any:
        """Describe both answers of adding."""
        found = super().get_response_serializers()
        if self.method != "POST":
            return found
        return {
            200: OpenApiResponse(found, description="Sent before, with the same content."),
            201: OpenApiResponse(found, description="Added."),
        }


class FromPhoneViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, GenericViewSet[Any]):
    """Rows that a phone makes: added once, and never changed."""

    schema = FromPhoneSchema()
    http_method_names = ["get", "post", "head", "options"]
    keep: Callable[[Any], bool]  # stores a row and tells whether it is new

    def get_queryset(self) -> Any:
        """Return the rows that the person may see."""
        rows: Any = super().get_queryset()
        return rows.visible_to(self.request.user)

    def create(self, request: Request) -> Response:
        """Add a row: 201 when new, 200 when sent before; 409 when its id is stored with other content."""
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        row = self.get_queryset().model(author=request.user, **serializer.validated_data)
        is_new = type(self).keep(row)
        code = status.HTTP_201_CREATED if is_new else status.HTTP_200_OK
        return Response(self.get_serializer(self.read_back(row)).data, status=code)

    def read_back(self, row: Any) -> Any:
        """Return a row as it is stored."""
        row.refresh_from_db()
        return row


class FindingFilter(ArchivableFilter):
    """Findings by what they are about."""

    class Meta:
        model = Finding
        fields = ["siting", "visit", "point", "connection", "strap", "drain_run", "item", "grade", "author"]


class FindingViewSet(FromPhoneViewSet):
    """What was found under homes and on them, graded. Deleting archives."""

    queryset = Finding.objects.order_by()
    serializer_class = serializers.FindingSerializer
    filterset_class = FindingFilter
    http_method_names = ["get", "post", "delete", "head", "options"]
    keep = staticmethod(note_finding)
    acts: ClassVar[dict[str, Act | None]] = {"record": Act.SEE}  # beside it: the right to change what it is of

    @extend_schema(responses={204: OpenApiResponse(description="Archived.")})
    def destroy(self, request: Request, pk: str) -> Response:
        """Archive a finding."""
        Finding.objects.filter(pk=self.get_object().pk).archive()
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=serializers.RecordSerializer, responses=serializers.FindingSerializer, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def record(self, request: Request, pk: str) -> Response:
        """Put a finding's figures into the record of its support or connection; 412 when that was changed since."""
        finding, user = self.get_object(), cast(User, request.user)
        may_record(finding=finding, by=user)
        body = serializers.RecordSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        record_figures(finding=finding, by=user, version=body.validated_data["version"])
        return Response(self.get_serializer(finding).data)


class StrapCheckFilter(django_filters.FilterSet):
    """Checks of straps by siting, strap and visit."""

    siting = django_filters.UUIDFilter(field_name="strap__siting")

    class Meta:
        model = StrapCheck
        fields = ["strap", "visit", "grade", "author"]


class StrapCheckViewSet(FromPhoneViewSet):
    """How anchor straps were found. The newest check says what a strap is taken to be."""

    queryset = StrapCheck.objects.order_by()
    serializer_class = serializers.StrapCheckSerializer
    filterset_class = StrapCheckFilter
    keep = staticmethod(note_strap_check)


class WorkTimeViewSet(FromPhoneViewSet):
    """Time worked at visits: one's own, or noted by a crew lead for others."""

    queryset = WorkTime.objects.order_by()
    serializer_class = serializers.WorkTimeSerializer
    filterset_fields = ["visit", "person"]
    keep = staticmethod(note_work_time)


class VisitReportFilter(django_filters.FilterSet):
    """Reports of visits by siting, visit and state."""

    siting = django_filters.UUIDFilter(field_name="visit__siting")

    class Meta:
        model = VisitReport
        fields = ["visit", "state", "author"]


class VisitReportViewSet(FromPhoneViewSet):
    """What crews told of their visits: on site, done, or not let in and why."""

    queryset = VisitReport.objects.order_by()
    serializer_class = serializers.VisitReportSerializer
    filterset_class = VisitReportFilter
    keep = staticmethod(note_visit_report)


class HandoverFilter(django_filters.FilterSet):
    """Handovers by siting and visit, read ones or unread ones."""

    siting = django_filters.UUIDFilter(field_name="visit__siting")
    unread = django_filters.BooleanFilter(field_name="read_at", lookup_expr="isnull", help_text="not read yet")

    class Meta:
        model = Handover
        fields = ["visit", "author"]


class HandoverViewSet(FromPhoneViewSet):
    """How crews left homes for the crew that comes, and who of that one has read it."""

    queryset = Handover.objects.order_by()
    serializer_class = serializers.HandoverSerializer
    filterset_class = HandoverFilter
    keep = staticmethod(note_handover)
    acts: ClassVar[dict[str, Act | None]] = {"read": Act.CHANGE}

    @extend_schema(request=None, responses=serializers.HandoverSerializer, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def read(self, request: Request, pk: str) -> Response:
        """Acknowledge a handover by name; who was first stays, and who wrote it is refused."""
        handover = self.get_object()
        acknowledge(handover, by=cast(User, request.user))
        return Response(self.get_serializer(self.get_object()).data)
