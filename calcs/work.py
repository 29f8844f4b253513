"""The work by an approved plan: what each pass asks, what crews noted of it, and what is left at each support."""

import datetime
import math
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from calcs import codec, nightly, questions
from calcs.engine.errors import InvalidInput
from calcs.engine.levels import LevelsInput
from calcs.engine.lift import LiftInput, LiftOption
from calcs.engine.passes import (
    JackingPass,
    PassesInput,
    PassesResult,
    PassNumber,
    PassSetup,
    PassStep,
    PassStop,
)
from calcs.engine.units import parse_length
from calcs.models import Answer, Approval, Calculation, Closing, PassEntry, Plan, PlanCheck
from calcs.set_up_anew import set_up_anew
from jobs.clock import company_zone, start_of
from jobs.errors import DomainError
from jobs.field_work import note
from jobs.models import Point, StrapCheck, User
from jobs.models.base import Act
from jobs.rights import need, need_on
from jobs.spoken import retold
from surveys.models import Survey

# How far what is read may be off the number, in standard deviations: sure to be off beyond the second.
USUAL_SDS, MOST_SDS = 2.0, 3.0
_HAIR_IN = 1e-9

Verdict = Literal["", "as_wanted", "unsure", "off"]
Entries = Mapping[tuple[int, str], PassEntry]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One support in one pass: what is wanted of it, and what was noted last.

    ``off_in`` is how much higher the frame stands than wanted, by the number that was read. ``jack_lb`` is what the
    jack pushes with; None where the support is only read.
    """

    point: str
    pass_number: int
    by_in: float
    read_in: float | None
    is_hanging: bool
    entry: PassEntry | None
    off_in: float | None
    verdict: Verdict
    jack_lb: float | None = None

    @property
    def is_done(self) -> bool:
        """Whether the newest entry says that it was done."""
        return self.entry is not None and self.entry.is_done


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkPass:
    """One round: its groups in their order, and what is read beside them at its end."""

    number: int
    day: int
    groups: tuple[tuple[Step, ...], ...]
    beside: tuple[Step, ...]

    @property
    def is_done(self) -> bool:
        """Whether every step of it was done."""
        return all(step.is_done for group in self.groups for step in group)

    @property
    def is_off(self) -> bool:
        """Whether a number read in it is off by more than noise explains."""
        return any(step.verdict == "off" for group in (*self.groups, self.beside) for step in group)


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportLeft:
    """How far a support has come. ``passes`` is 0 where the order of jacking does not tell of it."""

    point: str
    change_in: float
    done_in: float
    passes: int
    passes_done: int

    @property
    def left_in(self) -> float:
        """How far it still goes, down below 0; nothing where only rounding is left."""
        left_in = self.change_in - self.done_in
        return left_in if abs(left_in) > _HAIR_IN else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkProgress:
    """How far a plan's work has come; ``days`` is 0 where no order of jacking could be told.

    ``setup`` is the key of the one that the numbers hold for, ``sd_in`` how far one read there may stand off the one
    that is wanted; None where either is not known. From ``anew_since`` on the level stands elsewhere: no number to
    read holds any more, and what is noted from then on is not judged by one.
    """

    passes: tuple[WorkPass, ...]
    supports: tuple[SupportLeft, ...]
    stops: tuple[PassStop, ...]
    days: int
    setup: str | None
    sd_in: float | None = None
    anew_since: datetime.datetime | None = None

    @property
    def steps(self) -> tuple[Step, ...]:
        """Every step in its order, what is only read left out."""
        return tuple(step for each in self.passes for group in each.groups for step in group)

    @property
    def is_begun(self) -> bool:
        """Whether anything was done yet."""
        return any(step.is_done for step in self.steps) or any(support.done_in for support in self.supports)

    @property
    def left(self) -> tuple[SupportLeft, ...]:
        """The supports that still have to go somewhere."""
        return tuple(support for support in self.supports if support.left_in)

    def next_step(self) -> Step | None:
        """Return the first step that is not done."""
        return next((step for step in self.steps if not step.is_done), None)


def progress_of_work(approval: Approval) -> WorkProgress:
    """Return how far the work by an approved plan has come; the approval comes with its plan and lift."""
    plan = approval.plan
    check = PlanCheck.objects.filter(plan=plan, kind="passes").select_related("calculation").first()
    levels = Answer.objects.filter(survey=plan.survey_id, kind="levels").select_related("calculation").first()
    return progress_by(
        plan,
        passes=check.calculation if check else None,
        levels=levels.calculation if levels else None,
        entries=PassEntry.objects.filter(plan=plan).select_related("author"),
        anew_since=set_up_anew([plan]).get(plan.pk),
    )


def progress_by(
    plan: Plan,
    *,
    passes: Calculation | None,
    levels: Calculation | None,
    entries: Iterable[PassEntry],
    anew_since: datetime.datetime | None,
) -> WorkProgress:
    """Return how far the work by a plan has come, from what was read of it.

    Parameters
    ----------
    plan : Plan
        With its lift.
    passes, levels : Calculation or None
        The order of jacking, and the heights that the plan was made from.
    entries : iterable of PassEntry
        All that was noted of it.
    anew_since : datetime or None
        Since when the level stands elsewhere: the numbers hold no more.
    """
    option, newest = questions.option_of(plan), newest_entries(entries)
    if passes is None or passes.result is None:
        supports = _supports_left(option, (), newest)
        return WorkProgress(passes=(), supports=supports, stops=(), days=0, setup=None)
    asked = codec.decode(passes.input, PassesInput)
    told = codec.decode(passes.result, PassesResult)
    noted = _Noted(
        entries=newest,
        setup=asked.setup,
        sd_in=_sd_in(plan.lift, levels, asked.setup),
        anew_since=anew_since,
    )
    worked = tuple(noted.work_pass(each) for each in told.passes)
    return WorkProgress(
        passes=worked,
        supports=_supports_left(option, worked, newest),
        stops=told.stops,
        days=told.days,
        setup=asked.setup.code if asked.setup else None,
        sd_in=noted.sd_in,
        anew_since=anew_since,
    )


def has_begun(approval: Approval, progress: WorkProgress) -> bool:
    """Tell whether anything was done by an approval: a step, or a strap loosened for it."""
    loosened = StrapCheck.objects.filter(strap__siting=approval.siting_id, slack_in__gt=0)
    return progress.is_begun or loosened.filter(noted_at__gte=approval.approved_at).exists()


def newest_entries(rows: Iterable[PassEntry]) -> dict[tuple[int, str], PassEntry]:
    """Return the newest entry of each pass and support: a correction is a further entry."""
    inorder = sorted(rows, key=lambda row: (row.noted_at, row.sequence, row.pk))
    return {(row.pass_number, str(row.point_id)): row for row in inorder}


def _sd_in(lift: Calculation, levels: Calculation | None, setup: PassSetup | None) -> float | None:
    """How far a number that is read may stand off the one that is wanted [in], as a standard deviation.

    The number comes of heights that were read themselves, so the noise of a reading counts twice; where a wedge
    seats comes to it. None where the noise of the setup's readings is not known.
    """
    if setup is None or levels is None:
        return None
    asked = codec.decode(levels.input, LevelsInput)
    reading_sd_in = next((each.reading_sd_in for each in asked.setups if each.code == setup.code), None)
    if reading_sd_in is None:
        return None
    seating_in = codec.decode(lift.input, LiftInput).seating_sd_in
    return math.sqrt(2 * reading_sd_in**2 + seating_in**2)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Noted:
    """What was noted of a plan, against where the level stands and how closely it reads."""

    entries: Entries
    setup: PassSetup | None
    sd_in: float | None
    anew_since: datetime.datetime | None

    def work_pass(self, each: JackingPass) -> WorkPass:
        numbers = {number.code: number for number in each.numbers}
        groups = tuple(
            tuple(self.step(each.number, one.code, numbers.get(one.code), one) for one in group)
            for group in each.groups
        )
        worked = {one.point for group in groups for one in group}
        beside = (self.step(each.number, code, number) for code, number in numbers.items() if code not in worked)
        return WorkPass(number=each.number, day=each.day, groups=groups, beside=tuple(beside))

    def step(self, pass_number: int, point: str, number: PassNumber | None, asked: PassStep | None = None) -> Step:
        entry = self.entries.get((pass_number, point))
        read_in = number.read_in if number else None
        off_in = self.off_in(entry, read_in)
        return Step(
            point=point,
            pass_number=pass_number,
            by_in=asked.by_in if asked else 0.0,
            read_in=read_in,
            is_hanging=number is not None and not number.in_contact,
            entry=entry,
            off_in=off_in,
            verdict=_verdict(off_in, self.sd_in),
            jack_lb=asked.jack_lb if asked else None,
        )

    def off_in(self, entry: PassEntry | None, read_in: float | None) -> float | None:
        if entry is None or entry.value_in is None or read_in is None or self.setup is None:
            return None
        if self.anew_since is not None and entry.noted_at >= self.anew_since:
            return None
        above_in = float(entry.value_in) - read_in
        return above_in if self.setup.sense == "up" else -above_in


def _verdict(off_in: float | None, sd_in: float | None) -> Verdict:
    if off_in is None or sd_in is None:
        return ""
    sds = abs(off_in) / sd_in
    return "as_wanted" if sds <= USUAL_SDS else "unsure" if sds <= MOST_SDS else "off"


def _supports_left(option: LiftOption, passes: Iterable[WorkPass], entries: Entries) -> tuple[SupportLeft, ...]:
    steps: dict[str, list[Step]] = {}
    for each in passes:
        for step in (step for group in each.groups for step in group):
            steps.setdefault(step.point, []).append(step)
    done_at_all = {point for (_number, point), entry in entries.items() if entry.is_done}
    return tuple(
        _support_left(move.code, move.support_change_in, steps.get(move.code, []), move.code in done_at_all)
        for move in option.moves
        if move.support_change_in != 0
    )


def _support_left(point: str, change_in: float, steps: list[Step], is_done_at_all: bool) -> SupportLeft:
    done = [step for step in steps if step.is_done]
    done_in = sum(step.by_in for step in done)
    if not steps and is_done_at_all:  # without an order of jacking it goes in one
        done_in = change_in
    return SupportLeft(point=point, change_in=change_in, done_in=done_in, passes=len(steps), passes_done=len(done))


# -- noting ------------------------------------------------------------------------------------------------------


def why_not_noted(approval: Approval) -> str:
    """Say why nothing more is noted of an approval's work; empty while it goes on."""
    if approval.withdrawn_at is not None:
        return _("This approval is withdrawn: work goes by the one that stands.")
    if Closing.objects.filter(approval=approval, closed_at__isnull=False).exists():
        return _("This work is closed: nothing more is noted of it.")
    return ""


@transaction.atomic
def note_pass(entry: PassEntry) -> bool:
    """Keep a step as it was noted; tell whether it is new.

    A lift makes the home due at once, for nobody knows how it stands; only its first step of a day changes when.
    """
    is_new = note(entry)
    if is_new and not _is_later_step(entry):
        nightly.refresh_when_kept(entry.plan.survey.siting_id)
    return is_new


def _is_later_step(entry: PassEntry) -> bool:
    """Tell whether another step was noted as done before on its day, and the home not read between the two."""
    if not entry.is_done:
        return False
    siting, zone = entry.plan.survey.siting_id, company_zone()
    others = PassEntry.objects.done().filter(plan__survey__siting=siting, noted_at__lte=entry.noted_at)
    since = start_of(entry.noted_at.astimezone(zone).date(), zone)
    read_at = Survey.objects.filter(siting=siting, started_at__lte=entry.noted_at).aggregate(at=Max("started_at"))[
        "at"
    ]
    return others.exclude(pk=entry.pk).filter(noted_at__gte=max(since, read_at or since)).exists()


@transaction.atomic
def note_step(
    *,
    approval: Approval,
    key: uuid.UUID,
    by: User,
    point: Point,
    pass_number: int,
    is_done: bool,
    typed: str = "",
    remark: str = "",
) -> bool:
    """Keep what was done at a support in a pass, and what was read after it; tell whether it is new.

    Raises
    ------
    DomainError
        403 for whom the roles don't allow it, 409 once the approval is withdrawn or its work closed, 400 for what is
        no length.
    """
    need(by, Act.ADD, PassEntry)
    if sentence := why_not_noted(approval):
        raise DomainError("over", sentence, status=409)
    unit = approval.plan.survey.unit
    entry = PassEntry(
        pk=key,
        plan=approval.plan,
        point=point,
        author=by,
        noted_at=timezone.now(),
        pass_number=pass_number,
        is_done=is_done,
        typed=typed.strip(),
        unit=unit,
        note=remark.strip(),
    )
    if entry.typed:
        try:
            entry.value_in = parse_length(entry.typed, unit="mm" if unit == "mm" else "in")
        except InvalidInput as wrong:
            told = retold(wrong.message)
            raise DomainError("invalid", told, fields={"typed": told}) from None
    is_new = note_pass(entry)
    need_on(by, Act.ADD, entry)  # not under an archived home
    return is_new
