"""Everything that the survey page reads from the database, in a fixed number of queries."""

from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar
from uuid import UUID

from calcs import codec
from calcs.engine.flatness import FlatnessInput, FlatnessResult
from calcs.engine.forecast import ForecastResult
from calcs.engine.joined import JoinedResult, joined_levels
from calcs.engine.levels import LevelsInput, LevelsResult
from calcs.engine.lift import LiftInput, LiftOption, LiftResult
from calcs.engine.lift_curve import LiftCurveResult
from calcs.engine.movement import MovementResult
from calcs.labels import with_labels
from calcs.models import Answer, Calculation, Plan, PlanCheck
from calcs.questions import LIFTS
from calcs.spoken import spoken
from calcs.unread import unread_points
from jobs.lengths import figure, length
from jobs.models import Connection, DrainRun, Point, Strap, Support
from surveys.models import Reading, Setup, Survey

T = TypeVar("T")


@dataclass(kw_only=True)
class Record:
    """A survey with what was read, what is under the home, and what was computed. Keys are UUIDs as text."""

    survey: Survey
    unit: str
    points: dict[str, Point]
    supports: dict[str, Support]  # by point
    connections: dict[str, Connection]
    straps: dict[str, Strap]
    drain_runs: dict[str, DrainRun]
    setups: dict[str, Setup]
    readings: dict[str, Reading]
    answers: dict[str, Answer]
    plans: list[Plan]
    unread: list[Point]

    # -- results ---------------------------------------------------------------------------------------------

    def calculation(self, kind: str) -> Calculation | None:
        """Return the calculation that stands for a kind, whatever its state."""
        answer = self.answers.get(kind)
        return answer.calculation if answer else None

    @cached_property
    def levels(self) -> LevelsResult | None:
        """The heights, once they are computed: joined to those of the whole home in a survey during the work."""
        own = self._result("levels", LevelsResult)
        return joined_levels(own, self.joined) if own and self.joined else own

    @cached_property
    def joined(self) -> JoinedResult | None:
        """What a bay read during the work was joined to; None for every other survey."""
        return self._result("joined", JoinedResult)

    @cached_property
    def flatness(self) -> FlatnessResult | None:
        """How level the home is, once that is computed."""
        return self._result("flatness", FlatnessResult)

    @cached_property
    def lift(self) -> LiftResult | None:
        """The lift options, once they are computed."""
        return self._result("lift", LiftResult)

    @cached_property
    def sure(self) -> LiftResult | None:
        """The option that was asked to be sure of its tolerances, once it is computed; None where nobody asked."""
        return self._result("sure", LiftResult)

    @cached_property
    def lift_curve(self) -> LiftCurveResult | None:
        """What a flatter home would take, once that is computed."""
        return self._result("lift_curve", LiftCurveResult)

    @cached_property
    def movement(self) -> MovementResult | None:
        """What moved since the home was left, once that is computed; None where nothing was read before."""
        return self._result("movement", MovementResult)

    @cached_property
    def forecast(self) -> ForecastResult | None:
        """When the home is due as of the survey, once that is computed; None where nothing was read before."""
        return self._result("forecast", ForecastResult)

    @cached_property
    def levels_input(self) -> LevelsInput | None:
        """What the heights were computed from."""
        return self._input("levels", LevelsInput)

    @cached_property
    def flatness_input(self) -> FlatnessInput | None:
        """What the verdicts were computed from."""
        return self._input("flatness", FlatnessInput)

    @cached_property
    def lift_input(self) -> LiftInput | None:
        """What the lift was computed from."""
        return self._input("lift", LiftInput)

    def _result(self, kind: str, result_type: type[T]) -> T | None:
        return result_of(self.calculation(kind), result_type)

    def _input(self, kind: str, input_type: type[T]) -> T | None:
        calculation = self.calculation(kind)
        return codec.decode(calculation.input, input_type) if calculation else None

    @cached_property
    def planned(self) -> dict[str, tuple[Plan, LiftOption]]:
        """The stored plan and the computed option, by name: the lift's in the order asked for, then the sure one."""
        plans = {plan.option: plan for plan in self.plans}
        options = (option for lift in (self.lift, self.sure) if lift for option in lift.options)
        return {option.name: (plans[option.name], option) for option in options if option.name in plans}

    def checks_of(self, plan: Plan | None) -> dict[str, Calculation]:
        """Read a plan's checks, by kind; none without a plan."""
        checks = PlanCheck.objects.filter(plan=plan).select_related("calculation") if plan else ()
        return {check.kind: check.calculation for check in checks}

    def checks_of_all(self) -> dict[UUID, dict[str, Calculation]]:
        """Read the checks of every plan, by plan and kind."""
        checks = PlanCheck.objects.filter(plan__in=self.plans).select_related("calculation")
        found: dict[UUID, dict[str, Calculation]] = {plan.pk: {} for plan in self.plans}
        for check in checks:
            found[check.plan_id][check.kind] = check.calculation
        return found

    # -- words -----------------------------------------------------------------------------------------------

    @cached_property
    def labels(self) -> dict[str, str]:
        """What people call things, by key."""
        named = {key: point.label for key, point in self.points.items()}
        named |= {key: connection.code for key, connection in self.connections.items()}
        named |= {key: strap.code for key, strap in self.straps.items()}
        named |= {key: run.code for key, run in self.drain_runs.items()}
        named |= {key: setup.code for key, setup in self.setups.items()}
        return named | {key: self.reading_words(reading) for key, reading in self.readings.items()}

    def name(self, key: str) -> str:
        """What people call something; the key itself where nothing is known of it any more."""
        return self.labels.get(key) or with_labels(key, self.labels)

    def sentence(self, text: str) -> str:
        """Return a sentence of the engine's in the reader's language, with labels for keys."""
        return with_labels(spoken(text), self.labels)

    def reading_words(self, reading: Reading) -> str:
        """Name a reading by where and from where it was made."""
        point, setup = self.points.get(str(reading.point_id)), self.setups.get(str(reading.setup_id))
        place = point.label if point else str(reading.point_id)
        return f"{place} ({setup.code if setup else reading.setup_id}, {reading.round})"

    def figure(self, value_in: float, *, signed: bool = False) -> str:
        """Write a length as a bare number in the reader's unit."""
        return figure(value_in, self.unit, signed=signed)

    def length(self, value_in: float, *, signed: bool = False) -> str:
        """Write a length in the reader's unit."""
        return length(value_in, self.unit, signed=signed)


def result_of(calculation: Calculation | None, result_type: type[T]) -> T | None:
    """Decode a stored result; None while there is none."""
    if calculation is None or calculation.result is None:
        return None
    return codec.decode(calculation.result, result_type)


def read_record(survey: Survey, *, unit: str) -> Record:
    """Read everything about a survey; the survey comes with its siting and home."""
    siting = survey.siting_id
    answers = Answer.objects.filter(survey=survey).select_related("calculation")
    plans = Plan.objects.filter(lift__answers__survey=survey, lift__answers__kind__in=LIFTS)
    supports = Support.objects.filter(point__siting=siting, removed_on__isnull=True)
    found = {answer.kind: answer for answer in answers}
    return Record(
        survey=survey,
        unit=unit,
        points={str(point.pk): point for point in Point.objects.filter(siting=siting)},
        supports={str(support.point_id): support for support in supports},
        connections={str(row.pk): row for row in Connection.objects.filter(siting=siting)},
        straps={str(row.pk): row for row in Strap.objects.filter(siting=siting)},
        drain_runs={str(row.pk): row for row in DrainRun.objects.filter(siting=siting)},
        setups={str(setup.pk): setup for setup in Setup.objects.filter(survey=survey)},
        readings={str(row.pk): row for row in Reading.objects.filter(survey=survey).select_related("author")},
        answers=found,
        plans=list(plans.order_by("pk")),
        unread=_unread(survey, found),
    )


def _unread(survey: Survey, answers: dict[str, Answer]) -> list[Point]:
    """Return what ought to have been read and has no height; nothing before there are heights."""
    answer = answers.get("joined") or answers.get("levels")
    result = answer.calculation.result if answer else None
    return unread_points(survey.siting_id, {height["point"] for height in result["heights"]}) if result else []
