"""Entries as they are kept, on the wire."""

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from calcs.api.sync import schema
from surveys.models import SyncEntry
from surveys.set_aside import WHY_AT_MOST, reason_told


class SyncEntrySerializer(serializers.ModelSerializer[SyncEntry]):
    """One content that a phone sent under an entry's key, with what became of it."""

    id = serializers.UUIDField(source="entry", help_text="the phone's own key")
    body = serializers.SerializerMethodField()
    reason = serializers.SerializerMethodField()

    class Meta:
        model = SyncEntry
        fields = [
            "id",
            "kind",
            "state",
            "reason",
            "body",
            "author",
            "sent_by",
            "device",
            "sequence",
            "noted_at",
            "clock_offset_s",
            "received_at",
            "taken_at",
            "left_out_by",
            "left_out_at",
            "left_out_why",
        ]
        read_only_fields = fields

    @extend_schema_field({"type": ["object", "array"], "description": "as it was sent"})
    def get_body(self, entry: SyncEntry) -> Any:
        """Return what was sent."""
        return entry.body

    @extend_schema_field(schema.REASON)
    def get_reason(self, entry: SyncEntry) -> Any:
        """Return why it was set aside, in the reader's language; null when it never was."""
        return reason_told(entry.reason)


class LeavingOutSerializer(serializers.Serializer[Any]):
    """Why an entry is left out."""

    why = serializers.CharField(max_length=WHY_AT_MOST)
