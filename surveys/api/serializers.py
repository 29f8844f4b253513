"""Surveys on the wire: shape and field checks only. Readings come in through ``surveys.ingest``."""

from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from jobs.api.base import RowSerializer
from surveys.models import Reading, Setup, Survey


class SurveySerializer(RowSerializer):
    """One round of measuring at a home."""

    fixed = ("siting",)

    class Meta:
        model = Survey
        fields = [
            "id",
            "siting",
            "visit",
            "stage",
            "method",
            "unit",
            "reading_sd_in",
            "started_at",
            "author",
            "note",
            "state",
            "submitted_at",
            "revision",
        ]
        read_only_fields = ["author", "state", "submitted_at", "revision"]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """The visit goes to the same siting; the unit stays once something was read in it."""
        attrs = super().validate(attrs)
        siting = attrs["siting"] if self.instance is None else self.instance.siting
        visit = attrs.get("visit")
        if visit is not None and visit.siting_id != siting.pk:
            raise serializers.ValidationError({"visit": _("This visit goes to another siting.")})
        before = self.instance
        if before is not None and attrs.get("unit", before.unit) != before.unit and before.readings.exists():
            sentence = _("Readings have been made in this unit: start another survey.")
            raise serializers.ValidationError({"unit": sentence})
        return attrs


class SetupSerializer(RowSerializer):
    """One place of the instrument."""

    fixed = ("survey",)

    class Meta:
        model = Setup
        fields = ["id", "survey", "code", "sense", "sense_trial", "reading_sd_in", "has_drift", "device", "note"]


class ReadingSerializer(RowSerializer):
    """A reading as it is stored; never changed."""

    class Meta:
        model = Reading
        fields = [
            "id",
            "survey",
            "setup",
            "point",
            "shot",
            "round",
            "value_in",
            "typed",
            "unit",
            "reference_value_in",
            "reference_typed",
            "taken_at",
            "sequence",
            "device",
            "author",
            "received_at",
            "replaces",
            "settles",
            "is_contested",
            "reason",
        ]
        read_only_fields = fields
