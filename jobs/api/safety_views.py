"""Hazards of homes and cautions that were read: listed, read and added; hazards are cleared with a reason."""

from typing import Any, ClassVar, cast

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.field_views import FromPhoneViewSet
from jobs.api.safety_serializers import (
    CautionReadSerializer,
    ClearSerializer,
    HazardSerializer,
    HeadCountSerializer,
)
from jobs.caution_reads import note_read
from jobs.hazards import clear_hazard, note_hazard
from jobs.head_counts import note_head_count
from jobs.models import CautionRead, Hazard, HeadCount, User
from jobs.models.base import Act


class HazardFilter(django_filters.FilterSet):
    """Hazards by home and kind, open ones or cleared ones."""

    open = django_filters.BooleanFilter(field_name="cleared_at", lookup_expr="isnull", help_text="not cleared yet")

    class Meta:
        model = Hazard
        fields = ["home", "kind", "author"]


class HazardViewSet(FromPhoneViewSet):
    """What may hurt somebody at homes: shown at every visit until it is cleared."""

    queryset = Hazard.objects.order_by()
    serializer_class = HazardSerializer
    filterset_class = HazardFilter
    keep = staticmethod(note_hazard)
    acts: ClassVar[dict[str, Act | None]] = {"clear": Act.CHANGE}

    @extend_schema(request=ClearSerializer, responses=HazardSerializer, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def clear(self, request: Request, pk: str) -> Response:
        """Clear a hazard with a reason; 409 when somebody has cleared it before."""
        body = ClearSerializer(data=request.data)
        hazard = self.get_object()
        body.is_valid(raise_exception=True)
        clear_hazard(hazard=hazard, by=cast(User, request.user), why=body.validated_data["why"])
        return Response(self.get_serializer(self.get_object()).data)


class CautionReadFilter(django_filters.FilterSet):
    """Cautions read, by visit, home and caution."""

    home = django_filters.UUIDFilter(field_name="visit__siting__home")

    class Meta:
        model = CautionRead
        fields = ["visit", "code", "moment", "reader_name", "author"]


class CautionReadViewSet(FromPhoneViewSet):
    """Who has read which caution at which visit. The same text is read once by a person and visit."""

    queryset: QuerySet[Any] = CautionRead.objects.order_by()
    serializer_class = CautionReadSerializer
    filterset_class = CautionReadFilter
    keep = staticmethod(note_read)


class HeadCountFilter(django_filters.FilterSet):
    """Counts of heads, by visit, siting and name."""

    siting = django_filters.UUIDFilter(field_name="visit__siting")

    class Meta:
        model = HeadCount
        fields = ["visit", "person_name", "is_in", "author"]


class HeadCountViewSet(FromPhoneViewSet):
    """Who went in under which home, and came out again. The newest count of a name says where that person is."""

    queryset = HeadCount.objects.order_by()
    serializer_class = HeadCountSerializer
    filterset_class = HeadCountFilter
    keep = staticmethod(note_head_count)
