"""The numbers of a home over the years, read in as many queries however many surveys there are."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar, cast
from uuid import UUID

from django.db.models import Q
from django.http import Http404
from django.utils.translation import gettext as _

from calcs import codec, series, snapshots
from calcs.engine.forecast import ForecastResult
from calcs.engine.movement import MovementResult
from calcs.home_record.compare import compare
from calcs.home_record.heights import OnOneScale, against, on_one_scale, since_first
from calcs.json_parts import Without
from calcs.models import Answer, Calculation
from calcs.series import Series, SurveyHeights
from jobs import rulebook
from jobs.layout_page import FRAME_SURFACES
from jobs.lengths import figure, length
from jobs.models import Company, Home, Point, Siting, User
from jobs.rulebook import Rules

_ELSE_IN_LEVELS = ("heights", "readings", "setups", "datum", "global_test")
_LARGE_IN_FLATNESS = ("pairs", "points", "plane", "sources", "cautions", "warnings")
MEASURED = 2  # surveys: fewer show no movement

T = TypeVar("T")
Answers = dict[tuple[UUID, str], dict[str, Any]]  # by survey and kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a reader chose: keys of a place and of surveys as text; empty for what is shown first."""

    place: str = ""
    survey: str = ""
    first: str = ""
    second: str = ""

    @classmethod
    def of(cls, query: Mapping[str, str]) -> "Asked":
        """Return what an address asks for."""
        return cls(**{name: query.get(name, "") for name in ("place", "survey", "first", "second")})


@dataclass(frozen=True, kw_only=True)
class HomeRecord:
    """The numbers of a home at one place over the years. Points go by their keys as text.

    What costs more than reading is made once somebody asks for it: ``answers`` are results as they are stored.
    """

    home: Home
    siting: Siting
    sitings: list[Siting]
    unit: str
    series: Series
    rules: Rules
    flatness: dict[UUID, dict[str, Any]]  # by survey: verdict, counts and range
    shown: SurveyHeights | None  # whose level map is shown
    first: SurveyHeights | None
    second: SurveyHeights | None
    answers: Answers

    @cached_property
    def difference(self) -> MovementResult | None:
        """What moved between the two surveys that are compared."""
        first, second = self.first, self.second
        if first is None or second is None or first is second:
            return None
        levels = self.answers[first.survey.pk, "levels"], self.answers[second.survey.pk, "levels"]
        return compare(self.series, first, second, levels, self.rules)

    @cached_property
    def forecast(self) -> ForecastResult | None:
        """What the newest survey says of the time to come; what was told before a lift says nothing of that after."""
        last = self.series.last
        if last is None or self.series.is_lifted_since_read:
            return None
        result = self.answers.get((last.survey.pk, "forecast"))
        return codec.decode(result, ForecastResult) if result else None

    @cached_property
    def measured(self) -> tuple[str, ...]:
        """The points of the home that were ever read, in walking order."""
        read = {code for survey in self.series.surveys for code in survey.heights_in}
        return tuple(code for code in self._walked if code in read and not self._is_mark(code))

    @cached_property
    def marks(self) -> tuple[str, ...]:
        """The outside marks that were ever read."""
        read = {code for survey in self.series.surveys for code in survey.heights_in}
        return tuple(code for code in self._walked if code in read and self._is_mark(code))

    @cached_property
    def _walked(self) -> list[str]:
        points = self.series.points
        return sorted(points, key=lambda code: (points[code].walk_order, points[code].label))

    def _is_mark(self, code: str) -> bool:
        return series.is_outside(self.series.points[code])

    @cached_property
    def frame(self) -> OnOneScale:
        """The home's points against their mean, design offsets taken off: of those that the forecast goes by."""
        points = self.series.points
        judged = {point.code for point in self.forecast.points} if self.forecast else set()
        on_frame = {code for code in self.measured if points[code].surface in FRAME_SURFACES}
        return self._scaled(judged or on_frame or set(self.measured), self.measured)

    @cached_property
    def outside(self) -> OnOneScale:
        """The outside marks against their own mean, each since it was first read."""
        scaled = self._scaled(set(self.marks), self.marks)
        return OnOneScale(heights=since_first(scaled.heights), datums=scaled.datums)

    @cached_property
    def above_marks(self) -> list[tuple[float, float] | None]:
        """How far the home's mean stands above the marks', survey by survey."""
        return against(self.frame, self.outside)

    def _scaled(self, datum: set[str], shown: Iterable[str]) -> OnOneScale:
        """Put the points of the datum on one scale, and the others that are shown onto it."""
        shown = set(shown)
        surveys = [self._read_in(each) for each in self.series.surveys]
        scaled = on_one_scale(surveys, datum)
        heights = tuple(
            {}
            if zero is None
            else {code: (height - zero[0], sd) for code, (height, sd) in survey.items() if code in shown}
            for survey, zero in zip(surveys, scaled.datums, strict=True)
        )
        return OnOneScale(heights=heights, datums=scaled.datums)

    def _read_in(self, survey: SurveyHeights) -> dict[str, tuple[float, float]]:
        """Return heights less their offsets; a survey that scattered more than stated counts as that noisy."""
        points, factor = self.series.points, max(1.0, survey.reference_sd or 1.0)
        return {
            code: (height_in - float(points[code].design_offset_in), survey.sds_in[code] * factor)
            for code, height_in in survey.heights_in.items()
            if code in points
        }

    # -- words -----------------------------------------------------------------------------------------------

    def name(self, code: str) -> str:
        """Return a point's label."""
        return self.series.points[code].label if code in self.series.points else code

    @property
    def labels(self) -> dict[str, str]:
        """Return labels by key."""
        return {code: point.label for code, point in self.series.points.items()}

    def point(self, code: str) -> Point:
        """Return a point."""
        return self.series.points[code]

    def figure(self, value_in: float, *, signed: bool = False, denominator: int = 16) -> str:
        """Write a length as a bare number in the reader's unit."""
        return figure(value_in, self.unit, signed=signed, denominator=denominator)

    def length(self, value_in: float, *, signed: bool = False, denominator: int = 16) -> str:
        """Write a length in the reader's unit."""
        return length(value_in, self.unit, signed=signed, denominator=denominator)


def read_home_record(pk: UUID, reader: User, asked: Asked, *, unit: str) -> HomeRecord:
    """Read the record of a home at one of its places; 404 where the reader sees none.

    Raises
    ------
    Http404
        Where the home, the place or a survey asked for is not there for this reader, or the home stands nowhere.
    """
    visible = Siting.objects.visible_to(reader).select_related("home__rule_set").order_by("-from_on")
    sitings = list(visible.filter(home=pk))
    if not sitings:
        raise Http404(_("This home stands nowhere yet."))
    siting = _asked_for(sitings, asked.place, sitings[0])
    found = series.of_many([siting])[siting.pk]
    first, second = _two(found, asked)
    return HomeRecord(
        home=siting.home,
        siting=siting,
        sitings=sitings,
        unit=unit,
        series=found,
        rules=_rules(siting),
        flatness=_flatness(siting),
        shown=_asked_for(found.surveys, asked.survey, found.last),
        first=first,
        second=second,
        answers=_answers(first, second, found.last),
    )


def _asked_for(rows: Sequence[Any], key: str, otherwise: T) -> T:
    """Return the row whose key was asked for; without a key the other one."""
    if not key:
        return otherwise
    for row in rows:
        if str(getattr(row, "survey", row).pk) == key:
            return cast(T, row)
    raise Http404


def _two(found: Series, asked: Asked) -> tuple[SurveyHeights | None, SurveyHeights | None]:
    """Return the surveys to compare, the earlier one first; none where there are no two.

    Unless others are asked for it is what movement is told by since the last lift, else the oldest with the newest.
    """
    if len(found.surveys) < MEASURED:
        return None, None
    told = snapshots.compared(found)
    two = [
        _asked_for(found.surveys, asked.first, told.first if told else found.surveys[0]),
        _asked_for(found.surveys, asked.second, told.second if told else found.surveys[-1]),
    ]
    first, second = sorted(two, key=lambda each: each.days)
    return first, second


def _rules(siting: Siting) -> Rules:
    """Return the rules of the home, else the company's; without either the rule book's."""
    company = Company.objects.select_related("rule_set").first()
    rule_set = siting.home.rule_set or (company.rule_set if company else None)
    return rule_set.resolved() if rule_set else rulebook.resolve({})


# -- what was computed -----------------------------------------------------------------------------------------


def _answers(first: SurveyHeights | None, second: SurveyHeights | None, last: SurveyHeights | None) -> Answers:
    """Read the results that are needed: covariances of the two that are compared, and the newest forecast."""
    compared = [each.survey for each in (first, second) if each]
    wanted = Q(survey__in=compared, kind="levels")
    if last:
        wanted |= Q(survey=last.survey, kind="forecast")
    rows = Answer.objects.filter(wanted, calculation__state=Calculation.State.DONE)
    told = rows.annotate(told=Without("calculation__result", *_ELSE_IN_LEVELS))
    return {(survey, kind): result for survey, kind, result in told.values_list("survey", "kind", "told")}


def _flatness(siting: Siting) -> dict[UUID, dict[str, Any]]:
    rows = Answer.objects.filter(
        survey__siting=siting, kind="flatness", calculation__state=Calculation.State.DONE
    ).annotate(told=Without("calculation__result", *_LARGE_IN_FLATNESS))
    return dict(rows.values_list("survey", "told"))
