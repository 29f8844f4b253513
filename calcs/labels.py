"""Names for people in the engine's sentences: the documents name points and the like by UUID."""

import re
from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext as _

from calcs.citations import cited
from calcs.spoken import spoken
from jobs.models import Connection, DrainRun, Point, Strap
from surveys.models import Reading, Setup, Survey

_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_SENTENCES = frozenset({"text", "message", "reason"})
_CITED = frozenset({"sources", "assumes"})

Labels = Mapping[str, str]


def labels_of(survey: Survey) -> dict[str, str]:
    """Return what people call everything that a calculation of this survey may name, by UUID; archived things too."""
    points = dict(Point.objects.filter(siting=survey.siting_id).values_list("pk", "label"))
    setups = dict(Setup.objects.filter(survey=survey).values_list("pk", "code"))
    labels = {str(key): label for key, label in (points | setups).items()}
    for model in (Connection, Strap, DrainRun):
        rows = model.objects.filter(siting=survey.siting_id).values_list("pk", "code")
        labels.update((str(key), code) for key, code in rows)
    for key, point, setup, number in Reading.objects.filter(survey=survey).values_list(
        "pk", "point_id", "setup_id", "round"
    ):
        # A point of another siting can't be read here, but a sentence must not fail over it.
        words = {"point": points.get(point, point), "setup": setups[setup], "round": number}
        labels[str(key)] = _("{point} from {setup}, round {round}").format(**words)
    return labels


def with_labels(text: str, labels: Labels) -> str:
    """Return a sentence with labels in place of UUIDs; an unknown one stays as it is."""
    return _UUID.sub(lambda found: labels.get(found[0], found[0]), text)


def label_sentences(document: Any, labels: Labels) -> Any:
    """Return a result or an error as readers have it: its sentences and sources in their language.

    In sentences (``text``, ``message``, ``reason``) labels stand for keys; elsewhere names stay UUIDs.
    """
    if isinstance(document, list):
        return [label_sentences(item, labels) for item in document]
    if not isinstance(document, dict):
        return document
    return {name: _told(name, item, labels) for name, item in document.items()}


def _told(name: str, item: Any, labels: Labels) -> Any:
    if name in _SENTENCES and isinstance(item, str):
        return with_labels(spoken(item), labels)
    if name == "source" and isinstance(item, str):
        return cited(item)
    return [cited(source) for source in item] if name in _CITED else label_sentences(item, labels)
