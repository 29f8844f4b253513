"""What the field page says is there in Spanish too: every sentence of its scripts, with its blanks, compiled."""

import json
import re
from collections.abc import Iterator
from typing import Any

import polib
from django.conf import settings
from django.test import Client

from surveys.field import FOLDER

CATALOGUE = FOLDER.parents[2] / "locale" / "es" / "LC_MESSAGES" / "djangojs.po"
SCRIPTS = sorted(path for path in FOLDER.rglob("*.js") if path.name != "words.js")  # which says what saying is
CALL = re.compile(r"\b(n?gettext)\(")
LITERAL = r'"(?:[^"\\]|\\.)*"'
ONE = re.compile(rf"\s*({LITERAL})\s*,?\s*\)")
ONE_AND_MANY = re.compile(rf"\s*({LITERAL})\s*,\s*({LITERAL})\s*,")
BLANK = re.compile(r"\{\w*\}")
COMMENT = re.compile(r"^\s*(//|\*|/\*).*$", re.MULTILINE)

Sentence = tuple[str, str]  # of one thing, and of many or nothing


def _said() -> Iterator[Sentence]:
    """The sentences that the scripts give to translate, as the tool that makes catalogues finds them."""
    for path in SCRIPTS:
        source = COMMENT.sub("", path.read_text())
        for call in CALL.finditer(source):
            yield _sentence_of(call.group(1), source[call.end() :], f"{path.name}: {source[call.start() :][:80]}")


def _sentence_of(name: str, after: str, where: str) -> Sentence:
    found = (ONE if name == "gettext" else ONE_AND_MANY).match(after)
    assert found, f"a sentence stands whole in the call, or no tool finds it: {where}"
    one, *many = (json.loads(text) for text in found.groups())
    return one, many[0] if many else ""


def _catalogue() -> Any:
    return polib.pofile(str(CATALOGUE), wrapwidth=0)


def test_every_sentence_has_a_spanish_one_and_none_is_left_over() -> None:
    said = set(_said())
    known = {(entry.msgid, entry.msgid_plural) for entry in _catalogue() if entry.translated()}
    assert said
    assert sorted(said - known) == []
    assert sorted(known - said) == []
    assert _catalogue().fuzzy_entries() == []


def test_a_translation_keeps_the_blanks_and_is_not_cut_off() -> None:
    for entry in _catalogue():
        pairs = [(entry.msgid, entry.msgstr)]
        if entry.msgid_plural:  # "an eighth" has no blank where many have one
            pairs = [(entry.msgid, entry.msgstr_plural[0]), (entry.msgid_plural, entry.msgstr_plural[1])]
        for english, spanish in pairs:
            assert set(BLANK.findall(spanish)) == set(BLANK.findall(english)), english
            assert len(spanish) * 3 >= len(english), english


def test_what_a_phone_is_given_is_what_is_kept(client: Client) -> None:
    told = client.get("/field/words/es.json").json()
    kept = {
        entry.msgid: [*entry.msgstr_plural.values()] if entry.msgid_plural else entry.msgstr for entry in _catalogue()
    }
    assert told == kept


def test_the_page_speaks_what_the_service_does() -> None:
    listed = re.search(r"LANGUAGES = \{(.*?)\}", (FOLDER / "words.js").read_text())
    assert listed
    assert re.findall(r'(\w+): "([^"]+)"', listed.group(1)) == [(code, name) for code, name in settings.LANGUAGES]
