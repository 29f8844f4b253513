"""Labels for people in sentences that name things by key."""

import uuid
from typing import Any

import pytest
from django.utils import translation

from calcs.labels import label_sentences, labels_of, with_labels
from jobs.models import Connection, Point, Strap
from surveys.models import Reading, Setup
from tests.calcs.working import read_survey

A1, B2, UNKNOWN = (str(uuid.UUID(int=number)) for number in (1, 2, 3))
LABELS = {A1: "A1", B2: "B2"}


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (f"The point '{A1}' is not joined to '{B2}'.", "The point 'A1' is not joined to 'B2'."),
        (f"{A1}-{B2}: over by 1/8 in", "A1-B2: over by 1/8 in"),
        (f"{UNKNOWN} is new", f"{UNKNOWN} is new"),
        ("One step more.", "One step more."),
    ],
)
def test_with_labels_replaces_known_keys_only(text: str, shown: str) -> None:
    assert with_labels(text, LABELS) == shown


def test_label_sentences_changes_sentences_and_leaves_names_and_numbers() -> None:
    document: Any = {
        "options": [{"who": [A1], "code": B2, "text": f"{A1} binds", "saves_min": 3.0, "none": None}],
        "message": f"no {B2}",
    }
    assert label_sentences(document, LABELS) == {
        "options": [{"who": [A1], "code": B2, "text": "A1 binds", "saves_min": 3.0, "none": None}],
        "message": "no B2",
    }
    assert label_sentences(None, LABELS) is None


def test_where_figures_come_from_and_what_tables_assume_is_said_in_the_readers_language() -> None:
    known, unknown = "common practice, no source", "somebody's own"
    document = {"sources": [known, unknown], "assumes": [known], "checks": [{"source": known, "what": known}]}
    with translation.override("es"):
        told = label_sentences(document, LABELS)
    practice = "práctica común, sin fuente"
    assert told == {
        "sources": [practice, unknown],
        "assumes": [practice],
        "checks": [{"source": practice, "what": known}],
    }


@pytest.mark.django_db
def test_labels_of_names_all_that_a_calculation_may_name() -> None:
    survey = read_survey()
    other = read_survey()
    labels = labels_of(survey)
    archived = Point.objects.get(siting=survey.siting, label="A1")
    Point.objects.filter(pk=archived.pk).archive()  # type: ignore[attr-defined]
    assert labels_of(survey) == labels
    assert labels[str(archived.pk)] == "A1"
    assert labels[str(Setup.objects.get(survey=survey, code="S1").pk)] == "S1"
    assert labels[str(Connection.objects.get(siting=survey.siting).pk)] == "DR1"
    assert labels[str(Strap.objects.get(siting=survey.siting, code="T2").pk)] == "T2"
    reading = Reading.objects.get(survey=survey, point=archived, round=2)
    assert labels[str(reading.pk)] == "A1 from S2, round 2"
    assert not set(labels) & set(labels_of(other))
