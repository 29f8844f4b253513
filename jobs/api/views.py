"""One viewset a resource: what is listed, how it is filtered, who may write."""

import datetime
from typing import Any, ClassVar, cast

from django.contrib.auth import authenticate
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import mixins, status
from rest_framework.authentication import BaseAuthentication
from rest_framework.decorators import action
from rest_framework.generics import RetrieveUpdateAPIView, get_object_or_404
from rest_framework.permissions import AllowAny, BasePermission, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from jobs.api import filters, layout_serializers, serializers
from jobs.api.authentication import DeviceTokenAuthentication
from jobs.api.base import ArchivableViewSet, KeptViewSet, RowViewSet, delete_as_read
from jobs.api.errors import body_of
from jobs.api.preconditions import ANY, HEADER, VersionedMixin, required_tags, tag_of
from jobs.api.schema import STALE
from jobs.errors import DomainError, Stale
from jobs.lockout import forgive
from jobs.models import (
    Benchmark,
    Company,
    Connection,
    Customer,
    DeviceToken,
    DrainNode,
    DrainRun,
    Home,
    HomeContact,
    NeighbourPair,
    Point,
    RuleSet,
    Siting,
    Strap,
    Support,
    User,
)
from jobs.models.base import Act
from jobs.rights import need
from jobs.services import (
    archive_home,
    lay_out,
    layout_edition,
    remove_point,
    restore_point,
    revoke_token,
    standing_layout,
)


class CompanyView(VersionedMixin, RetrieveUpdateAPIView[Company]):
    """The one company; a manager may change it."""

    queryset = Company.objects.all()
    serializer_class = serializers.CompanySerializer
    http_method_names = ["get", "patch", "head", "options"]

    def get_queryset(self) -> QuerySet[Company]:
        """Return the one row."""
        return Company.objects.visible_to(self.request.user)

    def find_row(self) -> Company:
        """Return the one row; it needs no key."""
        return get_object_or_404(self.get_queryset())

    @transaction.atomic
    def perform_update(self, serializer: BaseSerializer[Company]) -> None:
        """Change the company, whole or not at all."""
        serializer.save()


class UserViewSet(KeptViewSet):
    """The company's people. A manager adds and changes them; nobody is deleted, only made inactive."""

    queryset = User.objects.all()
    serializer_class = serializers.UserSerializer
    filterset_fields = ["username", "is_active"]
    acts: ClassVar[dict[str, Act | None]] = {"me": None}

    def get_queryset(self) -> QuerySet[User]:
        """Everybody of the company, for anybody of the company."""
        return User.objects.all()

    def perform_update(self, serializer: BaseSerializer[Any]) -> None:
        """Keep those who run the instance out of a manager's hands."""
        if serializer.instance and serializer.instance.is_superuser and not self.request.user.is_superuser:
            sentence = _("Only an administrator may change an administrator.")
            raise DomainError("permission_denied", sentence, status=403)
        super().perform_update(serializer)

    @extend_schema(filters=False, responses=serializers.UserSerializer)
    @action(detail=False, pagination_class=None, filterset_fields=[])
    def me(self, request: Request) -> Response:
        """Return the person who asks."""
        return Response(self.get_serializer(request.user).data)


@extend_schema_view(destroy=extend_schema(description="Revoke the token: the device is signed out at once."))
class DeviceTokenViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, mixins.DestroyModelMixin, GenericViewSet[DeviceToken]
):
    """Tokens of one's own devices; a manager sees and revokes everybody's."""

    queryset = DeviceToken.objects.all()
    serializer_class = serializers.DeviceTokenSerializer
    filterset_fields = ["user"]

    def get_queryset(self) -> QuerySet[DeviceToken]:
        """Return one's own tokens, or everybody's for a manager."""
        return DeviceToken.objects.visible_to(self.request.user)

    def get_authenticators(self) -> list[BaseAuthentication]:
        """Let a device whose token no longer holds ask for a new one with a name and a password."""
        usual = super().get_authenticators()
        if self.request is None or self.request.method != "POST":
            return usual
        forgiving = DeviceTokenAuthentication(is_forgiving=True)
        return [forgiving if isinstance(one, DeviceTokenAuthentication) else one for one in usual]

    def get_permissions(self) -> list[BasePermission]:
        """Let people who give a name and password sign a device in."""
        return [AllowAny() if self.action == "create" else IsAuthenticated()]

    @extend_schema(
        request=serializers.NewDeviceTokenSerializer, responses={201: serializers.IssuedDeviceTokenSerializer}
    )
    def create(self, request: Request) -> Response:
        """Issue a token; its secret is shown this once."""
        wanted = serializers.NewDeviceTokenSerializer(data=request.data)
        wanted.is_valid(raise_exception=True)
        data = wanted.validated_data
        token, secret = DeviceToken.objects.issue(
            user=_who_signs_in(request, data),
            name=data["name"],
            lifetime=datetime.timedelta(days=data["days"]),
        )
        answer = {**serializers.DeviceTokenSerializer(token).data, "secret": secret}
        return Response(answer, status=status.HTTP_201_CREATED)

    def perform_destroy(self, instance: DeviceToken) -> None:
        """Revoke the token; its row stays."""
        revoke_token(token=instance)


def _who_signs_in(request: Request, data: dict[str, Any]) -> User:
    if isinstance(request.user, User) and not {"username", "password"} & data.keys():
        return request.user
    # The request that middleware sees: it answers those who are locked out.
    user = authenticate(request._request, username=data.get("username", ""), password=data.get("password", ""))
    if not isinstance(user, User):
        raise DomainError(
            "not_authenticated",
            _("Give the name and password of somebody who works here."),
            fields={"password": _("The name or the password is wrong.")},
            status=401,
        )
    forgive(request._request, user)
    return user


class CustomerViewSet(ArchivableViewSet):
    """Customers."""

    queryset = Customer.objects.all()
    serializer_class = serializers.CustomerSerializer
    filterset_class = filters.CustomerFilter


class HomeViewSet(ArchivableViewSet):
    """Homes. Deleting archives; 409 while visits to come are booked."""

    queryset = Home.objects.all()
    serializer_class = serializers.HomeSerializer
    filterset_class = filters.HomeFilter

    def perform_destroy(self, instance: Any) -> None:
        """Archive the home."""
        archive_home(instance, by=cast(User, self.request.user))


class HomeContactViewSet(KeptViewSet):
    """Who has to do with which home."""

    queryset = HomeContact.objects.all()
    serializer_class = serializers.HomeContactSerializer
    filterset_fields = ["home", "customer", "part"]


class SitingViewSet(KeptViewSet):
    """Homes at their places, and the layout under each."""

    queryset = Siting.objects.select_related("home")
    serializer_class = serializers.SitingSerializer
    filterset_fields = ["home"]
    acts: ClassVar[dict[str, Act | None]] = {"lay_out": Act.SEE}  # and what it then needs, it asks for itself

    @extend_schema(filters=False, responses=layout_serializers.LayoutSerializer)
    @action(detail=True, pagination_class=None, filterset_fields=[])
    def layout(self, request: Request, pk: str) -> Response:
        """Return everything that is under the home now, with an ETag that changes with anything in it."""
        return _layout_of(self.get_object())

    @extend_schema(
        request=layout_serializers.LayoutSpecSerializer,
        responses={201: layout_serializers.LayoutSerializer, 412: STALE},
        parameters=[
            OpenApiParameter(
                HEADER, str, OpenApiParameter.HEADER, description="needed with replace: the layout's ETag, or *"
            )
        ],
    )
    @layout.mapping.post
    def lay_out(self, request: Request, pk: str) -> Response:
        """Lay out points, supports and pairs from the home's size."""
        siting = self.get_object()
        wanted = layout_serializers.LayoutSpecSerializer(data=request.data)
        wanted.is_valid(raise_exception=True)
        replace = wanted.validated_data.get("replace", False)
        need(request.user, Act.CHANGE if replace else Act.ADD, Point)
        tags = required_tags(request) if replace else [ANY]
        only_from = None if ANY in tags else {tag.strip('"') for tag in tags}
        try:
            lay_out(siting=siting, spec=wanted.spec_for(siting.home), replace=replace, only_from=only_from)
        except Stale as stale:
            answer = _layout_of(siting, status=stale.status)
            answer.data = {**body_of(stale), "current": answer.data}
            return answer
        return _layout_of(siting, status=status.HTTP_201_CREATED)


def _layout_of(siting: Siting, *, status: int = status.HTTP_200_OK) -> Response:
    rows = {kind: list(each) for kind, each in standing_layout(siting).items()}
    data = layout_serializers.LayoutSerializer({"siting": siting.pk, **rows}).data
    return Response(dict(data), status=status, headers={"ETag": tag_of(layout_edition(rows))})


class PointViewSet(ArchivableViewSet):
    """Places whose height is read. Deleting archives the point and ends its support."""

    queryset = Point.objects.select_related("siting")
    serializer_class = layout_serializers.PointSerializer
    filterset_class = filters.PointFilter

    def perform_destroy(self, instance: Any) -> None:
        """Archive the point; its neighbours pair across the gap."""
        remove_point(point=instance)

    def perform_restore(self, row: Any) -> None:
        """Bring the point back; its neighbours pair with it."""
        restore_point(point=row)


class SupportViewSet(KeptViewSet):
    """Supports. One that is taken out gets a removal day."""

    queryset = Support.objects.all()
    serializer_class = layout_serializers.SupportSerializer
    filterset_class = filters.SupportFilter


class NeighbourPairViewSet(RowViewSet):
    """Pairs of neighbours; no history hangs on them, so they can be deleted."""

    queryset = NeighbourPair.objects.select_related("siting")
    serializer_class = layout_serializers.NeighbourPairSerializer
    filterset_class = filters.NeighbourPairFilter

    def perform_destroy(self, instance: Any) -> None:
        """Take the pair away."""
        delete_as_read(instance)


class BenchmarkViewSet(KeptViewSet):
    """Outside marks. One that is lost gets a retirement day."""

    queryset = Benchmark.objects.select_related("point__siting")
    serializer_class = layout_serializers.BenchmarkSerializer
    filterset_class = filters.BenchmarkFilter


class ConnectionViewSet(ArchivableViewSet):
    """What joins homes to the ground or the street."""

    queryset = Connection.objects.all()
    serializer_class = layout_serializers.ConnectionSerializer
    filterset_class = filters.ConnectionFilter


class StrapViewSet(ArchivableViewSet):
    """Anchor straps."""

    queryset = Strap.objects.select_related("siting")
    serializer_class = layout_serializers.StrapSerializer
    filterset_class = filters.StrapFilter


class DrainRunViewSet(ArchivableViewSet):
    """Runs of drain under homes."""

    queryset = DrainRun.objects.all()
    serializer_class = layout_serializers.DrainRunSerializer
    filterset_class = filters.DrainRunFilter


class DrainNodeViewSet(RowViewSet):
    """Places on drains where their height was measured; no history hangs on them, so they can be deleted."""

    queryset = DrainNode.objects.all()
    serializer_class = layout_serializers.DrainNodeSerializer
    filterset_class = filters.DrainNodeFilter

    def perform_destroy(self, instance: Any) -> None:
        """Take the place away."""
        delete_as_read(instance)


class RuleSetViewSet(KeptViewSet):
    """Rule sets. A manager adds versions; a version never changes, because results refer to it."""

    queryset = RuleSet.objects.all()
    serializer_class = serializers.RuleSetSerializer
    filterset_fields = ["name"]
    http_method_names = ["get", "post", "head", "options"]

    def get_serializer_class(self) -> type[BaseSerializer[Any]]:
        """Show the rule book with a single set."""
        return serializers.RuleSetDetailSerializer if self.action == "retrieve" else super().get_serializer_class()


class RuleBookView(APIView):
    """The rule book: every limit, allowance and cost by default, with its source."""

    rights_model = RuleSet

    @extend_schema(responses=serializers.RULE(many=True))
    def get(self, request: Request) -> Response:
        """Return every rule."""
        return Response(serializers.rules_under(None))
