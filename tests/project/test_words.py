"""The Spanish catalogues: what runs is what is kept, blanks stay blanks, and what keeps people safe is all there."""

import re
from pathlib import Path
from typing import Any

import polib
import pytest
from django.conf import settings
from django.utils import translation

from calcs import spoken
from calcs.models import Calculation
from jobs.models import Condition, Role, SupportKind, Surface, Visit
from surveys.models import Method, Reading, Survey, SyncEntry

APPS = ("jobs", "surveys", "calcs")
BLANK = re.compile(r"\{\w*\}|%\(\w+\)[sd]|<[^>]+>")
CREW_WORDS = (Condition, Role, SupportKind, Surface, Visit.Kind, Visit.State, Method, Reading.Shot, Survey.Stage)


def _catalogue(app: str, ending: str) -> Any:
    path = str(Path(settings.BASE_DIR, app, "locale/es/LC_MESSAGES", f"django.{ending}"))
    return polib.pofile(path) if ending == "po" else polib.mofile(path)


def _entries(catalogue: Any) -> set[tuple[str, str, tuple[str, ...]]]:
    return {(e.msgid, e.msgstr, tuple(e.msgstr_plural.values())) for e in catalogue.translated_entries()}


@pytest.mark.parametrize("app", APPS)
def test_what_runs_is_compiled_from_what_is_kept(app: str) -> None:
    kept = _entries(_catalogue(app, "po"))
    assert kept
    assert _entries(_catalogue(app, "mo")) == kept


@pytest.mark.parametrize("app", APPS)
def test_a_translation_keeps_the_blanks(app: str) -> None:
    for entry in _catalogue(app, "po").translated_entries():
        wanted = set(BLANK.findall(entry.msgid_plural or entry.msgid))
        for form in entry.msgstr_plural.values() if entry.msgid_plural else [entry.msgstr]:
            assert set(BLANK.findall(form)) == wanted, entry.msgid


@pytest.mark.parametrize("sentence", [*spoken.CAUTIONS, *spoken.WARNINGS])
def test_cautions_and_warnings_are_said_in_spanish(sentence: str) -> None:
    with translation.override("es"):
        assert translation.gettext(sentence) != sentence


@pytest.mark.parametrize("choices", [*CREW_WORDS, SyncEntry.State, Calculation.State], ids=lambda c: c.__qualname__)
def test_the_words_a_crew_chooses_from_are_in_spanish(choices: Any) -> None:
    known = {entry.msgid for app in APPS for entry in _catalogue(app, "po").translated_entries()}
    with translation.override("en"):
        assert {str(choice.label) for choice in choices} <= known
