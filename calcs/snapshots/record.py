"""What a survey's documents are made from, as it is recorded; here the database's exact decimals become floats."""

import hashlib
import json
from collections.abc import Container
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any

import msgspec

from calcs import codec
from calcs.engine.standards.ties import SOIL_CLASSES
from calcs.engine.standards.ties import SoilClass as EngineSoil
from jobs import rulebook
from jobs.layout import SupportPlace
from jobs.models import (
    Company,
    Connection,
    DrainNode,
    Home,
    HomeKind,
    NeighbourPair,
    RuleSet,
    Strap,
    StrapCheck,
    Support,
    Surface,
)
from surveys.models import Reading, Setup, Survey

# What a beam lies on; heights of floors and jambs are read, but nothing is jacked there.
_CARRYING = (Surface.I_BEAM, Surface.GIRDER, Surface.RIM, Surface.MATE_LINE)


def canonical(document: object) -> tuple[dict[str, Any], str]:
    """Return a document as plain JSON values, and the SHA-256 of its one canonical spelling, in hex."""
    plain = codec.encode(document)
    return plain, _sha256(plain)


def sha256_of(document: object) -> str:
    """Return that SHA-256 alone: what a document is compared by needs no copy of it."""
    return _sha256(msgspec.to_builtins(document))


def _sha256(plain: object) -> str:
    spelling = json.dumps(plain, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(spelling.encode()).hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A beam, a girder, a rim or the mate line, with the supports that stand under it, along the home."""

    code: str
    surface: str
    y_ft: float
    from_ft: float
    to_ft: float
    supports: tuple[Support, ...]


class Record:
    """What a survey's documents are made from, each part read from the database when first needed."""

    def __init__(self, survey: Survey) -> None:
        self.survey = survey

    @cached_property
    def rule_set(self) -> RuleSet | None:
        """The home's own rule set, else the company's; without either the rule book as it is."""
        company = Company.objects.select_related("rule_set").first()
        return self.survey.siting.home.rule_set or (company.rule_set if company else None)

    @cached_property
    def rules(self) -> rulebook.Rules:
        return self.rule_set.resolved() if self.rule_set else rulebook.resolve({})

    @cached_property
    def readings(self) -> list[Reading]:
        return list(Reading.objects.standing().filter(survey=self.survey))

    @cached_property
    def setups(self) -> list[Setup]:
        return list(Setup.objects.filter(survey=self.survey))

    @cached_property
    def supports(self) -> list[Support]:
        rows = Support.objects.standing().filter(point__siting=self.survey.siting_id).select_related("point")
        return list(rows.order_by("point__walk_order", "point__label", "pk"))

    @cached_property
    def pairs(self) -> list[NeighbourPair]:
        return list(NeighbourPair.objects.filter(siting=self.survey.siting_id).order_by("pk"))

    @cached_property
    def connections(self) -> list[Connection]:
        return list(Connection.objects.standing().filter(siting=self.survey.siting_id).order_by("code", "pk"))

    @cached_property
    def straps(self) -> list[Strap]:
        rows = Strap.objects.standing().filter(siting=self.survey.siting_id).select_related("point")
        return list(rows.order_by("code", "pk"))

    @cached_property
    def drain_nodes(self) -> list[DrainNode]:
        rows = DrainNode.objects.filter(run__siting=self.survey.siting_id, run__archived_at__isnull=True)
        return list(rows.select_related("run").order_by("run__code", "run", "at_ft"))

    @cached_property
    def strap_checks(self) -> list[StrapCheck]:
        """The checks of the standing straps, newest first."""
        rows = StrapCheck.objects.filter(strap__in=self.straps)
        return list(rows.order_by("-noted_at", "-sequence", "-id"))

    @cached_property
    def home(self) -> Home:
        return self.survey.siting.home

    @cached_property
    def lines(self) -> list[Line]:
        """The lines that carry the home, from its left side; a support that is on none carries nothing here."""
        rows: dict[tuple[str, str], list[Support]] = {}
        for support in self.supports:
            if support.point.beam and support.point.surface in _CARRYING:
                rows.setdefault((support.point.surface, support.point.beam), []).append(support)
        letters = [beam for _, beam in rows]
        lines = [
            _line(beam if letters.count(beam) == 1 else f"{beam} {surface}", surface, supports, self.home)
            for (surface, beam), supports in rows.items()
        ]
        return sorted(lines, key=lambda line: (line.y_ft, line.code))


def _line(code: str, surface: str, supports: list[Support], home: Home) -> Line:
    along = sorted(supports, key=lambda support: (support.point.x_ft, str(support.point_id)))
    return Line(
        code=code,
        surface=surface,
        y_ft=sum(float(support.point.y_ft) for support in along) / len(along),
        from_ft=min(0.0, float(along[0].point.x_ft)),
        to_ft=max(float(home.length_ft), float(along[-1].point.x_ft)),
        supports=tuple(along),
    )


def read_supports(record: Record, heights: Container[str]) -> list[Support]:
    """Return the standing supports that there is a height of."""
    return [support for support in record.supports if str(support.point_id) in heights]


def read_pairs(record: Record, read: list[Support]) -> list[NeighbourPair]:
    """Return the pairs of which both points are among the supports that were read."""
    points = {support.point_id for support in read}
    return [pair for pair in record.pairs if pair.a_id in points and pair.b_id in points]


def place_of(support: Support) -> SupportPlace:
    """Return where a support stands."""
    point = support.point
    return SupportPlace(code=str(point.pk), beam=point.beam, x_ft=float(point.x_ft), y_ft=float(point.y_ft))


def as_float(value: Decimal | None) -> float | None:
    """Return a figure that may be missing."""
    return None if value is None else float(value)


def own_or(own: Decimal | None, otherwise: float) -> float:
    """Return a thing's own figure, or what holds where it has none."""
    return otherwise if own is None else float(own)


def soil_of(recorded: str) -> EngineSoil | None:
    """Return the federal rule's name of a recorded soil class; None where it is not known."""
    return next((known for known in SOIL_CLASSES if known == recorded), None)


def built_year(record: Record) -> int | None:
    """Return the year in which the home was made; None where nobody noted it."""
    return record.home.built_on.year if record.home.built_on else None


def has_federal_label(record: Record) -> bool | None:
    """Whether the home carries the federal label; None where nobody noted one, and it may have come off."""
    if record.home.kind != HomeKind.MANUFACTURED:
        return False
    return True if record.home.label_number else None
