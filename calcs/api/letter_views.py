"""The letter to a customer over the API, as the PDF that the page shows."""

import uuid
from typing import cast

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.views import APIView

from calcs.customer_letter import letter_as_pdf
from calcs.sheets import LANGUAGES
from jobs.models import Customer, User


class LetterView(APIView):
    """The plain letter about an assessment whose verdict is not to lift."""

    rights_model = Customer  # whom it names

    @extend_schema(
        parameters=[
            OpenApiParameter("lang", str, enum=LANGUAGES, description="Of the letter; else the reader's own.")
        ],
        responses={(200, "application/pdf"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, pk: uuid.UUID) -> HttpResponse:
        """Return it as PDF; 404 where the verdict is to lift."""
        return letter_as_pdf(pk, cast(User, request.user), request.query_params.get("lang", ""))
