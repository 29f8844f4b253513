"""The record of a home over the years over the API: numbers, CSV and the PDF that the page shows."""

import uuid
from typing import cast

import msgspec
from django.http import HttpResponse, StreamingHttpResponse
from django.utils import translation
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.views import APIView

from calcs.api.home_record_serializers import AskedRecordSerializer, HomeRecordSerializer
from calcs.home_record.beside import read_beside
from calcs.home_record.numbers import csv_of, numbers_of
from calcs.home_record.paper import paper_of
from calcs.home_record.read import Asked, HomeRecord, read_home_record
from calcs.models import Due
from calcs.sheets import LANGUAGES, as_pdf, company_time, language_of
from jobs.models import User
from surveys.api.csv_views import AnswersAsItDoes

_json = msgspec.json.Encoder()
_LANG = OpenApiParameter("lang", str, enum=LANGUAGES, description="Of the paper; left out: the reader's own.")


class HomeRecordView(APIView):
    """The record of a home in numbers."""

    rights_model = Due  # whose reasons it tells

    @extend_schema(parameters=[AskedRecordSerializer], responses=HomeRecordSerializer)
    def get(self, request: Request, pk: uuid.UUID) -> HttpResponse:
        """Return heights over the years, what changed between two surveys, rates and the forecast."""
        with company_time():
            body = _json.encode(numbers_of(_record(request, pk)))
        return HttpResponse(body, content_type="application/json")


class HomeRecordHeightsView(APIView):
    """The heights of a home over the years as a file."""

    rights_model = Due  # whose reasons it tells
    content_negotiation_class = AnswersAsItDoes

    @extend_schema(parameters=[AskedRecordSerializer], responses={(200, "text/csv"): OpenApiTypes.STR})
    def get(self, request: Request, pk: uuid.UUID) -> StreamingHttpResponse:
        """Return a line a survey and point: heights against the mean of the home, of marks against the marks."""
        with company_time():
            record = _record(request, pk)
        name = "".join(c for c in record.home.code if c.isalnum() or c in "-_")
        return StreamingHttpResponse(
            (line.encode() for line in csv_of(record)),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": f'attachment; filename="heights-{name}.csv"'},
        )


class HomeRecordPaperView(APIView):
    """The record of a home on paper."""

    rights_model = Due  # whose reasons it tells

    @extend_schema(
        parameters=[AskedRecordSerializer, _LANG], responses={(200, "application/pdf"): OpenApiTypes.BINARY}
    )
    def get(self, request: Request, pk: uuid.UUID) -> HttpResponse:
        """Return it as PDF, with every point."""
        language = language_of(request.query_params.get("lang", ""))
        with company_time(), translation.override(language):
            record = _record(request, pk)
            return as_pdf(paper_of(record, read_beside(record, cast(User, request.user)), group=None), language)


def _record(request: Request, pk: uuid.UUID) -> HomeRecord:
    """Read the record as it was asked for; 404 for what the person may not see."""
    chosen = AskedRecordSerializer(data=request.query_params)
    chosen.is_valid(raise_exception=True)
    asked = Asked.of({name: str(key) for name, key in chosen.validated_data.items()})
    user = cast(User, request.user)
    return read_home_record(pk, user, asked, unit=user.length_unit)
