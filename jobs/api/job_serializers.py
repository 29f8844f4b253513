"""Jobs, trucks and days off on the wire: shape and field checks only."""

import copy
from typing import Any

from django.utils.translation import gettext as _
from drf_spectacular.utils import inline_serializer
from rest_framework import serializers

from jobs.api.base import RowSerializer
from jobs.api.serializers import CustomerSerializer, HomeSerializer
from jobs.enquiry import TEXT_AT_MOST
from jobs.job_services import REASON_AT_MOST, WARRANTY_AT_MOST_MONTHS
from jobs.models import Customer, Home, HomeContact, Job, Siting, Symptom, TimeOff, Truck
from jobs.time_off import keep_off


class JobSerializer(RowSerializer):
    """One piece of work, from the enquiry to the end of the warranty. How it stands changes by its own addresses."""

    symptoms = serializers.ListField(child=serializers.ChoiceField(Symptom.choices), required=False)
    answers = serializers.DictField(
        child=serializers.CharField(max_length=TEXT_AT_MOST),
        required=False,
        help_text="by the codes of the enquiry's questions",
    )
    warranty_until = serializers.DateField(
        source="warranty_ends_on", read_only=True, allow_null=True, help_text="its last day"
    )
    is_inside_warranty = serializers.BooleanField(
        source="is_called_back_inside_warranty",
        read_only=True,
        allow_null=True,
        help_text="of a call-back: asked while the warranty of the job that it names held; null: no call-back",
    )

    class Meta:
        model = Job
        fields = [
            *("id", "number", "state", "state_reason", "asked_on", "came", "home", "customer"),
            *("caller_name", "caller_phone", "caller_email", "address"),
            *("symptoms", "rooms", "began", "answers", "note"),
            *("call_back_of", "is_inside_warranty", "done_on", "warranty_months", "warranty_until"),
        ]
        read_only_fields = ["number", "state", "state_reason", "done_on", "warranty_months"]

    def validate_symptoms(self, symptoms: list[str]) -> list[str]:
        """Each once, in a steady order."""
        return [one for one in Symptom.values if one in symptoms]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse what is wrong beyond the database's own rules."""
        attrs = super().validate(attrs)
        job = copy.copy(self.instance) if self.instance is not None else Job()
        for name, value in attrs.items():
            setattr(job, name, value)
        if problems := job.problems():
            raise serializers.ValidationError(problems)
        return attrs


class NewHomeSerializer(HomeSerializer):
    """A home that an enquiry is about and that is not on record yet, and where it stands since when."""

    address = serializers.CharField(max_length=200)
    from_on = serializers.DateField(help_text="since when it stands there")

    class Meta:
        model = Home
        fields = [
            *("code", "name", "kind", "sections", "width_ft", "length_ft", "wall_finish", "soil_class"),
            *("access_notes", "address", "from_on"),
        ]


class NewCustomerSerializer(CustomerSerializer):
    """Somebody who calls and is no customer yet."""

    class Meta:
        model = Customer
        fields = ["name", "phone", "email", "language", "postal_address", "notes"]


class TakeSerializer(serializers.Serializer[Any]):
    """What an enquiry is about and for whom: on record, or new; what the enquiry names already may be left out."""

    home = serializers.PrimaryKeyRelatedField(queryset=Home.objects.all(), required=False)
    new_home = NewHomeSerializer(required=False)
    customer = serializers.PrimaryKeyRelatedField(queryset=Customer.objects.standing(), required=False)
    new_customer = NewCustomerSerializer(required=False)
    part = serializers.ChoiceField(HomeContact.Part.choices, default=HomeContact.Part.OWNER)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """One on record or a new one, not both: one of the two would be lost."""
        both = [name for name in ("home", "customer") if name in attrs and f"new_{name}" in attrs]
        if both:
            sentence = _("Name one on record or describe a new one, not both.")
            raise serializers.ValidationError({f"new_{name}": sentence for name in both})
        return attrs

    def what(self) -> dict[str, Any]:
        """Return it as the service takes it: what is new as rows that are not stored yet."""
        given = dict(self.validated_data)
        if new := given.pop("new_home", None):
            given["siting"] = Siting(address=new.pop("address"), from_on=new.pop("from_on"))
            given["home"] = Home(**new)
        if new := given.pop("new_customer", None):
            given["customer"] = Customer(**new)
        return given


class DeclineSerializer(serializers.Serializer[Any]):
    """Why a job is not taken."""

    reason = serializers.CharField(max_length=REASON_AT_MOST)


class FinishSerializer(serializers.Serializer[Any]):
    """On which day a job was done, and its warranty."""

    done_on = serializers.DateField()
    warranty_months = serializers.IntegerField(
        min_value=0, max_value=WARRANTY_AT_MOST_MONTHS, required=False, help_text="0 or left out: none"
    )


# One question that is asked when somebody calls.
QUESTION = inline_serializer(
    "EnquiryQuestion",
    {
        "code": serializers.CharField(),
        "words": serializers.CharField(help_text="in the reader's language, as all of it"),
        "why": serializers.CharField(),
        "choices": serializers.DictField(
            child=serializers.CharField(), help_text="words by the code that is the answer; empty: any text"
        ),
        "alert": serializers.CharField(help_text="what the office is told where the answer is one of alert_on"),
        "alert_on": serializers.ListField(child=serializers.CharField()),
        "source": serializers.CharField(),
    },
).__class__


class TruckSerializer(RowSerializer):
    """What a crew drives."""

    class Meta:
        model = Truck
        fields = ["id", "name", "payload_lb", "note", "archived_at"]
        read_only_fields = ["archived_at"]


class TimeOffSerializer(RowSerializer):
    """Days off of a person or a truck; with neither, of the whole company."""

    fixed = ("person", "truck")

    class Meta:
        model = TimeOff
        fields = ["id", "person", "truck", "from_on", "to_on", "why"]

    def create(self, validated_data: dict[str, Any]) -> TimeOff:
        """Keep new days off."""
        return keep_off(TimeOff(**validated_data), by=self.context["request"].user)

    def update(self, instance: TimeOff, validated_data: dict[str, Any]) -> TimeOff:
        """Keep changed days off."""
        for name, value in validated_data.items():
            setattr(instance, name, value)
        return keep_off(instance, by=self.context["request"].user)
