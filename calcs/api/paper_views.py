"""Papers for the crew over the API, as the PDF that the pages show."""

import uuid
from typing import cast

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.views import APIView

from calcs.models import Plan
from calcs.sheets import LANGUAGES, company_time, plan_sheet_as_pdf, reading_sheet_as_pdf
from jobs.models import Siting, User

_PDF = {(200, "application/pdf"): OpenApiTypes.BINARY}
_LANG = OpenApiParameter("lang", str, enum=LANGUAGES, description="Of the paper; left out: the reader's own.")


class PlanSheetView(APIView):
    """The crew's sheet of a plan."""

    rights_model = Plan

    @extend_schema(parameters=[_LANG], responses=_PDF)
    def get(self, request: Request, pk: uuid.UUID) -> HttpResponse:
        """Return it as PDF, with its mark: not approved, approved by whom, or stale."""
        with company_time():
            return plan_sheet_as_pdf(pk, cast(User, request.user), request.query_params.get("lang", ""))


class ReadingSheetView(APIView):
    """A blank sheet for the readings of a siting."""

    rights_model = Siting

    @extend_schema(parameters=[_LANG], responses=_PDF)
    def get(self, request: Request, pk: uuid.UUID) -> HttpResponse:
        """Return it as PDF: the points in walking order, with their last heights."""
        with company_time():
            return reading_sheet_as_pdf(pk, cast(User, request.user), request.query_params.get("lang", ""))
