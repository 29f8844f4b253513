"""What the work of a closing has touched: straps that it loosened, gas lines that it moved or freed."""

from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

from calcs import codec
from calcs.closing.seen import Seen
from calcs.engine.lift import LiftInput
from calcs.engine.straps import StrapsResult
from calcs.models import Approval, Closing
from calcs.questions import option_of
from jobs.models import Connection, Strap, StrapCheck

_HAIR_IN = 1e-6


def works_of(closing: Closing, seen: Seen | None = None) -> list[Approval]:
    """Return the approvals whose work a closing closes, oldest first.

    That is its own, and those before it that were worked by and then replaced, as far back as the last closing.
    """
    seen = seen or Seen([closing])
    own, siting = closing.approval, closing.approval.siting_id
    numbers = (number for key, number in seen.closed[siting] if key != closing.pk and number < own.number)
    before = max(numbers, default=0)
    return [work for work in seen.approvals[siting] if before < work.number <= own.number and _counts(work, own)]


def _counts(work: Approval, own: Approval) -> bool:
    return work.pk == own.pk or bool(getattr(work, "is_worked", False))


def work_ended_at(works: list[Approval], seen: Seen) -> datetime:
    """Return when the last step of the work was done; when it was approved, where none was noted."""
    last = max((seen.last_work_at[work.plan_id] for work in works if work.plan_id in seen.last_work_at), default=None)
    return max(last, works[0].approved_at) if last else works[-1].approved_at


def straps_to_check(works: Iterable[Approval], seen: Seen) -> list[Strap]:
    """Return the straps that the work loosens, or that it leaves to be tightened again, by their codes."""
    handled: set[str] = set()
    sitings: dict[UUID, None] = {}
    for work in works:
        sitings[work.siting_id] = None
        for calculation in seen.straps_checks[work.plan_id]:
            if calculation.result is not None:
                told = codec.decode(calculation.result, StrapsResult)
                handled |= {strap.code for strap in told.straps if strap.handling != "leave"}
    return [strap for siting in sitings for strap in seen.straps[siting] if str(strap.pk) in handled]


def newest_checks(straps: Iterable[Strap], since: datetime, seen: Seen) -> dict[UUID, StrapCheck]:
    """Return the newest check of each strap, of those since a moment."""
    return {strap.pk: check for strap in straps for check in seen.strap_checks[strap.pk] if check.noted_at >= since}


def gas_moved(works: Iterable[Approval], seen: Seen) -> list[Connection]:
    """Return the gas connections that the work frees or moves."""
    works = list(works)
    lines = [line for siting in {work.siting_id for work in works} for line in seen.gas_lines[siting]]
    moved: set[str] = set().union(*(_moved(work) for work in works)) if lines else set()
    return [line for line in lines if str(line.pk) in moved]


def _moved(work: Approval) -> set[str]:
    """Return what a plan frees, and what goes along with what it moves."""
    option = option_of(work.plan)
    by_in = {move.code: move.move_in for move in option.moves}
    joined = codec.decode(work.plan.lift.input, LiftInput).connections
    along = {
        connection.code
        for connection in joined
        if abs(sum(weight * by_in.get(code, 0.0) for code, weight in connection.weights.items())) > _HAIR_IN
    }
    return set(option.freed) | along
