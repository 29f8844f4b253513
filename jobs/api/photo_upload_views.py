"""Photos over the API piece by piece: announced, asked how far they are, and sent on from there."""

from typing import Any, ClassVar, cast
from uuid import UUID

import django_filters
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.parsers import BaseParser, JSONParser
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.field_serializers import FROM_PHONE, FromPhoneSerializer, check_places
from jobs.api.field_views import FromPhoneViewSet
from jobs.api.schema import ERROR
from jobs.api.throttling import UploadRequests
from jobs.errors import DomainError
from jobs.models import PhotoUpload, User
from jobs.photo_uploads import MOST_PIECE_BYTES, OutOfStep, add_piece, begin, own_upload, upload_of

OFFSET = "Upload-Offset"
OUT_OF_STEP: dict[str, Any] = {
    **ERROR,
    "required": [*ERROR["required"], "received_bytes"],
    "properties": {
        **ERROR["properties"],
        "received_bytes": {"type": "integer", "description": "how much is here: go on from there"},
    },
}


class BytesParser(BaseParser):
    """Takes a body as it is."""

    media_type = "application/octet-stream"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> bytes:  # type: ignore[override]  # the stubs know dicts only
        """Read all of it; how much that may be is seen to before."""
        data: bytes = stream.read()
        return data


class PhotoUploadSerializer(FromPhoneSerializer):
    """A photo that is coming in. Its id becomes the photo's."""

    photo = serializers.UUIDField(
        source="photo_id", read_only=True, allow_null=True, help_text="null while some of it is still to come"
    )
    sha256 = serializers.RegexField("^[0-9a-f]{64}$", help_text="of the whole file, in hexadecimal digits")

    class Meta(FromPhoneSerializer.Meta):
        model = PhotoUpload
        fields = [
            *FROM_PHONE,
            "siting",
            "visit",
            "finding",
            "caption",
            "size_bytes",
            "sha256",
            "received_bytes",
            "photo",
        ]
        read_only_fields = [*FromPhoneSerializer.Meta.read_only_fields, "received_bytes"]
        extra_kwargs: ClassVar[dict[str, Any]] = {"size_bytes": {"min_value": 1}}

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """All of it lies under one siting."""
        check_places(attrs["siting"].pk, visit=attrs.get("visit"), finding=attrs.get("finding"))
        return attrs


class PhotoUploadFilter(django_filters.FilterSet):
    """Photos on their way by what they are of."""

    class Meta:
        model = PhotoUpload
        fields = ["siting", "visit", "finding", "author"]


class PhotoUploadViewSet(FromPhoneViewSet):
    """Photos that come in piece by piece. One that is whole is a photo, and leaves this list."""

    queryset = PhotoUpload.objects.order_by()
    serializer_class = PhotoUploadSerializer
    filterset_class = PhotoUploadFilter
    parser_classes = (JSONParser, BytesParser)
    http_method_names = ["get", "post", "patch", "head", "options"]
    keep = staticmethod(begin)
    most_bytes = MOST_PIECE_BYTES
    throttle_classes = [UploadRequests]
    lookup_value_regex = "[0-9a-fA-F-]{36}"

    def read_back(self, row: PhotoUpload) -> PhotoUpload:
        """Return how far it is, were it done meanwhile."""
        return upload_of(row.pk, seen_by=cast(User, self.request.user))

    def retrieve(self, request: Request, pk: UUID) -> Response:
        """Tell how far a photo is; the same once it is whole."""
        return Response(self.get_serializer(upload_of(pk, seen_by=cast(User, request.user))).data)

    @extend_schema(
        request={"application/octet-stream": OpenApiTypes.BINARY},
        parameters=[
            OpenApiParameter(
                OFFSET, int, OpenApiParameter.HEADER, required=True, description="where in the file these bytes begin"
            )
        ],
        responses={
            200: PhotoUploadSerializer,
            409: OpenApiResponse(OUT_OF_STEP, description="It does not follow on what is here, or starts anew."),
        },
    )
    def partial_update(self, request: Request, pk: UUID) -> Response:
        """Add the next bytes, at most 256 kB. With the last of them it becomes a photo with the same id."""
        user = cast(User, request.user)
        own_upload(pk, by=user)
        offset = request.headers.get(OFFSET, "")
        if not (offset.isascii() and offset.isdigit() and len(offset) < 12):
            sentence = _("Say at which byte of the file this piece begins: a whole number from 0.")
            raise DomainError("invalid", sentence, fields={OFFSET: sentence})
        piece: Any = request.data
        if not isinstance(piece, bytes):
            sentence = _("Send the bytes as they are, as application/octet-stream.")
            raise DomainError("unsupported_media_type", sentence, status=415)
        upload = add_piece(key=pk, offset=int(offset), piece=piece, by=user)
        return Response(self.get_serializer(upload).data)

    def handle_exception(self, exc: Exception) -> Response:
        """Tell with what is out of step how much is here."""
        answer = super().handle_exception(exc)
        if isinstance(exc, OutOfStep):
            answer.data["received_bytes"] = exc.received_bytes
        return answer
