"""Plans of several due visits over the API: asked for, read, planned again, booked from."""

from typing import Any, ClassVar, cast

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from calcs.api.route_serializers import (
    AskedSerializer,
    BookedFromSerializer,
    BookFromSerializer,
    LocksSerializer,
    RoutePlanDetailSerializer,
    RoutePlanSerializer,
    locks_of,
)
from calcs.models import RoutePlan
from calcs.routes.services import book_from, plan_again, request_plan
from jobs.models import User
from jobs.models.base import Act, CompanyQuerySet

_NO_PLAN = OpenApiResponse(description="The company has no place, nobody works then, or no home can be planned.")


class RoutePlanViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, GenericViewSet[RoutePlan]):
    """Due visits planned together. A plan never changes; planned again it is another, and books are kept with it."""

    queryset = RoutePlan.objects.order_by()
    serializer_class = RoutePlanSerializer
    filterset_fields = ["state", "requested_by", "replaces"]
    acts: ClassVar[dict[str, Act | None]] = {"book": Act.CHANGE}

    def get_queryset(self) -> QuerySet[RoutePlan]:
        """Return the rows that the person may see; a list leaves the documents in the database."""
        rows: CompanyQuerySet[RoutePlan] = super().get_queryset()  # type: ignore[assignment]  # DRF knows no own querysets
        seen = rows.visible_to(self.request.user).defer("input")
        return seen.defer("input", "asked", "result", "error") if self.action == "list" else seen

    def get_serializer_class(self) -> type[serializers.BaseSerializer[Any]]:
        """Return the shorter form for a list."""
        return RoutePlanSerializer if self.action == "list" else RoutePlanDetailSerializer

    @extend_schema(request=AskedSerializer, responses={201: RoutePlanDetailSerializer, 409: _NO_PLAN})
    def create(self, request: Request) -> Response:
        """Ask for a plan; it is searched in the background."""
        body = AskedSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        return self._made(request_plan(body.asked(), by=cast(User, request.user)))

    @extend_schema(request=LocksSerializer, responses={201: RoutePlanDetailSerializer, 409: _NO_PLAN}, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_fields=[])
    def again(self, request: Request, pk: str) -> Response:
        """Plan the same again by the record as it is now, with these homes locked: another plan."""
        body = LocksSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        return self._made(plan_again(self.get_object(), locks_of(body), by=cast(User, request.user)))

    @extend_schema(
        request=BookFromSerializer,
        responses={200: BookedFromSerializer, 409: OpenApiResponse(description="The plan is not computed yet.")},
        filters=False,
    )
    @action(detail=True, methods=["post"], pagination_class=None, filterset_fields=[])
    def book(self, request: Request, pk: str) -> Response:
        """Book planned visits; what clashes with what was booked meanwhile is told, the others are booked."""
        body = BookFromSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        wanted = body.validated_data.get("sitings")
        sitings = None if wanted is None else [str(key) for key in wanted]
        done = book_from(self.get_object(), by=cast(User, request.user), sitings=sitings)
        return Response({"visits": [str(visit.pk) for visit in done.visits], "refused": done.refused})

    def _made(self, plan: RoutePlan) -> Response:
        document = RoutePlanDetailSerializer(self.get_queryset().get(pk=plan.pk), context={"request": self.request})
        return Response(document.data, status=status.HTTP_201_CREATED)
