"""The due list over the API: listed in its order, as a file, and booked from."""

from typing import Any, ClassVar, cast

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from calcs.api.due_serializers import BookDueSerializer, DueSerializer
from calcs.due_booking import book_due
from calcs.due_files import due_file
from calcs.due_filters import DueFilter, miles
from calcs.due_list import tell
from calcs.models import Due
from calcs.models.due_rows import DOWNWARDS, DueQuerySet
from jobs.api.pagination import NewestFirst
from jobs.api.visit_views import VisitSerializer
from jobs.clock import company_zone
from jobs.models import User, Visit
from jobs.models.base import Act
from jobs.rights import need
from surveys.api.csv_views import AnswersAsItDoes


class AsOrdered(NewestFirst):
    """Rows in the order that was asked for; many may share a day, so that a page may begin far among equals."""

    offset_cutoff = 10**6

    def get_ordering(self, request: Request, queryset: QuerySet[Any], view: Any) -> tuple[str, ...]:
        """Return the order that the list's own filter has put the rows in."""
        sign = "-" if request.query_params.get("order") in DOWNWARDS else ""
        return (f"{sign}place", f"{sign}pk")


class DueViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, GenericViewSet[Due]):
    """When homes that stand are due, and why."""

    queryset = Due.objects.standing()
    serializer_class = DueSerializer
    filterset_class = DueFilter
    pagination_class = AsOrdered
    cut_actions = ("list", "as_csv")
    acts: ClassVar[dict[str, Act | None]] = {"book": Act.SEE, "as_csv": Act.SEE}  # who books may book visits too

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer by the company's clock: today, and so what is past, is its day."""
        with timezone.override(company_zone()):
            return super().dispatch(request, *args, **kwargs)

    def get_queryset(self) -> QuerySet[Due]:
        """Return the rows that the person may see, in the usual order."""
        return cast(DueQuerySet, super().get_queryset()).visible_to(self.request.user).defer("lines").in_order()

    def paginate_queryset(self, queryset: Any) -> list[Any]:
        """Tell the rows of a page."""
        within_mi = miles(self.request.query_params.get("within", ""))
        return list(tell((due.pk for due in super().paginate_queryset(queryset) or ()), within_mi=within_mi))

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Return one home's."""
        (row,) = tell([self.get_object().pk])
        return Response(self.get_serializer(row).data)

    @extend_schema(
        request=BookDueSerializer,
        responses={
            201: VisitSerializer,
            409: OpenApiResponse(
                description=(
                    "`already_booked`; `conflict`: who or what is taken, where and when; "
                    "`holiday` or `same_home`, unless `despite` has it."
                )
            ),
        },
        filters=False,
    )
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def book(self, request: Request, pk: str) -> Response:
        """Book a visit; it remembers why the home was due."""
        need(request.user, Act.ADD, Visit)
        due = self.get_object()
        body = BookDueSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        visit = book_due(due, by=cast(User, request.user), **body.validated_data)
        return Response(VisitSerializer(visit, context={"request": request}).data, status=status.HTTP_201_CREATED)

    @extend_schema(responses={(200, "text/csv"): OpenApiTypes.STR})
    @action(detail=False, url_path="file", pagination_class=None, content_negotiation_class=AnswersAsItDoes)
    def as_csv(self, request: Request) -> HttpResponse:
        """Return the list as a CSV file."""
        rows = cast(DueQuerySet, self.filter_queryset(self.get_queryset()))
        return due_file(rows, within_mi=miles(request.query_params.get("within", "")))
