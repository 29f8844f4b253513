"""Visits over the API: booked, moved and ended by the one service that also the pages use."""

from typing import Any, ClassVar

import django_filters
from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from jobs import booking
from jobs.api.base import KeptViewSet, RowSerializer
from jobs.booking_questions import QUESTIONS
from jobs.models import Skill, Visit

BOOKED_FIRST = _("A visit is booked first; how it stands is said of it then.")


class VisitSerializer(RowSerializer):
    """A trip to a home."""

    fixed = ("siting", "booked_why")

    needs = serializers.ListField(
        child=serializers.ChoiceField(Skill.choices), required=False, help_text="skills of which somebody has each"
    )
    state_reason = serializers.CharField(max_length=300, allow_blank=True, required=False)

    despite = serializers.ListField(
        child=serializers.ChoiceField(list(QUESTIONS.items())),
        required=False,
        write_only=True,
        help_text="questions by their code: booked or moved all the same",
    )

    class Meta:
        model = Visit
        fields = [
            "id",
            "siting",
            "kind",
            "state",
            "state_reason",
            "starts_at",
            "ends_at",
            "lead",
            "crew",
            "trucks",
            "job",
            "needs",
            "booked_why",
            "note",
            "despite",
        ]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse a new visit that is not booked but further on."""
        values = super().validate(attrs)
        if self.instance is None:
            if values.pop("state", Visit.State.BOOKED) != Visit.State.BOOKED:
                raise serializers.ValidationError({"state": BOOKED_FIRST})
            if values.pop("state_reason", ""):
                raise serializers.ValidationError({"state_reason": BOOKED_FIRST})
        return values

    def create(self, validated_data: dict[str, Any]) -> Visit:
        """Book the visit."""
        given = {"lead": None, **validated_data}
        return booking.book(by=self.context["request"].user, why=given.pop("booked_why", ""), **given)

    def update(self, instance: Visit, validated_data: dict[str, Any]) -> Visit:
        """Move the visit, change it, or say how it stands."""
        given = dict(validated_data)
        despite = given.pop("despite", ())
        return booking.change(instance, by=self.context["request"].user, values=given, despite=despite)


class VisitFilter(django_filters.FilterSet):
    """Visits by what they are for, how they stand, who is on them, and hours that they touch."""

    starts_before = django_filters.IsoDateTimeFilter(field_name="starts_at", lookup_expr="lt")
    ends_after = django_filters.IsoDateTimeFilter(field_name="ends_at", lookup_expr="gt")

    class Meta:
        model = Visit
        fields: ClassVar[list[str]] = ["siting", "kind", "state", "lead", "crew", "trucks", "job"]


class VisitViewSet(KeptViewSet):
    """Visits. One that does not happen is cancelled.

    409 ``conflict`` names who or what is taken in these hours, where, and from when to when. 409 ``holiday`` and
    ``same_home`` ask whether the hours are meant: sent again with the code in ``despite``, it is booked all the same.
    """

    queryset = Visit.objects.prefetch_related("crew", "trucks")
    serializer_class = VisitSerializer
    filterset_class = VisitFilter
