"""Hazards of homes and cautions that were read, on the wire: shape and field checks only."""

from typing import Any

from rest_framework import serializers

from jobs.api.field_serializers import FROM_PHONE, FromPhoneSerializer
from jobs.hazards import WHY_AT_MOST
from jobs.models import CautionRead, Hazard, HeadCount


class HazardSerializer(FromPhoneSerializer):
    """Something at a home that may hurt somebody, until it is cleared."""

    class Meta(FromPhoneSerializer.Meta):
        model = Hazard
        fields = [*FROM_PHONE, "home", "kind", "text", "photo", "cleared_at", "cleared_by", "cleared_why"]
        read_only_fields = [
            *FromPhoneSerializer.Meta.read_only_fields,
            "cleared_at",
            "cleared_by",
            "cleared_why",
        ]


class ClearSerializer(serializers.Serializer[Any]):
    """Why a hazard is cleared."""

    why = serializers.CharField(max_length=WHY_AT_MOST, help_text="what was done, or what was seen")


class CautionReadSerializer(FromPhoneSerializer):
    """Somebody has read a caution at a visit."""

    class Meta(FromPhoneSerializer.Meta):
        model = CautionRead
        fields = [*FROM_PHONE, "visit", "code", "moment", "reader_name", "language", "text_sha256"]
        extra_kwargs = {
            "reader_name": {"help_text": "who has read it; perhaps somebody without an account"},
            "text_sha256": {"help_text": "as it came with the text that was read"},
        }


class HeadCountSerializer(FromPhoneSerializer):
    """Somebody went in under a home, or came out."""

    is_in = serializers.BooleanField(help_text="in under the home; false: out again")

    class Meta(FromPhoneSerializer.Meta):
        model = HeadCount
        fields = [*FROM_PHONE, "visit", "person_name", "is_in"]
