"""What people read is there in Spanish too: every sentence of the code and the templates, with its blanks."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polib
import pytest
from django.conf import settings
from django.utils import translation
from django.utils.translation.template import templatize

from calcs import spoken
from calcs.models import Calculation
from jobs.models import Condition, Role, SupportKind, Surface, Visit
from surveys.models import Method, Reading, Survey, SyncEntry

APPS = ("jobs", "surveys", "calcs")
CREW_WORDS = (Condition, Role, SupportKind, Surface, Visit.Kind, Visit.State, Method, Reading.Shot, Survey.Stage)
ROOT = Path(settings.BASE_DIR)
SAYS = {
    "_",
    "gettext",
    "gettext_lazy",
    "gettext_noop",
    "ngettext",
    "ngettext_lazy",
    "pgettext",
    "pgettext_lazy",
    "npgettext",
}
BLANK = re.compile(r"\{\w*\}|%\(\w+\)[sd]|%[sd]|<[^>]+>")


def _catalogue(app: str) -> Any:
    return polib.pofile(str(ROOT / app / "locale/es/LC_MESSAGES/django.po"), wrapwidth=0)


def _said(path: Path) -> Iterator[str]:
    """The sentences that a file gives to translate."""
    source = path.read_text()
    if path.suffix in {".html", ".txt"}:
        # What the library makes of a template is calls, among text that is no Python.
        made = templatize(source)
        for begin in re.finditer(r"\b(?:gettext|ngettext|pgettext|npgettext)\(", made):
            yield from _calls(_whole_call(made[begin.start() :]))
    else:
        yield from _calls(source)


def _whole_call(text: str) -> str:
    """The call that a text begins with, up to the bracket that closes it: sentences have brackets too."""
    for end in re.finditer(r"\)", text):
        try:
            ast.parse(text[: end.end()])
        except SyntaxError:
            continue
        return text[: end.end()]
    raise AssertionError(f"no end: {text[:80]}")


def _calls(source: str) -> Iterator[str]:
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and node.args and isinstance(node.func, ast.Name) and node.func.id in SAYS:
            text = node.args[1 if node.func.id.startswith(("p", "np")) else 0]
            if isinstance(text, ast.Constant) and isinstance(text.value, str):
                yield text.value


@pytest.mark.parametrize("app", APPS)
def test_every_sentence_is_in_the_catalogue(app: str) -> None:
    files = [p for ending in ("*.py", "*.html", "*.txt") for p in (ROOT / app).rglob(ending)]
    said = {text for path in files for text in _said(path) if text}
    known = {entry.msgid for other in APPS for entry in _catalogue(other)}
    assert said
    assert said - known == set()


@pytest.mark.parametrize("app", APPS)
def test_every_sentence_has_a_spanish_one(app: str) -> None:
    catalog = _catalogue(app)
    assert [entry.msgid for entry in catalog.untranslated_entries() + catalog.fuzzy_entries()] == []


@pytest.mark.parametrize("app", APPS)
def test_a_translation_keeps_the_blanks(app: str) -> None:
    for entry in _catalogue(app):
        forms = entry.msgstr_plural.values() if entry.msgid_plural else [entry.msgstr]
        wanted = sorted(set(BLANK.findall(entry.msgid_plural or entry.msgid)))
        for form in forms:
            assert sorted(set(BLANK.findall(form))) == wanted, entry.msgid


@pytest.mark.parametrize("app", APPS)
def test_no_translation_is_cut_off(app: str) -> None:
    """A third of the English is short even for a short word; one letter is what a slip in the forms leaves."""
    for entry in _catalogue(app):
        for form in entry.msgstr_plural.values() if entry.msgid_plural else [entry.msgstr]:
            assert len(form) * 3 >= len(entry.msgid), entry.msgid


@pytest.mark.parametrize("app", APPS)
def test_what_runs_is_compiled_from_what_is_kept(app: str) -> None:
    kept = _catalogue(app)
    compiled = polib.mofile(str(ROOT / app / "locale/es/LC_MESSAGES/django.mo"))
    assert {(e.msgid, e.msgstr, tuple(e.msgstr_plural.values())) for e in compiled} == {
        (e.msgid, e.msgstr, tuple(e.msgstr_plural.values())) for e in kept
    }


@pytest.mark.parametrize("sentence", [*spoken.CAUTIONS, *spoken.WARNINGS])
def test_cautions_and_warnings_are_said_in_spanish(sentence: str) -> None:
    with translation.override("es"):
        assert translation.gettext(sentence) != sentence


@pytest.mark.parametrize("choices", [*CREW_WORDS, SyncEntry.State, Calculation.State], ids=lambda c: c.__qualname__)
def test_the_words_a_crew_chooses_from_are_in_spanish(choices: Any) -> None:
    known = {entry.msgid for app in APPS for entry in _catalogue(app).translated_entries()}
    with translation.override("en"):
        assert {str(choice.label) for choice in choices} <= known
