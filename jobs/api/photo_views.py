"""Photos over the API: each comes by itself as a form with a file, whenever there is signal enough for it."""

from typing import Any, cast

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.api.base import ArchivableFilter
from jobs.api.field_serializers import FROM_PHONE, FromPhoneSerializer, check_places
from jobs.api.field_views import FromPhoneViewSet
from jobs.models import Photo, User
from jobs.models.base import new_key
from jobs.photo_files import original_of, small_of
from jobs.photos import MOST_BODY_BYTES, TYPES, take

_PICTURE = {(200, media_type): OpenApiTypes.BINARY for media_type, _ in TYPES.values()}


class PhotoSerializer(FromPhoneSerializer):
    """A photo of a home, perhaps of a finding. Its file has addresses of its own."""

    id = serializers.UUIDField(required=False, help_text="made by the phone: sent again, it is kept once")
    noted_at = serializers.DateTimeField(required=False, help_text="when it was taken, by the device's clock")
    file = serializers.FileField(write_only=True, help_text="JPEG, PNG or WebP, at most 12 MB and 60 million points")

    class Meta(FromPhoneSerializer.Meta):
        model = Photo
        fields = [
            *FROM_PHONE,
            "siting",
            "visit",
            "finding",
            "caption",
            "file",
            "media_type",
            "size_bytes",
            "width_px",
            "height_px",
            "sha256",
            "archived_at",
        ]
        read_only_fields = [*FromPhoneSerializer.Meta.read_only_fields, "archived_at"]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """All of it lies under one siting."""
        check_places(attrs["siting"].pk, visit=attrs.get("visit"), finding=attrs.get("finding"))
        return {"id": new_key(), "noted_at": timezone.now(), **attrs}


class PhotoFilter(ArchivableFilter):
    """Photos by what they are of."""

    class Meta:
        model = Photo
        fields = ["siting", "visit", "finding", "author"]


class PhotoViewSet(FromPhoneViewSet):
    """Photos of homes and of what was found under them. Deleting archives."""

    queryset = Photo.objects.order_by()
    serializer_class = PhotoSerializer
    filterset_class = PhotoFilter
    parser_classes = (MultiPartParser,)
    http_method_names = ["get", "post", "delete", "head", "options"]
    most_bytes = MOST_BODY_BYTES

    def create(self, request: Request) -> Response:
        """Add a photo: 201 when new, 200 when sent before; 409 when its id is stored with another one."""
        serializer = self.get_serializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        upload = serializer.validated_data.pop("file")
        photo = Photo(author=cast(User, request.user), **serializer.validated_data)
        is_new = take(photo, upload)
        photo.refresh_from_db()
        code = status.HTTP_201_CREATED if is_new else status.HTTP_200_OK
        return Response(self.get_serializer(photo).data, status=code)

    @extend_schema(responses={204: OpenApiResponse(description="Archived.")})
    def destroy(self, request: Request, pk: str) -> Response:
        """Archive a photo; its file stays."""
        Photo.objects.filter(pk=self.get_object().pk).archive()
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(responses=_PICTURE)
    @action(detail=True, pagination_class=None, filterset_class=None)
    def file(self, request: Request, pk: str) -> HttpResponse:
        """Return the photo as it came in, with what the camera wrote into it."""
        return original_of(self.get_object())

    @extend_schema(responses={(200, "image/jpeg"): OpenApiTypes.BINARY})
    @action(detail=True, pagination_class=None, filterset_class=None)
    def thumbnail(self, request: Request, pk: str) -> HttpResponse:
        """Return a small JPEG of it, of at most 480 points a side."""
        return small_of(self.get_object())
