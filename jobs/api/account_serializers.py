"""Invitations, links and erasing on the wire."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from jobs.api.base import RowSerializer
from jobs.models import Invitation, Role


class InvitationSerializer(RowSerializer):
    """An invitation, without its secret."""

    state = serializers.SerializerMethodField()

    class Meta:
        model = Invitation
        fields = [
            "id",
            "email",
            "roles",
            "state",
            "invited_by",
            "created_at",
            "expires_at",
            "revoked_at",
            "accepted_at",
            "user",
        ]
        read_only_fields = fields

    @extend_schema_field(serializers.ChoiceField(choices=Invitation.State.choices))
    def get_state(self, invitation: Invitation) -> str:
        """Return what has become of it by now."""
        return invitation.state_now().value


class NewInvitationSerializer(serializers.Serializer[Any]):
    """Who is invited, and what they will do."""

    email = serializers.EmailField(max_length=254)
    roles = serializers.ListField(child=serializers.ChoiceField(Role.choices), min_length=1, max_length=len(Role))


class IssuedInvitationSerializer(InvitationSerializer):
    """An invitation just made: the only time its link is shown."""

    link = serializers.URLField(read_only=True)
    is_sent = serializers.BooleanField(read_only=True, help_text="whether a mail server took it")

    class Meta(InvitationSerializer.Meta):
        fields = [*InvitationSerializer.Meta.fields, "link", "is_sent"]
        read_only_fields = fields


class PasswordLinkSerializer(serializers.Serializer[Any]):
    """A link at which a person sets a new password, once, within a day."""

    link = serializers.URLField(read_only=True)
    is_sent = serializers.BooleanField(read_only=True, help_text="whether a mail server took it")


class EraseSerializer(serializers.Serializer[Any]):
    """The name, typed once more, of whose data is erased."""

    name = serializers.CharField(max_length=320, help_text="exactly as it is shown")
