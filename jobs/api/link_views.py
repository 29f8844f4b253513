"""Links for people outside, over the API: made with the secret shown once, listed with their openings, taken back."""

from typing import Any, ClassVar, cast

from django.db.models import Count, Max, QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import mixins, serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse
from rest_framework.viewsets import GenericViewSet

from jobs import links
from jobs.api.base import RowSerializer
from jobs.models import SignedLink, SignedLinkUse, User
from jobs.models.base import Act


class SignedLinkSerializer(RowSerializer):
    """A link to one home. What it opens with is shown once, when it is made."""

    state = serializers.ChoiceField(choices=SignedLink.State.choices, source="state_now", read_only=True)
    times_opened = serializers.IntegerField(read_only=True, default=0)
    last_opened_at = serializers.DateTimeField(read_only=True, default=None, allow_null=True)

    class Meta:
        model = SignedLink
        fields = [
            "id",
            "home",
            "audience",
            "holder",
            "created_by",
            "created_at",
            "expires_at",
            "revoked_at",
            "revoked_by",
            "state",
            "times_opened",
            "last_opened_at",
        ]


class NewLinkSerializer(RowSerializer):
    """What a link is made from."""

    days = serializers.IntegerField(
        min_value=1, max_value=links.DAYS_AT_MOST, default=links.DAYS_USUALLY, help_text="how long it opens"
    )

    class Meta:
        model = SignedLink
        fields = ["home", "audience", "holder", "days"]


class IssuedLinkSerializer(SignedLinkSerializer):
    """A link just made: the only time that its address is shown."""

    link = serializers.URLField(read_only=True, help_text="hand it over; it is not shown again")

    class Meta(SignedLinkSerializer.Meta):
        fields = [*SignedLinkSerializer.Meta.fields, "link"]


class SignedLinkUseSerializer(RowSerializer):
    """One opening of a link."""

    class Meta:
        model = SignedLinkUse
        fields = ["id", "link", "opened_at", "address", "browser"]


class SignedLinkViewSet(mixins.ListModelMixin, mixins.RetrieveModelMixin, GenericViewSet[SignedLink]):
    """Links that show one home to somebody outside. Deleting takes one back: it opens no more, and stays listed."""

    queryset = SignedLink.objects.order_by()
    serializer_class = SignedLinkSerializer
    filterset_fields = ["home", "audience"]
    acts: ClassVar[dict[str, Act]] = {"destroy": Act.CHANGE}

    def get_queryset(self) -> QuerySet[Any]:
        """Return the links with how often they were opened, and when last."""
        rows = SignedLink.objects.order_by().visible_to(self.request.user)
        return rows.annotate(times_opened=Count("uses"), last_opened_at=Max("uses__opened_at"))

    @extend_schema(request=NewLinkSerializer, responses={201: IssuedLinkSerializer})
    def create(self, request: Request) -> Response:
        """Make a link; its address is shown this once."""
        wanted = NewLinkSerializer(data=request.data, context=self.get_serializer_context())
        wanted.is_valid(raise_exception=True)
        row, secret = links.issue(by=cast(User, request.user), **wanted.validated_data)
        address = reverse("shared", args=[secret], request=request)
        answer = {**SignedLinkSerializer(row).data, "link": address}
        return Response(answer, status=status.HTTP_201_CREATED)

    @extend_schema(responses={204: OpenApiResponse(description="Taken back.")})
    def destroy(self, request: Request, pk: str) -> Response:
        """Take a link back: it opens no more from now on."""
        links.take_back(self.get_object(), by=cast(User, request.user))
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(responses={200: SignedLinkUseSerializer(many=True)})
    @action(detail=True, filterset_fields=[])
    def uses(self, request: Request, pk: str) -> Response:
        """List when, from where and with which browser it was opened, newest first."""
        uses: Any = SignedLinkUse.objects.filter(link=self.get_object()).order_by()
        page = self.paginate_queryset(uses)
        return self.get_paginated_response(SignedLinkUseSerializer(page, many=True).data)
