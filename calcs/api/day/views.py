"""One request that loads a day for a phone."""

import hashlib
from typing import cast

import msgspec
from django.http import HttpResponse
from django.utils.cache import get_conditional_response, patch_vary_headers
from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.views import APIView

from calcs.api.day.load import day_of, load
from calcs.api.day.schema import AskedSerializer, DaySerializer
from jobs.caution_reads import LANGUAGES
from jobs.models import User, Visit

_json = msgspec.json.Encoder()


@method_decorator(gzip_page, name="dispatch")
class DayView(APIView):
    """A person's visits of a day with everything about the homes that a phone needs without signal."""

    queryset = Visit.objects.all()  # whose rights it takes
    http_method_names = ["get", "head", "options"]

    @extend_schema(
        parameters=[
            OpenApiParameter("date", str, description="YYYY-MM-DD; without it: today, by the company's clock"),
            OpenApiParameter("language", str, enum=LANGUAGES, description="without it: the person's own"),
            OpenApiParameter("If-None-Match", str, OpenApiParameter.HEADER, description="the ETag of what is there"),
        ],
        responses={200: DaySerializer, 304: OpenApiResponse(description="Nothing has changed.")},
    )
    def get(self, request: Request) -> HttpResponse:
        """Return the day; 304 without it when nothing has changed."""
        asked = AskedSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        body = _json.encode(load(day_of(cast(User, request.user), **asked.validated_data)))
        etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
        headers = {"ETag": etag, "Cache-Control": "private, no-cache"}
        response = HttpResponse(body, content_type="application/json", headers=headers)
        patch_vary_headers(response, ["Authorization", "Cookie"])
        return get_conditional_response(request._request, etag=etag, response=response) or response
