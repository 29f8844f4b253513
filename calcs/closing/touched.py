"""What the work of a closing has touched: straps that it loosened, gas lines that it moved or freed."""

from collections.abc import Iterable
from datetime import datetime

from calcs import codec
from calcs.engine.lift import LiftInput
from calcs.engine.straps import StrapsResult
from calcs.models import Approval, Closing, PlanCheck
from calcs.questions import option_of
from calcs.work import last_work_at
from jobs.models import Connection, ConnectionKind, Strap, StrapCheck

_HAIR_IN = 1e-6


def works_of(closing: Closing) -> list[Approval]:
    """Return the approvals whose work a closing closes, oldest first.

    That is its own, and those before it that were worked by and then replaced, as far back as the last closing.
    """
    own = closing.approval
    closed = Closing.objects.filter(approval__siting=own.siting_id, closed_at__isnull=False).exclude(pk=closing.pk)
    before = closed.order_by("-approval__number").values_list("approval__number", flat=True).first() or 0
    rows = Approval.objects.filter(siting=own.siting_id, number__gt=before, number__lt=own.number)
    worked = rows.filter(plan__pass_entries__is_done=True).distinct()
    beside = ("plan__lift", "plan__survey__siting__home", "plan__survey__author")
    return [*worked.select_related(*beside).order_by("number"), own]


def work_ended_at(works: list[Approval]) -> datetime:
    """Return when the last step of the work was done; when it was approved, where none was noted."""
    last = last_work_at(works)
    return max(last.noted_at, works[0].approved_at) if last else works[-1].approved_at


def straps_to_check(works: Iterable[Approval]) -> list[Strap]:
    """Return the straps that the work loosens, or that it leaves to be tightened again, by their codes."""
    checks = PlanCheck.objects.filter(plan__in=[work.plan_id for work in works], kind="straps")
    handled: set[str] = set()
    for check in checks.select_related("calculation").defer("calculation__input"):
        if check.calculation.result is not None:
            told = codec.decode(check.calculation.result, StrapsResult)
            handled |= {strap.code for strap in told.straps if strap.handling != "leave"}
    return list(Strap.objects.standing().filter(pk__in=handled).order_by("code"))


def newest_checks(straps: Iterable[Strap], since: datetime) -> dict[object, StrapCheck]:
    """Return the newest check of each strap, of those since a moment."""
    rows = StrapCheck.objects.filter(strap__in=straps, noted_at__gte=since)
    return {check.strap_id: check for check in rows.order_by("noted_at", "sequence", "pk")}


def gas_moved(works: Iterable[Approval]) -> list[Connection]:
    """Return the gas connections that the work frees or moves."""
    moved: set[str] = set()
    for work in works:
        option = option_of(work.plan)
        by_in = {move.code: move.move_in for move in option.moves}
        joined = codec.decode(work.plan.lift.input, LiftInput).connections
        moved |= set(option.freed)
        moved |= {
            connection.code
            for connection in joined
            if abs(sum(weight * by_in.get(code, 0.0) for code, weight in connection.weights.items())) > _HAIR_IN
        }
    rows = Connection.objects.filter(kind=ConnectionKind.GAS, siting__in=[work.siting_id for work in works])
    return [connection for connection in rows.order_by("code") if str(connection.pk) in moved]
