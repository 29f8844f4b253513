"""What is sent when something under a home was looked at: read box by box, shown again where it is refused."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db import models
from django.http import Http404, QueryDict
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.csv_files.values import NotAllowed, column_of
from jobs.errors import DomainError
from jobs.history.words import field_word
from jobs.inspection import ITEMS
from jobs.inspection_figures import OF_CONNECTION, OF_SUPPORT
from jobs.models import Condition, Connection, DrainRun, Finding, Point, Strap, StrapCheck, Support, User, Visit

OF_STRAP = ("slack_in", "method", "tension_lb", "frequency_hz", "mode", "free_length_in")
_WORDS = {
    "frequency_hz": gettext_lazy("pitch when plucked"),
    "mode": gettext_lazy("half waves of that pitch; 1 where empty"),
    "free_length_in": gettext_lazy("length that swings"),
    "has_sunk": gettext_lazy("has sunk since it was set"),
    "method": gettext_lazy("how the tension was told"),
}
KINDS: dict[str, tuple[type[models.Model] | None, tuple[str, ...]]] = {
    "support": (Support, OF_SUPPORT),
    "strap": (StrapCheck, OF_STRAP),
    "connection": (Connection, OF_CONNECTION),
    "drain_run": (None, ()),
    "item": (None, ()),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """One box for a figure: typed, or chosen where there are choices. Empty says nothing new."""

    name: str
    word: str
    choices: tuple[tuple[str, str], ...]
    hint: str
    typed: str = ""
    error: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """What was sent about one thing and not taken: the words above it, and the sentences at its boxes."""

    kind: str
    key: str
    typed: Mapping[str, str]
    message: str
    fields: Mapping[str, str] = field(default_factory=dict)


def boxes_of(kind: str, refused: Refused | None = None) -> tuple[Box, ...]:
    """Return the boxes for what can be measured of a kind of thing."""
    model, names = KINDS[kind]
    return tuple(_box(model, name, refused) for name in names) if model else ()


def _box(model: type[models.Model], name: str, refused: Refused | None) -> Box:
    found: Any = model._meta.get_field(name)
    choices = tuple((str(value), str(label)) for value, label in found.choices or ())
    if isinstance(found, models.BooleanField):
        choices = (("yes", _("yes")), ("no", _("no")))
    return Box(
        name=name,
        word=str(_WORDS.get(name) or field_word(model, name)) + _unit_of(name),
        choices=choices,
        hint=_("parts with spaces between, such as shims plate_2x cap block block") if name == "stack" else "",
        typed=refused.typed.get(name, "") if refused else "",
        error=refused.fields.get(name, "") if refused else "",
    )


def _unit_of(name: str) -> str:
    ends = {"_in": ", in", "_lb": ", lb", "_hz": ", Hz"}
    return next((unit for end, unit in ends.items() if name.endswith(end)), "")


def subject_in(sent: QueryDict, visit: Visit) -> dict[str, Any]:
    """Return what was looked at, as the fields of a row; it lies under the visit's home, else it is not there."""
    kind, key = sent.get("kind", ""), sent.get("key", "")
    if kind == "item":
        if key not in ITEMS:
            raise Http404
        return {"item": key}
    known: dict[str, tuple[str, type[Point | Strap | Connection | DrainRun]]] = {
        "support": ("point", Point),
        "strap": ("strap", Strap),
        "connection": ("connection", Connection),
        "drain_run": ("drain_run", DrainRun),
    }
    if kind not in known:
        raise Http404
    name, model = known[kind]
    return {name: get_object_or_404(model.objects.standing().filter(siting=visit.siting_id), pk=key_of(key))}


def key_of(text: str) -> UUID:
    """Read a key out of an address or a form; what is none is not there."""
    try:
        return UUID(text)
    except ValueError:
        raise Http404 from None


def figures_in(sent: QueryDict) -> dict[str, str]:
    """Return the figures that were filled in, as typed."""
    _model, names = KINDS[sent.get("kind", "")]
    return {name: typed for name in names if (typed := sent.get(name, "").strip())}


def grade_in(sent: QueryDict) -> str:
    """Return the grade that was pressed, with the words that it needs.

    Raises
    ------
    DomainError
        At ``text``, where what is not OK comes without words.
    """
    grade = sent.get("grade", "")
    if grade not in Condition.values:
        raise DomainError("invalid", _("Press one of OK, note, fix and stop."))
    if grade != Condition.OK and not sent.get("text", "").strip():
        sentence = _("Say what was found, unless it is OK.")
        raise DomainError("invalid", _("Some fields need another look."), fields={"text": sentence})
    return grade


def finding_in(sent: QueryDict, visit: Visit, author: User) -> Finding:
    """Return the finding that was sent, not stored yet."""
    return Finding(
        pk=key_of(sent.get("id", "")),
        siting=visit.siting,
        visit=visit,
        grade=grade_in(sent),
        text=_words_in(sent, 2000),
        figures=figures_in(sent),
        author=author,
        noted_at=timezone.now(),
        **subject_in(sent, visit),
    )


def strap_check_in(sent: QueryDict, visit: Visit, author: User) -> StrapCheck:
    """Return the check of a strap that was sent, not stored yet.

    Somebody who only looks says nothing new of slack and tension: the check takes over what the strap is taken to be.
    """
    strap: Strap = subject_in(sent, visit)["strap"]
    values = _read(figures_in(sent))
    is_look = values.setdefault("method", StrapCheck.Method.LOOK) == StrapCheck.Method.LOOK
    if is_look and not values.keys() & {"slack_in", "tension_lb"}:
        values |= {"slack_in": strap.slack_in, "tension_lb": strap.tension_lb}
    return StrapCheck(
        pk=key_of(sent.get("id", "")),
        strap=strap,
        visit=visit,
        grade=grade_in(sent),
        text=_words_in(sent, 200),
        author=author,
        noted_at=timezone.now(),
        **values,
    )


def _read(figures: Mapping[str, str]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for name, typed in figures.items():
        try:
            values[name] = column_of(StrapCheck, name).read(typed)
        except NotAllowed as refused:
            wrong[name] = str(refused)
    if wrong:
        raise DomainError("invalid", _("Some fields need another look."), fields=wrong)
    return values


def _words_in(sent: QueryDict, most: int) -> str:
    text = sent.get("text", "").replace("\x00", "").replace("\r\n", "\n").strip()
    if len(text) > most:
        sentence = _("Give at most {count} characters, not {given}.").format(count=most, given=len(text))
        raise DomainError("invalid", sentence, fields={"text": sentence})
    return text
