"""Closings over the API: listed, read, begun, filled in, and closed for good."""

from typing import Any, ClassVar, cast

import django_filters
from django.db import transaction
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from calcs.closing import check_as_left, close, what_is_open
from calcs.models import Closing
from jobs.api.base import KeptViewSet, RowSerializer
from jobs.api.preconditions import HEADER, check_tag, tag_of
from jobs.models import User
from jobs.models.base import Act


class OpenSerializer(serializers.Serializer[Any]):
    """Something that is open before the work can be closed."""

    code = serializers.CharField()
    words = serializers.CharField(help_text="a plain sentence, for people")
    is_life = serializers.BooleanField(help_text="nobody closes past it, not even the manager with a reason")


class ClosingSerializer(RowSerializer):
    """What was checked at the end of an approval's work."""

    fixed = ("approval",)

    class Meta:
        model = Closing
        fields = [
            "id",
            "approval",
            "as_left",
            "are_wedges_tapped",
            "doors_windows",
            "are_straps_tight",
            "is_leak_checked",
            "are_drains_checked",
            "gas",
            "gas_checked_by",
            "is_everybody_out",
            "exceptions",
            "closed_at",
            "closed_by",
            "manager_reason",
        ]
        read_only_fields = ["closed_at", "closed_by", "manager_reason"]
        extra_kwargs: ClassVar[dict[str, Any]] = {"approval": {"validators": []}}  # one each: the database says so

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """The survey as left is one of the same home, made as left."""
        checked = super().validate(attrs)
        approval = checked.get("approval") or cast(Closing, self.instance).approval
        check_as_left(Closing(approval=approval, as_left=checked.get("as_left")))
        return checked


class ClosingDetailSerializer(ClosingSerializer):
    """A closing with what is still open; nothing once it is closed."""

    open = serializers.SerializerMethodField()

    class Meta(ClosingSerializer.Meta):
        fields = [*ClosingSerializer.Meta.fields, "open"]

    @extend_schema_field(OpenSerializer(many=True))
    def get_open(self, closing: Closing) -> Any:
        """Return what is open."""
        still_open = () if closing.closed_at else what_is_open(closing)
        return OpenSerializer(still_open, many=True).data


class CloseSerializer(serializers.Serializer[Any]):
    """Why work is closed though something is open; the manager's to say."""

    reason = serializers.CharField(required=False, allow_blank=True, max_length=2000)


class ClosingFilter(django_filters.FilterSet):
    """Closings by siting and approval, closed ones or open ones."""

    siting = django_filters.UUIDFilter(field_name="approval__siting")
    open = django_filters.BooleanFilter(field_name="closed_at", lookup_expr="isnull", help_text="not closed yet")

    class Meta:
        model = Closing
        fields = ["approval", "as_left"]


class ClosingViewSet(KeptViewSet):
    """What was checked at the end of approved work. Closed ones change no more."""

    queryset = Closing.objects.all()
    serializer_class = ClosingSerializer
    filterset_class = ClosingFilter
    acts: ClassVar[dict[str, Act | None]] = {"close": Act.CHANGE}

    def get_serializer_class(self) -> type[serializers.BaseSerializer[Any]]:
        """Tell what is open of a single closing only: that takes a look at everything."""
        return super().get_serializer_class() if self.action == "list" else ClosingDetailSerializer

    def get_queryset(self) -> Any:
        """Bring what a single one is asked about."""
        rows = super().get_queryset()
        return rows if self.action == "list" else rows.select_related("approval__plan__lift", "as_left")

    @extend_schema(
        request=CloseSerializer,
        responses=ClosingDetailSerializer,
        filters=False,
        parameters=[
            OpenApiParameter(
                HEADER, str, OpenApiParameter.HEADER, required=True, description="the ETag as read, or *"
            )
        ],
    )
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def close(self, request: Request, pk: str) -> Response:
        """Close the work: 409 with what is open, unless the manager gives a reason. If-Match as for a change."""
        body = CloseSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        closing = self.get_object()
        check_tag(request, tag_of(closing.edition))
        with transaction.atomic():
            closed = close(closing=closing, by=cast(User, request.user), reason=body.validated_data.get("reason", ""))
        return Response(self.get_serializer(closed).data)
