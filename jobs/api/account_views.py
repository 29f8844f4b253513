"""What a manager does about people over the API: invitations, ending access, links, unlocking, erasing."""

from typing import cast
from uuid import UUID

from django.urls import reverse
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework import mixins, status
from rest_framework.generics import get_object_or_404
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView
from rest_framework.viewsets import GenericViewSet

from jobs import accounts, erasing, lockout
from jobs.api import account_serializers as serializers
from jobs.models import Customer, Invitation, Job, User
from jobs.rights import is_manager


class ForManagers(IsAuthenticated):
    """A manager only, even to look."""

    message = _("This needs the manager role.")

    def has_permission(self, request: Request, view: APIView) -> bool:
        """Check the role, once it is known who asks."""
        return super().has_permission(request, view) and is_manager(request.user)


@extend_schema_view(destroy=extend_schema(description="Take the invitation back: its link no longer opens."))
class InvitationViewSet(
    mixins.ListModelMixin, mixins.RetrieveModelMixin, mixins.DestroyModelMixin, GenericViewSet[Invitation]
):
    """Invitations. An e-mail goes out where there is a mail server; the link is shown once in any case."""

    queryset = Invitation.objects.all()
    serializer_class = serializers.InvitationSerializer
    permission_classes = [ForManagers]
    filterset_fields = ["email"]

    @extend_schema(
        request=serializers.NewInvitationSerializer, responses={201: serializers.IssuedInvitationSerializer}
    )
    def create(self, request: Request) -> Response:
        """Invite somebody; a newer invitation of the same e-mail takes the place of an older one."""
        wanted = serializers.NewInvitationSerializer(data=request.data)
        wanted.is_valid(raise_exception=True)
        made, secret = accounts.invite(by=cast(User, request.user), **wanted.validated_data)
        link = request.build_absolute_uri(reverse("invitation", args=[secret]))
        is_sent = accounts.mail_invitation(made, link)
        answer = {**serializers.InvitationSerializer(made).data, "link": link, "is_sent": is_sent}
        return Response(answer, status=status.HTTP_201_CREATED)

    def perform_destroy(self, instance: Invitation) -> None:
        """Revoke it; its row stays."""
        accounts.revoke(instance)


class PersonView(APIView):
    """Something done to one person."""

    permission_classes = [ForManagers]

    def person(self, request: Request, pk: UUID) -> User:
        """Return the person, if the manager may change them."""
        found: User = get_object_or_404(User.objects.filter(erased_at__isnull=True), pk=pk)
        accounts.check_may_change(by=cast(User, request.user), person=found)
        return found


class SignOutView(PersonView):
    """A lost phone."""

    @extend_schema(request=None, responses={204: None})
    def post(self, request: Request, pk: UUID) -> Response:
        """End all browsers and devices of a person, at once."""
        self.person(request, pk).sign_out_everywhere()
        return Response(status=status.HTTP_204_NO_CONTENT)


class UnlockView(PersonView):
    """Too many wrong passwords."""

    @extend_schema(request=None, responses={204: None})
    def post(self, request: Request, pk: UUID) -> Response:
        """Let a person try again at once."""
        lockout.unlock(self.person(request, pk))
        return Response(status=status.HTTP_204_NO_CONTENT)


class PasswordLinkView(PersonView):
    """A forgotten password."""

    @extend_schema(request=None, responses={201: serializers.PasswordLinkSerializer})
    def post(self, request: Request, pk: UUID) -> Response:
        """Make a link at which a person sets a new password: once, within a day."""
        person = self.person(request, pk)
        link = request.build_absolute_uri(accounts.password_link(person))
        is_sent = accounts.mail_password_link(person, link)
        return Response({"link": link, "is_sent": is_sent}, status=status.HTTP_201_CREATED)


class ErasePersonView(PersonView):
    """Erasing a person of the company."""

    @extend_schema(request=serializers.EraseSerializer, responses={204: None})
    def post(self, request: Request, pk: UUID) -> Response:
        """Blank what names the person; readings and plans stay, by an erased person. Can't be undone."""
        person = self.person(request, pk)
        erasing.erase_person(person=person, by=cast(User, request.user), typed_name=_typed_name(request))
        return Response(status=status.HTTP_204_NO_CONTENT)


class EraseCustomerView(APIView):
    """Erasing a customer."""

    permission_classes = [ForManagers]

    @extend_schema(request=serializers.EraseSerializer, responses={204: None})
    def post(self, request: Request, pk: UUID) -> Response:
        """Blank what names the customer; homes, readings and plans stay. Can't be undone."""
        customer = get_object_or_404(Customer.objects.filter(erased_at__isnull=True), pk=pk)
        erasing.erase_customer(customer=customer, typed_name=_typed_name(request))
        return Response(status=status.HTTP_204_NO_CONTENT)


class EraseCallerView(APIView):
    """Erasing somebody who asked and became no customer."""

    permission_classes = [ForManagers]

    @extend_schema(request=serializers.EraseSerializer, responses={204: None})
    def post(self, request: Request, pk: UUID) -> Response:
        """Blank who called about a job, and where; what was noticed stays. Can't be undone."""
        erasing.erase_caller(job=get_object_or_404(Job, pk=pk), typed_name=_typed_name(request))
        return Response(status=status.HTTP_204_NO_CONTENT)


def _typed_name(request: Request) -> str:
    typed = serializers.EraseSerializer(data=request.data)
    typed.is_valid(raise_exception=True)
    return str(typed.validated_data["name"])
