"""Surveys, setups and readings: one viewset a resource, and the one endpoint that takes readings in."""

from typing import Any, ClassVar, cast
from uuid import UUID

import msgspec
from django.conf import settings
from django.db import OperationalError, connection, transaction
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from drf_spectacular.utils import extend_schema
from rest_framework.decorators import action
from rest_framework.exceptions import Throttled, UnsupportedMediaType
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView
from rest_framework.viewsets import ReadOnlyModelViewSet

from jobs.api.authentication import HOLDER_SQL, holder_of
from jobs.api.base import KeptViewSet, RowViewSet, check_fields, delete_as_read
from jobs.api.errors import shape_of
from jobs.api.throttling import seconds_to_wait
from jobs.models import Role, User
from jobs.models.base import Act
from jobs.models.people import digest_of
from jobs.prepared import prepared_cursor
from jobs.rights import need, need_on
from surveys.api import schema, serializers
from surveys.api.filters import ReadingFilter
from surveys.ingest import decode
from surveys.models import Reading, Setup, Survey
from surveys.services import PLACE_SQL, Place, add_readings, find_place, note_change, place_of, submit_survey

_json = msgspec.json.Encoder()
_FIND = f"""
SELECT * FROM (SELECT) AS asked LEFT JOIN ({HOLDER_SQL}) AS holder ON true LEFT JOIN ({PLACE_SQL}) AS place ON true
"""  # noqa: S608 - nothing but constants


class SurveyViewSet(KeptViewSet):
    """Surveys. Submitting is no lock: later readings and corrections raise the revision."""

    queryset = Survey.objects.select_related("siting")
    serializer_class = serializers.SurveySerializer
    filterset_fields = ["siting", "visit", "stage", "state"]
    acts: ClassVar[dict[str, Act | None]] = {"submit": Act.ADD}

    def perform_create(self, serializer: BaseSerializer[Any]) -> None:
        """The person who starts a survey is its author."""
        need_on(self.request.user, Act.ADD, serializer.save(author=self.request.user))

    @transaction.atomic
    def perform_update(self, serializer: BaseSerializer[Any]) -> None:
        """What a submitted survey's results rest on may have changed."""
        check_fields(self.request.user, serializer)
        survey = serializer.save()
        note_change(survey_id=survey.pk)
        survey.refresh_from_db(fields=["revision"])

    @extend_schema(request=None, responses=serializers.SurveySerializer)
    @action(detail=True, methods=["post"])
    def submit(self, request: Request, pk: str) -> Response:
        """Hand the survey in, which asks for its calculations; a second time changes nothing."""
        survey = submit_survey(survey=self.get_object())
        return Response(self.get_serializer(survey).data)


class SetupViewSet(RowViewSet):
    """Setups of the instrument. One without readings may be deleted."""

    queryset = Setup.objects.order_by().select_related("survey")
    serializer_class = serializers.SetupSerializer
    filterset_fields = ["survey"]

    @transaction.atomic
    def perform_update(self, serializer: BaseSerializer[Any]) -> None:
        """What a submitted survey's results rest on may have changed."""
        check_fields(self.request.user, serializer)
        setup = serializer.save()
        note_change(survey_id=setup.survey_id)

    def perform_destroy(self, instance: Any) -> None:
        """Delete a setup that was made by mistake; readings protect theirs."""
        delete_as_read(instance)


class ReadingViewSet(ReadOnlyModelViewSet[Reading]):
    """Readings as they came in, corrections and all."""

    queryset = Reading.objects.order_by()
    serializer_class = serializers.ReadingSerializer
    filterset_class = ReadingFilter

    def get_queryset(self) -> Any:
        """Return the readings that the person may see."""
        return Reading.objects.order_by().visible_to(self.request.user)


class SurveyReadingsView(APIView):
    """Take readings in: up to 2,000 a request, all or nothing, harmless when repeated."""

    http_method_names = ["post", "options"]
    rights_model = Reading
    most_bytes = settings.DATA_UPLOAD_MAX_MEMORY_SIZE

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Answer devices on a short path: this is the one address that every phone of every crew keeps calling."""
        if request.method == "POST" and request.META.get("HTTP_AUTHORIZATION", "")[:7].lower() == "bearer ":
            return _from_device(request, kwargs["survey_id"])
        return super().dispatch(request, *args, **kwargs)

    @extend_schema(request={"application/json": schema.READINGS}, responses={200: schema.RECEIVED})
    def post(self, request: Request, survey_id: UUID) -> HttpResponse:
        """Store readings; 409 names those whose UUID is stored with other content."""
        user = cast(User, request.user)
        place = find_place(survey_id)
        place.check_visible_to(user)
        return _take_in(request._request, survey_id, user, place)


def _from_device(request: HttpRequest, survey_id: UUID) -> HttpResponse:
    try:
        secret = request.META["HTTP_AUTHORIZATION"][7:].strip()
        if (wait_s := seconds_to_wait("person", digest_of(secret))) is not None:
            raise Throttled(wait_s)  # before anything of it is read: the phone keeps it
        author, place = _look_up(secret, survey_id)
        need(author, Act.ADD, Reading)
        place.check_visible_to(author)
        return _take_in(request, survey_id, author, place)
    except Exception as error:
        answer = shape_of(error)
        if answer is None:
            raise
        status, body, headers = answer
        return HttpResponse(_json.encode(body), content_type="application/json", status=status, headers=headers)


def _look_up(secret: str, survey_id: UUID) -> tuple[User, Place]:
    """Find the person and the survey in one round trip, which also tells whether a kept connection still lives."""
    connection.health_check_done = True  # type: ignore[attr-defined]  # the stubs don't know it
    try:
        return _find(secret, survey_id)
    except OperationalError:
        if connection.in_atomic_block or connection.is_usable():
            raise
        connection.close()
        return _find(secret, survey_id)


def _find(secret: str, survey_id: UUID) -> tuple[User, Place]:
    with prepared_cursor() as cursor:
        cursor.execute(_FIND, [digest_of(secret), survey_id])
        found = cursor.fetchone()
    holder, place = found[:6], found[6:]
    return holder_of(holder if holder[0] else None), place_of(place if place[0] else None)


def _take_in(request: HttpRequest, survey_id: UUID, author: User, place: Place) -> HttpResponse:
    if request.content_type != "application/json":
        raise UnsupportedMediaType(request.content_type or "")
    batch = decode(request.body)
    only_own = not author.has_role(Role.CREW_LEAD)
    received = add_readings(survey_id=survey_id, author_id=author.pk, batch=batch, place=place, only_own=only_own)
    return HttpResponse(_json.encode(received), content_type="application/json")
