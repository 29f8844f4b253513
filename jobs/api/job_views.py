"""Jobs with what becomes of them, the questions of an enquiry, trucks, and days off."""

import datetime
from typing import Any, ClassVar, cast

import django_filters
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer
from rest_framework.views import APIView

from jobs import job_services
from jobs.api import job_serializers as serializers
from jobs.api.base import ArchivableFilter, ArchivableViewSet, KeptViewSet, RowViewSet
from jobs.enquiry import QUESTIONS
from jobs.models import Job, TimeOff, Truck, User
from jobs.models.base import Act
from jobs.time_off import archive_truck, take_back


class JobFilter(django_filters.FilterSet):
    """Jobs by how they stand, home, customer and day; call-backs, and those inside the warranty."""

    asked_from = django_filters.DateFilter(field_name="asked_on", lookup_expr="gte")
    asked_to = django_filters.DateFilter(field_name="asked_on", lookup_expr="lte")
    is_call_back = django_filters.BooleanFilter(field_name="call_back_of", lookup_expr="isnull", exclude=True)
    is_inside_warranty = django_filters.BooleanFilter(
        method="filter_inside", help_text="call-backs that were asked while the warranty held, or those that were not"
    )
    under_warranty_on = django_filters.DateFilter(
        method="filter_warranty", help_text="jobs that are done and whose warranty holds on the day"
    )

    class Meta:
        model = Job
        fields = ["number", "state", "home", "customer", "came", "call_back_of"]

    def filter_inside(self, rows: Any, name: str, value: bool) -> QuerySet[Job]:
        """Keep call-backs inside the warranty, or outside."""
        kept: QuerySet[Job] = rows.call_backs().filter(is_inside_warranty=value)
        return kept

    def filter_warranty(self, rows: Any, name: str, value: datetime.date) -> QuerySet[Job]:
        """Keep jobs under warranty on a day."""
        kept: QuerySet[Job] = rows.under_warranty(value)
        return kept


class JobViewSet(KeptViewSet):
    """Jobs: asked for, taken or not, done, under warranty. What becomes of one has an address for each step."""

    queryset = Job.objects.select_related("call_back_of").order_by()
    serializer_class = serializers.JobSerializer
    filterset_class = JobFilter
    acts: ClassVar[dict[str, Act | None]] = dict.fromkeys(("take", "decline", "finish", "reopen"), Act.CHANGE)

    @extend_schema(request=serializers.TakeSerializer, responses=serializers.JobSerializer, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def take(self, request: Request, pk: str) -> Response:
        """Take an enquiry, with a home and a customer on record or new ones: from now on it is work."""
        job, body = self._job_and(serializers.TakeSerializer)
        return self._told(job_services.take(job, by=self._by, **cast(serializers.TakeSerializer, body).what()))

    @extend_schema(request=serializers.DeclineSerializer, responses=serializers.JobSerializer, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def decline(self, request: Request, pk: str) -> Response:
        """Not take a job, or give it up, with the reason; 409 while a visit is still to come."""
        job, body = self._job_and(serializers.DeclineSerializer)
        return self._told(job_services.decline(job, by=self._by, **body.validated_data))

    @extend_schema(request=serializers.FinishSerializer, responses=serializers.JobSerializer, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def finish(self, request: Request, pk: str) -> Response:
        """Say that a job is done, and for how long there is a warranty; 409 while a visit is still to come."""
        job, body = self._job_and(serializers.FinishSerializer)
        return self._told(job_services.finish(job, by=self._by, **body.validated_data))

    @extend_schema(request=None, responses=serializers.JobSerializer, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def reopen(self, request: Request, pk: str) -> Response:
        """Go on with a job that was done or not taken; 409 where a call-back rests on it."""
        return self._told(job_services.reopen(self.get_object(), by=self._by))

    @property
    def _by(self) -> User:
        return cast(User, self.request.user)

    def _job_and(self, kind: type[Serializer[Any]]) -> tuple[Job, Serializer[Any]]:
        job, body = self.get_object(), kind(data=self.request.data, context=self.get_serializer_context())
        body.is_valid(raise_exception=True)
        return job, body

    def _told(self, job: Job) -> Response:
        return Response(self.get_serializer(job).data)


class EnquiryQuestionsView(APIView):
    """What is asked when somebody calls."""

    rights_model = Job

    @extend_schema(responses=serializers.QUESTION(many=True))
    def get(self, request: Request) -> Response:
        """Return every question, in the order of the talk."""
        return Response(
            [
                {
                    **{
                        name: _(getattr(one, name)) if getattr(one, name) else ""
                        for name in ("words", "why", "alert")
                    },
                    "code": code,
                    "choices": one.offered,
                    "alert_on": one.alert_on,
                    "source": _(one.source),
                }
                for code, one in QUESTIONS.items()
            ]
        )


class TruckFilter(ArchivableFilter):
    """Trucks by name."""

    class Meta:
        model = Truck
        fields = ["name"]


class TruckViewSet(ArchivableViewSet):
    """Trucks and trailers. Deleting archives; 409 while one is booked."""

    queryset = Truck.objects.order_by()
    serializer_class = serializers.TruckSerializer
    filterset_class = TruckFilter

    def perform_destroy(self, instance: Any) -> None:
        """Archive the truck."""
        archive_truck(instance, by=cast(User, self.request.user))


class TimeOffFilter(django_filters.FilterSet):
    """Days off by person, truck and days that they touch; ``of_company`` keeps holidays, or leaves them out."""

    to_on_from = django_filters.DateFilter(field_name="to_on", lookup_expr="gte", help_text="not over before the day")
    from_on_to = django_filters.DateFilter(field_name="from_on", lookup_expr="lte", help_text="begun by the day")
    of_company = django_filters.BooleanFilter(method="filter_company")

    class Meta:
        model = TimeOff
        fields = ["person", "truck"]

    def filter_company(self, rows: QuerySet[TimeOff], name: str, value: bool) -> QuerySet[TimeOff]:
        """Keep the company's holidays, or what is of a person or truck."""
        holidays = TimeOff.objects.holidays().values("pk")
        return rows.filter(pk__in=holidays) if value else rows.exclude(pk__in=holidays)


class TimeOffViewSet(RowViewSet):
    """Days off: of a person, a truck, or the company. 409 ``conflict`` names the visits that are in the way."""

    queryset = TimeOff.objects.order_by()
    serializer_class = serializers.TimeOffSerializer
    filterset_class = TimeOffFilter

    def perform_destroy(self, instance: Any) -> None:
        """Take the days off back; the record keeps that they were there."""
        take_back(instance, by=cast(User, self.request.user))
