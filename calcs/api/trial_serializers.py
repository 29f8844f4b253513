"""What was tried beside the record, on the wire: other limits in, what a lift would take with them out."""

from typing import Any, cast

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from calcs import codec
from calcs.api.serializers import Document, FailureSerializer
from calcs.labels import label_sentences, labels_of, with_labels
from calcs.models import Trial
from calcs.services import request_trial
from calcs.staleness import stale_trials
from calcs.trials import MOST_CHANGES, MOST_TRAVEL_IN, Changes
from jobs.api.base import RowSerializer
from jobs.models import User
from jobs.rulebook import RULES

MANY: dict[str, Any] = {"many": True, "required": False, "max_length": MOST_CHANGES}
Shape = serializers.Serializer[Any]


class LengthInField(serializers.FloatField):
    """A length in inches from 0 on; null or left out: as it is recorded. A rule's name stands for its range."""

    def __init__(self, rule: str | None = None, **options: Any) -> None:
        low, high = (RULES[rule].low, RULES[rule].high) if rule else (0.0, MOST_TRAVEL_IN)
        super().__init__(min_value=low, max_value=high, required=False, allow_null=True, **options)


class StrictSerializer(Shape):
    """A shape that refuses what it does not know: what is misspelt must not pass as tried."""

    def to_internal_value(self, data: Any) -> Any:
        """Refuse unknown names at their field."""
        if isinstance(data, dict) and (unknown := set(data) - set(self.fields)):
            allowed = _("There is no such field here. There are: {names}.").format(names=", ".join(self.fields))
            raise serializers.ValidationError(dict.fromkeys(sorted(map(str, unknown)), allowed))
        return super().to_internal_value(data)


class ConnectionChangeSerializer(StrictSerializer):
    """A connection taken as free at no cost, or with another travel; not both."""

    connection = serializers.UUIDField()
    is_free = serializers.BooleanField(default=False)
    free_up_in = LengthInField()
    free_down_in = LengthInField()


class SupportChangeSerializer(StrictSerializer):
    """Other limits for a support that the survey read; at least one of the two."""

    point = serializers.UUIDField(help_text="at which it stands")
    max_raise_in = LengthInField("max_raise_in")
    max_lower_in = LengthInField("max_lower_in")


class ChangesSerializer(StrictSerializer):
    """What is taken otherwise than it is recorded; at least one of these."""

    connections = ConnectionChangeSerializer(**MANY)
    supports = SupportChangeSerializer(**MANY)
    tolerance_in = LengthInField("tolerance_in", help_text="between neighbours without a tolerance of their own")
    target_in = LengthInField("target_in", help_text="what a pair with a moved support is brought within")
    max_raise_in = LengthInField(
        "max_raise_in", help_text="of every support; one with a smaller limit of its own keeps that"
    )
    rehang_drains = serializers.BooleanField(default=False, help_text="drains may be hung anew at no cost")


class TriedOptionSerializer(Shape):
    """One option as it was tried."""

    name = serializers.CharField()
    status = serializers.CharField()
    minutes = serializers.FloatField(allow_null=True, help_text="null where there is no plan")
    touched = serializers.IntegerField(allow_null=True)
    freed = serializers.ListField(child=serializers.CharField(), help_text="by code")
    chance_within = serializers.FloatField(allow_null=True)


class TrialSerializer(RowSerializer):
    """A trial: what was asked, and how far it is. It never becomes a plan."""

    changes = ChangesSerializer()
    state = serializers.CharField(source="calculation.state", read_only=True)
    is_newest = serializers.SerializerMethodField(help_text="false once readings came in after it was asked")

    class Meta:
        model = Trial
        fields = ["id", "survey", "changes", "calculation", "state", "revision", "is_newest", "asked_by", "asked_at"]
        read_only_fields = ["calculation", "revision", "asked_by", "asked_at"]

    def get_is_newest(self, trial: Trial) -> bool:
        """Tell whether it was asked for the survey's newest revision."""
        return trial.revision == trial.survey.revision

    def validate_changes(self, sent: Document) -> Changes:
        """Return the changes that were sent; whether they can be is the service's to say."""
        plain = {name: _plain(value) for name, value in sent.items()}
        return codec.decode(plain, Changes)

    def create(self, validated_data: Document) -> Trial:
        """Ask for it."""
        by = cast(User, self.context["request"].user)
        return request_trial(validated_data["survey"], validated_data["changes"], by=by)


def _plain(value: Any) -> Any:
    """Return what a serializer made, with keys as text."""
    if isinstance(value, list):
        return [
            {name: str(item) if name in ("connection", "point") else item for name, item in row.items()}
            for row in value
        ]
    return value


class TrialDetailSerializer(TrialSerializer):
    """A trial with what came of it."""

    stale = serializers.SerializerMethodField(
        help_text="why it does not stand beside the plans: newer readings, or a changed record"
    )
    options = serializers.SerializerMethodField()
    error = serializers.SerializerMethodField()

    class Meta(TrialSerializer.Meta):
        fields = [*TrialSerializer.Meta.fields, "stale", "options", "error"]

    @extend_schema_field({"type": ["string", "null"], "enum": ["readings", "record", None]})
    def get_stale(self, trial: Trial) -> str | None:
        """Return why it does not stand, null while it does."""
        return stale_trials(trial.survey, [trial])[trial.pk]

    @extend_schema_field(TriedOptionSerializer(many=True, allow_null=True))
    def get_options(self, trial: Trial) -> list[Document] | None:
        """Return what each option would take; null while that is not computed."""
        result = trial.calculation.result
        if result is None:
            return None
        labels = labels_of(trial.survey)
        names = ("name", "status", "minutes", "touched", "chance_within")
        return [
            {name: option.get(name) for name in names}
            | {"freed": [with_labels(code, labels) for code in option["freed"]]}
            for option in result["options"]
        ]

    @extend_schema_field(FailureSerializer(allow_null=True))
    def get_error(self, trial: Trial) -> Document | None:
        """Return why there is no answer."""
        return cast(Document | None, label_sentences(trial.calculation.error, labels_of(trial.survey)))
