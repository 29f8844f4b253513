"""How each home in a phone's day was left last: the heights, and the pair that was furthest apart."""

from typing import Any
from uuid import UUID

from django.db.models.fields.json import KeyTransform

from calcs.api.day.record import Document
from calcs.models import Answer
from jobs.models import Siting
from surveys.models import Survey


def left_of(sitings: list[Siting]) -> dict[UUID, Document]:
    """Return what was read as left last at each siting; nothing where no home was ever left so."""
    finished = Survey.objects.filter(siting__in=sitings, stage=Survey.Stage.AS_LEFT, state=Survey.State.SUBMITTED)
    newest = list(finished.order_by("siting", "-started_at", "-pk").distinct("siting"))
    answers = Answer.objects.filter(survey__in=newest, kind__in=["levels", "flatness"]).annotate(
        heights=KeyTransform("heights", "calculation__result"), pairs=KeyTransform("pairs", "calculation__result")
    )
    rows = answers.values("survey_id", "kind", "heights", "pairs")
    known: dict[tuple[UUID, str], Any] = {(row["survey_id"], row["kind"]): row for row in rows}
    return {
        survey.siting_id: {
            "survey": str(survey.pk),
            "submitted_at": survey.submitted_at.isoformat() if survey.submitted_at else None,
            "heights": known.get((survey.pk, "levels"), {}).get("heights"),
            "worst": _worst(known.get((survey.pk, "flatness"), {}).get("pairs") or []),
        }
        for survey in newest
    }


def _worst(pairs: list[Any]) -> Document | None:
    """Return the pair that stands furthest apart."""
    worst = max(pairs, key=lambda pair: abs(pair["difference_in"]), default=None)
    if worst is None:
        return None
    return {"a": worst["a"], "b": worst["b"], "by_in": abs(worst["difference_in"]), "verdict": worst["verdict"]}
