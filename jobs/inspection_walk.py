"""Everything under a home in the order of a walk, with what is recorded of it and what was found at a visit.

Read in a fixed number of queries.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

from django.db.models import Count, Model, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.history.words import field_word, value_words
from jobs.inspection import ITEMS
from jobs.inspection_figures import OF_CONNECTION, differs, told_figures
from jobs.inspection_findings import is_worse
from jobs.models import Condition, Connection, DrainRun, Finding, Hazard, Photo, Strap, StrapCheck, Support, Visit
from jobs.part_words import courses_words

Kind = Literal["support", "strap", "connection", "drain_run", "item"]
Seen = Finding | StrapCheck

_SUPPORT_FACTS = (
    *("height_in", "gap_in", "footing", "footing_length_in", "footing_width_in", "footing_thickness_in"),
    *("has_sunk", "offset_in", "clearance_in", "note"),
)
_STRAP_FACTS = ("point", "anchor_kind", "run_in", "rise_in", "slack_in", "tension_lb", "wraps", "has_vertical_tie")
SUBJECTS = ("point_id", "connection_id", "strap_id", "drain_run_id", "item")
NEWEST = ("-noted_at", "-sequence", "-pk")  # first


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """Figures that somebody measured and that the record does not say yet."""

    finding: Finding
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One thing to look at: what is recorded of it, what was found at this visit (newest first), and before it."""

    kind: Kind
    key: str
    title: str
    facts: str
    look: str = ""
    source: str = ""
    version: int | None = None
    found: tuple[Seen, ...] = ()
    before: Seen | None = None
    suggestion: Suggestion | None = None
    condition: str = ""  # of a support, in words, where it is not OK
    stays: bool = False  # at a condition that is worse than what was found last

    @property
    def anchor(self) -> str:
        """The place on the page."""
        return anchor_of(self.kind, self.key)


@dataclass(frozen=True, kw_only=True)
class Part:
    """Places of one sort, under a heading."""

    code: str
    heading: str
    places: tuple[Place, ...]


@dataclass(frozen=True, kw_only=True)
class Walk:
    """All of it."""

    parts: tuple[Part, ...]
    photos: dict[Any, list[Photo]]  # by finding
    hazards: tuple[Hazard, ...]

    @cached_property
    def places(self) -> tuple[Place, ...]:
        """Every thing to look at, in order."""
        return tuple(place for part in self.parts for place in part.places)

    @property
    def count(self) -> int:
        """How many there are to look at."""
        return len(self.places)

    @cached_property
    def looked_at(self) -> int:
        """How many were looked at."""
        return sum(bool(place.found) for place in self.places)

    @cached_property
    def next(self) -> Place | None:
        """The first that nobody has looked at yet."""
        return next((place for place in self.places if not place.found), None)

    @cached_property
    def suggested(self) -> tuple[Place, ...]:
        """Those with measured figures that wait for a lead."""
        return tuple(place for place in self.places if place.suggestion)


def anchor_of(kind: str, key: object) -> str:
    """Return what a place is called on the page."""
    return f"{kind}-{key}"


def walk_of(visit: Visit, *, unit: str) -> Walk:
    """Read a visit's walk; the visit comes with its siting and home."""
    siting = visit.siting
    seen = _Seen(visit)
    hung: dict[Any, list[Strap]] = defaultdict(list)
    for strap in Strap.objects.standing().filter(siting=siting).select_related("point").order_by("code"):
        hung[strap.point_id].append(strap)
    supports = Support.objects.standing().filter(point__siting=siting).select_related("point")
    below: list[Place] = []
    for support in supports.order_by("point__walk_order", "point__label"):
        below.append(_support(support, seen, unit))
        below += [_strap(strap, seen, unit) for strap in hung.pop(support.point_id, ())]
    below += [_strap(strap, seen, unit) for straps in hung.values() for strap in straps]
    connections = Connection.objects.standing().filter(siting=siting).order_by("code")
    runs = DrainRun.objects.standing().filter(siting=siting).annotate(places=Count("nodes")).order_by("code")
    parts = (
        Part(code="supports", heading=_("Supports and straps"), places=tuple(below)),
        Part(
            code="connections",
            heading=_("Connections"),
            places=tuple(_connection(row, seen, unit) for row in connections),
        ),
        Part(code="drains", heading=_("Drain runs"), places=tuple(_drain_run(row, seen, unit) for row in runs)),
        Part(code="home", heading=_("The home as a whole"), places=tuple(_items(seen))),
    )
    hazards = Hazard.objects.open().filter(home=siting.home_id).order_by("-noted_at")
    return Walk(parts=parts, photos=_photos(visit), hazards=tuple(hazards))


class _Seen:
    """What was found at a visit and before it, by what it is about."""

    def __init__(self, visit: Visit) -> None:
        rows = Finding.objects.standing().filter(siting=visit.siting).select_related("author")
        checks = StrapCheck.objects.filter(strap__siting=visit.siting).select_related("author")
        self.found: dict[tuple[str, Any], list[Seen]] = defaultdict(list)
        for row in _newest_first(rows.filter(visit=visit)):
            self.found[subject_of(row)].append(row)
        for check in _newest_first(checks.filter(visit=visit)):
            self.found["strap", check.strap_id].append(check)
        self.before: dict[tuple[str, Any], Seen] = {}
        for row in rows.exclude(visit=visit).order_by(*SUBJECTS, *NEWEST).distinct(*SUBJECTS):
            self.before[subject_of(row)] = row
        for check in checks.exclude(visit=visit).order_by("strap_id", *NEWEST).distinct("strap_id"):
            self.before["strap", check.strap_id] = check
        self.measured: dict[tuple[str, Any], Finding] = {}
        told = rows.exclude(figures={}).order_by("point_id", "connection_id", *NEWEST)
        for row in told.distinct("point_id", "connection_id"):
            self.measured[subject_of(row)] = row

    def suggestion(self, row: Support | Connection, subject: tuple[str, Any], unit: str) -> Suggestion | None:
        """Return what was measured last of something, where the record says something else."""
        finding = self.measured.get(subject)
        if finding is None or not differs(row, finding.figures):
            return None
        return Suggestion(finding=finding, words=told_figures(type(row), finding.figures, unit))


def _newest_first(rows: "QuerySet[Any]") -> "QuerySet[Any]":
    return rows.order_by(*NEWEST)


def subject_of(finding: Finding) -> tuple[str, Any]:
    """Return the kind and key of what a finding is about."""
    for kind, key in (
        ("support", finding.point_id),
        ("connection", finding.connection_id),
        ("strap", finding.strap_id),
        ("drain_run", finding.drain_run_id),
    ):
        if key:
            return kind, key
    return "item", finding.item


def _photos(visit: Visit) -> dict[Any, list[Photo]]:
    found: dict[Any, list[Photo]] = defaultdict(list)
    for photo in Photo.objects.standing().filter(finding__visit=visit).order_by("pk"):
        found[photo.finding_id].append(photo)
    return dict(found)


# -- one place each ------------------------------------------------------------------------------------------


def _place(kind: Kind, key: Any, seen: _Seen, **words: Any) -> Place:
    subject = (kind, key)
    return Place(
        kind=kind,
        key=str(key),
        found=tuple(seen.found.get(subject, ())),
        before=seen.before.get(subject),
        **words,
    )


def _support(support: Support, seen: _Seen, unit: str) -> Place:
    is_broken = support.condition in (Condition.FIX, Condition.STOP)
    built = [str(support.get_kind_display()), str(support.get_tier_display()), courses_words(support.stack or ())]
    facts = [*filter(None, built), *_facts(support, _SUPPORT_FACTS, unit)]
    place = _place(
        "support",
        support.point_id,
        seen,
        title=support.point.label,
        facts="; ".join(facts),
        version=support.version,
        suggestion=seen.suggestion(support, ("support", support.point_id), unit),
        condition=str(support.get_condition_display()) if is_broken else "",
    )
    last = place.found[0] if place.found else None
    return replace(place, stays=last is not None and is_worse(support.condition, last.grade))


def _strap(strap: Strap, seen: _Seen, unit: str) -> Place:
    facts = [_("at {point}").format(point=strap.point.label), *_facts(strap, _STRAP_FACTS[1:], unit)]
    title = _("strap {code} and its anchor").format(code=strap.code)
    return _place("strap", strap.pk, seen, title=title, facts="; ".join(facts))


def _connection(row: Connection, seen: _Seen, unit: str) -> Place:
    if row.measured == Connection.Measured.NOT:
        travel = [_("travel not measured: counts as none")]
    else:
        travel = _facts(row, OF_CONNECTION, unit)
    return _place(
        "connection",
        row.pk,
        seen,
        title=str(row),
        facts="; ".join([*travel, *_facts(row, ("trade", "free_min", "note"), unit)]),
        version=row.version,
        suggestion=seen.suggestion(row, ("connection", row.pk), unit),
    )


def _drain_run(row: Any, seen: _Seen, unit: str) -> Place:
    measured = ngettext("{count} place measured", "{count} places measured", row.places).format(count=row.places)
    facts = [*_facts(row, ("diameter_in", "has_cleanout"), unit), measured, *_facts(row, ("note",), unit)]
    return _place("drain_run", row.pk, seen, title=str(row), facts="; ".join(facts))


def _items(seen: _Seen) -> Iterable[Place]:
    for item in ITEMS.values():
        words = {"title": _(item.words), "look": _(item.look), "source": _(item.source)}
        yield _place("item", item.code, seen, facts="", **words)


def _facts(row: Model, names: Sequence[str], unit: str) -> list[str]:
    """Say what is recorded; what is empty or no is left out."""
    told = []
    for name in names:
        value, word = getattr(row, name), field_word(type(row), name)
        if value is None or value is False or value in ("", []):
            continue
        if value is True:
            told.append(word)
        else:
            told.append(f"{word} {value_words(row._meta.get_field(name), value, {}, unit)}")
    return told
