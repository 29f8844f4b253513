"""Blanks in the words of mail: ``{day}`` stands for the day of the visit. Pure: no table is asked."""

import re
from collections.abc import Iterator, Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

MOST_SUBJECT = 200
MOST_BODY = 4000

_ALWAYS: Mapping[str, Promise] = {
    "customer": gettext_lazy("the customer's name"),
    "address": gettext_lazy("where the home stands"),
    "home": gettext_lazy("your number for the home"),
    "company": gettext_lazy("the company's name"),
    "letterhead": gettext_lazy("your letterhead, or your name where there is none"),
}
_OF_VISIT: Mapping[str, Promise] = {
    **_ALWAYS,
    "visit": gettext_lazy("what the visit is for"),
    "day": gettext_lazy("the day of the visit"),
    "from": gettext_lazy("when it begins"),
    "until": gettext_lazy("when it ends, and on which day where that is another one"),
}
_OF_DUE: Mapping[str, Promise] = {
    **_ALWAYS,
    "due_from": gettext_lazy("from which day on a visit is due"),
    "due_until": gettext_lazy("until which day"),
}
BLANKS: Mapping[str, Mapping[str, Promise]] = {
    "booked": _OF_VISIT,
    "changed": _OF_VISIT,
    "cancelled": _OF_VISIT,
    "due": _OF_DUE,
}
# Without these nobody would know when to be at home, or what was called off.
NEEDED: Mapping[str, tuple[str, ...]] = {"booked": ("day", "from"), "changed": ("day", "from"), "cancelled": ("day",)}

_BLANK = re.compile(r"\{(\w+)\}")
_BLANK_AND_STOP = re.compile(r"\{(\w+)\}(\.?)")
_CONTROL = re.compile(r"[\x00-\x1f\x7f]")


def fill(text: str, values: Mapping[str, str]) -> str:
    """Return a text with its blanks filled; what is no blank stays as it is, and nothing filled in is read again.

    What ends with a full stop itself, such as 11 a.m., has no second one after it.
    """

    def filled(found: re.Match[str]) -> str:
        value = values.get(found[1], f"{{{found[1]}}}")
        return value if value.endswith(".") else value + found[2]

    return _BLANK_AND_STOP.sub(filled, text)


def one_line(text: str, most: int | None = None) -> str:
    """Return a text on one line, cut to ``most`` characters: what people typed begins no header of its own."""
    line = " ".join(_CONTROL.sub(" ", text).split())
    return line if most is None or len(line) <= most else f"{line[: most - 1]}…"


def problems(kind: str, *, subject: str, body: str) -> dict[str, str]:
    """Return by field what is wrong with the words of a message."""
    found = {"subject": _first(_of_subject(kind, subject)), "body": _first(_of_body(kind, subject, body))}
    return {name: sentence for name, sentence in found.items() if sentence}


def _first(sentences: Iterator[str]) -> str:
    return next(sentences, "")


def _of_subject(kind: str, subject: str) -> Iterator[str]:
    if not subject.strip():
        yield _("Give a subject.")
    if _CONTROL.search(subject):
        yield _("A subject is one line.")
    if "{letterhead}" in subject:
        yield _("The letterhead has several lines: it belongs below, not in the subject.")
    yield from _too_long(subject, MOST_SUBJECT)
    yield from _of_blanks(kind, subject)


def _of_body(kind: str, subject: str, body: str) -> Iterator[str]:
    if not body.strip():
        yield _("Say something.")
    yield from _too_long(body, MOST_BODY)
    yield from _of_blanks(kind, body)
    there = {*_BLANK.findall(subject), *_BLANK.findall(body)}
    if missing := [f"{{{name}}}" for name in NEEDED.get(kind, ()) if name not in there]:
        yield _("The customer has to know when: put in {blanks}.").format(blanks=", ".join(missing))


def _too_long(text: str, most: int) -> Iterator[str]:
    if len(text) > most:
        yield _("Give at most {most} characters.").format(most=most)


def _of_blanks(kind: str, text: str) -> Iterator[str]:
    known = BLANKS[kind]
    for name in _BLANK.findall(text):
        if name not in known:
            told = ", ".join(f"{{{one}}}" for one in known)
            yield _("{{{name}}} is no blank here. There are: {known}.").format(name=name, known=told)
    if set(_BLANK.sub("", text)) & set("{}"):
        yield _("A brace belongs to a blank, such as {{day}}: this one stands alone.").format()
