"""Trials over the API: listed, read, and asked for."""

from typing import Any

from django.db.models import QuerySet
from rest_framework import serializers

from calcs.api.trial_serializers import TrialDetailSerializer, TrialSerializer
from calcs.models import Trial
from jobs.api.base import RowViewSet


class TrialViewSet(RowViewSet):
    """Lifts with other limits than the record's, computed to be looked at; none becomes a plan, none changes."""

    http_method_names = ["get", "post", "head", "options"]
    queryset = Trial.objects.select_related("survey", "calculation").defer("calculation__input")
    serializer_class = TrialSerializer
    filterset_fields = ["survey", "asked_by"]

    def get_queryset(self) -> QuerySet[Any]:
        """Leave the large documents of a list in the database."""
        rows = super().get_queryset()
        return rows.defer("calculation__input", "calculation__result") if self.action == "list" else rows

    def get_serializer_class(self) -> type[serializers.BaseSerializer[Any]]:
        """Return the shorter form for a list."""
        return TrialSerializer if self.action == "list" else TrialDetailSerializer
