"""Mail to customers, over the API: what waits, went out or was refused, and the company's own words for it."""

from typing import Any, ClassVar, cast

from django.core.exceptions import ValidationError as InvalidRow
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ReadOnlyModelViewSet

from jobs import mails
from jobs.api.base import RowSerializer, RowViewSet, delete_as_read
from jobs.models import Mail, MailText, User
from jobs.models.base import Act


class MailSerializer(RowSerializer):
    """One message to a customer, with what has become of it."""

    error = serializers.CharField(source="why", read_only=True, help_text="why it was not sent (yet)")

    class Meta:
        model = Mail
        fields = [
            *("id", "kind", "customer", "siting", "visit", "to_address", "language", "subject", "body", "state"),
            *("made_at", "made_by", "tries", "is_unsure", "next_try_at", "sent_at", "error"),
        ]
        read_only_fields = fields


class MailViewSet(ReadOnlyModelViewSet[Mail]):
    """Mail to customers. It is written by booking, moving and cancelling visits, and sent in the background."""

    queryset = Mail.objects.order_by()
    serializer_class = MailSerializer
    filterset_fields = ["state", "kind", "customer", "siting", "visit"]
    acts: ClassVar[dict[str, Act]] = {"try_again": Act.CHANGE, "stop": Act.CHANGE}

    def get_queryset(self) -> Any:
        """Return the messages that the person may see."""
        return Mail.objects.order_by().visible_to(self.request.user)

    @extend_schema(request=None, responses=MailSerializer, filters=False)
    @action(detail=True, methods=["post"], url_path="try-again", pagination_class=None, filterset_fields=[])
    def try_again(self, request: Request, pk: str) -> Response:
        """Try a message that waits or was refused at once, at the customer's present address."""
        mails.try_again(self.get_object(), by=cast(User, request.user))
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=None, responses=MailSerializer, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_fields=[])
    def stop(self, request: Request, pk: str) -> Response:
        """Don't send a message that waits or was refused."""
        mails.stop(self.get_object(), by=cast(User, request.user))
        return Response(self.get_serializer(self.get_object()).data)


class MailTextSerializer(RowSerializer):
    """The company's own words for one kind of message in one language; ``{day}`` and the like are filled in."""

    fixed: ClassVar[tuple[str, ...]] = ("kind", "language")

    class Meta:
        model = MailText
        fields = ["id", "kind", "language", "subject", "body"]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse words whose blanks can't be filled."""
        attrs = super().validate(attrs)
        kept = {name: getattr(self.instance, name) for name in self.Meta.fields[1:]} if self.instance else {}
        try:
            MailText(**{**kept, **attrs}).clean()
        except InvalidRow as error:
            raise serializers.ValidationError(error.message_dict) from error
        return attrs


class MailTextViewSet(RowViewSet):
    """The company's own words. Deleting them goes back to those of the service."""

    queryset = MailText.objects.order_by()
    serializer_class = MailTextSerializer
    filterset_fields = ["kind", "language"]

    def perform_destroy(self, instance: Any) -> None:
        """Give the words up, unless somebody has changed them since they were read."""
        delete_as_read(instance)
