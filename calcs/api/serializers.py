"""Stored calculations, answers and plans on the wire. All are read only: they come out of readings and the record."""

from collections.abc import Iterable, Mapping
from typing import Any, cast

from django.db.models import Count
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from calcs.labels import Labels, label_sentences, labels_of, with_labels
from calcs.models import Answer, Calculation, Plan
from calcs.questions import LIFTS
from calcs.staleness import why_stale
from jobs.models import Support

Document = dict[str, Any]


class FailureSerializer(serializers.Serializer[Any]):
    """Why there is no answer."""

    code = serializers.CharField(help_text="invalid_input, no_answer, timed_out, gave_up or fault")
    message = serializers.CharField(help_text="a plain sentence, for people")
    field = serializers.CharField(help_text="path of the input field to blame, empty when there is none")


class CalculationSerializer(serializers.ModelSerializer[Calculation]):
    """A calculation without its documents."""

    class Meta:
        model = Calculation
        fields = [
            "id",
            "kind",
            "survey",
            "state",
            "engine_version",
            "rule_set",
            "attempt",
            "requested_by",
            "created_at",
            "started_at",
            "finished_at",
        ]
        read_only_fields = fields


class ProgressSerializer(serializers.Serializer[Any]):
    """How far the calculations of a survey are, this one and those beside it."""

    queued = serializers.IntegerField()
    running = serializers.IntegerField()
    done = serializers.IntegerField()
    failed = serializers.IntegerField()
    timed_out = serializers.IntegerField()


class CalculationDetailSerializer(CalculationSerializer):
    """A calculation with what it was asked and what came out; names are keys, sentences speak in labels."""

    result = serializers.SerializerMethodField()
    error = serializers.SerializerMethodField()
    progress = serializers.SerializerMethodField()

    class Meta(CalculationSerializer.Meta):
        fields = [*CalculationSerializer.Meta.fields, "progress", "input_sha256", "input", "result", "error"]
        read_only_fields = fields

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Describe the input, whose shape depends on the kind."""
        fields = super().get_fields()
        fields["input"].help_text = "the document that `calc KIND --schema` describes"
        return fields

    @extend_schema_field({"type": ["object", "null"], "description": "as `calc KIND --schema` describes it"})
    def get_result(self, calculation: Calculation) -> Document | None:
        """Return the result."""
        return cast(Document | None, label_sentences(calculation.result, _labels(self, calculation)))

    @extend_schema_field(FailureSerializer(allow_null=True))
    def get_error(self, calculation: Calculation) -> Document | None:
        """Return why there is none."""
        return cast(Document | None, label_sentences(calculation.error, _labels(self, calculation)))

    @extend_schema_field(ProgressSerializer)
    def get_progress(self, calculation: Calculation) -> dict[str, int]:
        """Count the survey's calculations by state."""
        rows = Calculation.objects.filter(survey=calculation.survey_id).values("state").annotate(count=Count("pk"))
        counts = {row["state"]: row["count"] for row in rows}
        return {state: counts.get(state, 0) for state in Calculation.State.values}


def _labels(serializer: serializers.BaseSerializer[Any], row: Calculation | Plan) -> Labels:
    """Return the labels of a row's survey, read once a row."""
    known: dict[Any, Labels] = cast(Document, serializer.context).setdefault("labels", {})
    if row.survey_id not in known:
        known[row.survey_id] = labels_of(row.survey)
    return known[row.survey_id]


class AnswerSerializer(serializers.ModelSerializer[Answer]):
    """Which calculation stands for a survey and a kind."""

    state = serializers.CharField(source="calculation.state", read_only=True)
    is_newest = serializers.SerializerMethodField(help_text="false once readings came in after it was asked")

    class Meta:
        model = Answer
        fields = ["id", "survey", "kind", "calculation", "state", "revision", "is_newest"]
        read_only_fields = fields

    def get_is_newest(self, answer: Answer) -> bool:
        """Tell whether it was asked for the survey's newest revision."""
        return answer.revision == answer.survey.revision


class PlanSerializer(serializers.ModelSerializer[Plan]):
    """A lift plan, as far as comparing plans needs it."""

    status = serializers.SerializerMethodField(help_text="optimal, or time_limit when it is not proven the best")
    minutes = serializers.SerializerMethodField()
    touched = serializers.SerializerMethodField(help_text="how many supports it touches")

    class Meta:
        model = Plan
        fields = [
            "id",
            "survey",
            "lift",
            "option",
            "status",
            "minutes",
            "touched",
            "is_recommended",
            "is_provisional",
            "created_at",
        ]
        read_only_fields = fields

    def get_status(self, plan: Plan) -> str:
        """Return how sure it is."""
        return str(option_of(plan)["status"])

    def get_minutes(self, plan: Plan) -> float:
        """Return the work it takes."""
        return float(option_of(plan)["minutes"])

    def get_touched(self, plan: Plan) -> int:
        """Return how many supports it touches."""
        return int(option_of(plan)["touched"])


class StepsSerializer(serializers.Serializer[Any]):
    """How far the background work for a survey has come."""

    state = serializers.ChoiceField(choices=["open", "working", "failed", "done"])
    words = serializers.CharField()
    steps = serializers.IntegerField(help_text="asked so far; a plan's checks are asked once its lift is done")
    steps_done = serializers.IntegerField()
    stamp = serializers.CharField(help_text="changes whenever there is something new")


class NamedPointSerializer(serializers.Serializer[Any]):
    """A point with what people call it."""

    point = serializers.UUIDField()
    label = serializers.CharField()  # type: ignore[assignment]  # only the stubs see a clash with Field.label


class MoveSerializer(NamedPointSerializer):
    """What happens at one support; heights are above the mean height of all points that were read."""

    move_in = serializers.FloatField(help_text="of the frame, up is positive")
    support_change_in = serializers.FloatField(help_text="of the support under it, a closed gap included")
    from_in = serializers.FloatField()
    to_in = serializers.FloatField(help_text="the height to reach")
    load_lb = serializers.FloatField(allow_null=True)


class LimitSerializer(serializers.Serializer[Any]):
    """A limit that costs work: one step more of it saves minutes."""

    kind = serializers.CharField()
    who = serializers.ListField(child=serializers.CharField())
    saves_min = serializers.FloatField()
    text = serializers.CharField()


class CheckSerializer(serializers.Serializer[Any]):
    """A check of the plan, once it is done; whatever has a label goes by its key and that label."""

    calculation = serializers.UUIDField()
    state = serializers.CharField()
    result = serializers.DictField(allow_null=True)
    error = FailureSerializer(allow_null=True)


# The checks of a plan by kind, and what their entries go by.
CHECKS = {
    "stacks": "point",
    "straps": "strap",
    "strap_spacing": "strap",
    "drains": "run",
    "frame": "point",
    "passes": "point",
    "supports": "point",
}


class PlanDetailSerializer(PlanSerializer):
    """A whole plan: every move with its label, what limits it, and its checks."""

    provisional_points = serializers.SerializerMethodField(
        help_text="moved points with a doubtful reading, and their neighbours that were not read"
    )
    not_read = serializers.SerializerMethodField(help_text="supports of the home that the survey did not read")
    stale = serializers.SerializerMethodField(
        help_text="why it does not stand: newer readings, a changed record, or replaced"
    )
    freed = serializers.SerializerMethodField(help_text="codes of connections to be freed")
    moves = serializers.SerializerMethodField()
    binding = serializers.SerializerMethodField()
    chance_within = serializers.SerializerMethodField(
        help_text="chance that every pair ends within its tolerance, as sure as the heights are"
    )
    stacks = serializers.SerializerMethodField()
    straps = serializers.SerializerMethodField()
    strap_spacing = serializers.SerializerMethodField()
    drains = serializers.SerializerMethodField()
    frame = serializers.SerializerMethodField()
    passes = serializers.SerializerMethodField()
    supports = serializers.SerializerMethodField()

    class Meta(PlanSerializer.Meta):
        fields = [
            *PlanSerializer.Meta.fields,
            "provisional_points",
            "not_read",
            "stale",
            "freed",
            "moves",
            "binding",
            "chance_within",
            *CHECKS,
        ]
        read_only_fields = fields

    @extend_schema_field(NamedPointSerializer(many=True))
    def get_provisional_points(self, plan: Plan) -> list[Document]:
        """Return where somebody should read again first."""
        return _named(plan.provisional_points, _labels(self, plan))

    @extend_schema_field(NamedPointSerializer(many=True))
    def get_not_read(self, plan: Plan) -> list[Document]:
        """Return the supports that the plan knows nothing of."""
        planned = {move["code"] for move in option_of(plan)["moves"]}
        standing = (
            Support.objects.standing().filter(point__siting=plan.survey.siting_id).order_by("point__walk_order")
        )
        points = (str(key) for key in standing.values_list("point_id", flat=True))
        return _named((point for point in points if point not in planned), _labels(self, plan))

    @extend_schema_field({"type": ["string", "null"], "enum": ["readings", "record", "replaced", None]})
    def get_stale(self, plan: Plan) -> str | None:
        """Return why the plan does not stand, null while it does."""
        stands = Answer.objects.filter(calculation=plan.lift_id, survey=plan.survey_id, kind__in=LIFTS).exists()
        return why_stale(plan.survey) if stands else "replaced"

    @extend_schema_field(serializers.ListField(child=serializers.CharField()))
    def get_freed(self, plan: Plan) -> list[str]:
        """Return what is to be freed before the lift; a stretch of a drain by its run and its ends."""
        labels = _labels(self, plan)
        return [with_labels(code, labels) for code in option_of(plan)["freed"]]

    @extend_schema_field(MoveSerializer(many=True))
    def get_moves(self, plan: Plan) -> list[Document]:
        """Return what happens at every support, in the order a crew walks them."""
        labels = _labels(self, plan)
        return [_with_label(move, "point", labels) for move in option_of(plan)["moves"]]

    @extend_schema_field(LimitSerializer(many=True))
    def get_binding(self, plan: Plan) -> list[Document]:
        """Return what makes it dearer than it could be."""
        labels = _labels(self, plan)
        limits = label_sentences(option_of(plan)["binding"], labels)
        return [{**limit, "who": [with_labels(code, labels) for code in limit["who"]]} for limit in limits]

    def get_chance_within(self, plan: Plan) -> float | None:
        """Return the chance, null where the survey told no covariance."""
        chance: float | None = option_of(plan).get("chance_within")
        return chance

    @extend_schema_field(CheckSerializer(allow_null=True))
    def get_stacks(self, plan: Plan) -> Document | None:
        """Return what to build; null when no support with a known height is touched."""
        return _check(plan, "stacks", _labels(self, plan))

    @extend_schema_field(CheckSerializer(allow_null=True))
    def get_straps(self, plan: Plan) -> Document | None:
        """Return what the anchor straps need."""
        return _check(plan, "straps", _labels(self, plan))

    @extend_schema_field(CheckSerializer(allow_null=True))
    def get_strap_spacing(self, plan: Plan) -> Document | None:
        """Return the straps against the federal tables, before and after; null without straps or a wind zone."""
        return _check(plan, "strap_spacing", _labels(self, plan))

    @extend_schema_field(CheckSerializer(allow_null=True))
    def get_drains(self, plan: Plan) -> Document | None:
        """Return the slopes of the drains before and after; null where no run is recorded."""
        return _check(plan, "drains", _labels(self, plan))

    @extend_schema_field(CheckSerializer(allow_null=True))
    def get_frame(self, plan: Plan) -> Document | None:
        """Return what each support carries afterwards; null where no line was read whole."""
        return _check(plan, "frame", _labels(self, plan))

    @extend_schema_field(CheckSerializer(allow_null=True))
    def get_passes(self, plan: Plan) -> Document | None:
        """Return the order of jacking with the numbers to read; null where no line was read whole."""
        return _check(plan, "passes", _labels(self, plan))

    @extend_schema_field(CheckSerializer(allow_null=True))
    def get_supports(self, plan: Plan) -> Document | None:
        """Return every support against the rules; null until loads and stacks are there."""
        return _check(plan, "supports", _labels(self, plan))


def option_of(plan: Plan) -> Document:
    """Return the plan's option out of the result of its lift."""
    options = (plan.lift.result or {})["options"]
    return next(option for option in options if option["name"] == plan.option)


def _named(points: Iterable[str], labels: Labels) -> list[Document]:
    return [{"point": point, "label": labels.get(point, point)} for point in points]


def _with_label(entry: Mapping[str, Any], key: str, labels: Labels) -> Document:
    """Return an entry of a result with its ``code`` as the key it is, and the label beside it."""
    rest = {name: value for name, value in entry.items() if name != "code"}
    return {key: entry["code"], "label": labels.get(entry["code"], entry["code"]), **rest}


def _labelled(document: Any, key: str, labels: Labels) -> Any:
    """Return a result in which whatever goes by the key of something with a label has that beside it."""
    if isinstance(document, list):
        return [
            labels.get(item, item) if isinstance(item, str) else _labelled(item, key, labels) for item in document
        ]
    if not isinstance(document, dict):
        return document
    inner = {name: _labelled(item, key, labels) for name, item in document.items()}
    return _with_label(inner, key, labels) if document.get("code") in labels else inner


def _check(plan: Plan, kind: str, labels: Labels) -> Document | None:
    calculation = plan.checked_by(kind)
    if calculation is None:
        return None
    return {
        "calculation": calculation.pk,
        "state": calculation.state,
        "result": _labelled(label_sentences(calculation.result, labels), CHECKS[kind], labels),
        "error": label_sentences(calculation.error, labels),
    }
