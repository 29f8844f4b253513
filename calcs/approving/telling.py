"""What whoever approves a plan must know of it, though it refuses nothing."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calcs.approving.of_findings import not_looked_at
from calcs.approving.refusals import Case, listed
from calcs.engine.drains import DrainsResult
from calcs.engine.straps import StrapsResult
from calcs.models import Plan
from jobs.assessing import standing_assessment, warnings_of
from jobs.models import Connection, HomeKind, Trade, User
from jobs.papers import missing_papers

LEAST_NODES = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something to know before approving."""

    code: str
    words: str


def told(plan: Plan, by: User) -> tuple[Remark, ...]:
    """Return what ``by`` must know of a plan that stands; nothing of one that does not."""
    if not Plan.objects.current().filter(pk=plan.pk).exists():
        return ()
    case = Case(plan=plan, by=by)
    return tuple(remark for find in _ALL for remark in find(case))


def _straps(case: Case) -> Iterator[Remark]:
    straps = case.check("straps", StrapsResult)
    loosen = [strap.code for strap in straps.straps if strap.handling == "loosen_first"] if straps else []
    if loosen:
        words = ngettext(
            "Loosen this strap before the lift: {straps}.",
            "Loosen these straps before the lift: {straps}.",
            len(loosen),
        )
        yield Remark(code="loosen", words=words.format(straps=case.names(loosen)))
    if not case.record.straps and case.siting.home.kind == HomeKind.MANUFACTURED:
        yield Remark(code="no_straps", words=_("No anchor strap is recorded: look whether there is none."))


def _connections(case: Case) -> Iterator[Remark]:
    joined = {key: row for key, row in case.record.connections.items() if row.archived_at is None}
    freed = set(case.option.freed)
    if not joined:
        yield Remark(code="no_connections", words=_("No pipe or wire is recorded: look what ties the home down."))
    unmeasured = {key for key, row in joined.items() if row.measured == Connection.Measured.NOT}
    if moved := unmeasured & freed:
        words = _("Never measured, and it is freed because the plan moves it: {things}.")
        yield Remark(code="unmeasured_moved", words=words.format(things=_things(joined, moved)))
    if kept := unmeasured - freed:
        words = _("Never measured, so counted as not free at all: {things}.")
        yield Remark(code="unmeasured", words=words.format(things=_things(joined, kept)))
    licensed = {key for key in freed & joined.keys() if joined[key].trade not in (Trade.CREW, Trade.MASON)}
    if licensed:
        words = _("To be freed by a licensed trade: {things}.")
        yield Remark(code="licensed", words=words.format(things=_things(joined, licensed)))


def _things(joined: dict[str, Connection], keys: set[str]) -> str:
    return listed(str(joined[key]) for key in keys)


def _drains(case: Case) -> Iterator[Remark]:
    drains = case.check("drains", DrainsResult)
    known = {run.code: run for run in drains.runs} if drains else {}
    standing = [key for key, run in case.record.drain_runs.items() if run.archived_at is None]
    if short := [key for key in standing if key not in known]:
        words = _("Fewer than two places were measured, so that its slope is not known: {runs}.")
        yield Remark(code="drain_unmeasured", words=words.format(runs=case.names(short)))
    flat = [code for code, run in known.items() if any(each.verdict != "ok" for each in run.segments)]
    if flat:
        words = _("Flatter than the rule asks after the lift: {runs}.")
        yield Remark(code="drain_flat", words=words.format(runs=case.names(flat)))


def _readings(case: Case) -> Iterator[Remark]:
    levels = case.record.levels
    if levels is None:
        return
    keys = {check.id for check in levels.readings if check.suspect}
    keys.update(other for check in levels.readings for other in check.also_suspect)
    points = {str(case.record.readings[key].point_id) for key in keys} - set(case.plan.provisional_points)
    if points:
        words = ngettext(
            "Suspect, but not touched: the reading of {points}.",
            "Suspect, but not touched: the readings of {points}.",
            len(points),
        )
        yield Remark(code="suspect", words=words.format(points=case.names(points)))
    if unread := [str(point.pk) for point in case.record.unread]:
        yield Remark(code="not_read", words=_("Not read: {points}.").format(points=case.names(unread)))
    if unseen := not_looked_at(case):
        words = _("Nobody noted whether the wedges are tight at: {points}.")
        yield Remark(code="not_looked_at", words=words.format(points=listed(unseen)))


def _stacks(case: Case) -> Iterator[Remark]:
    supports = case.record.supports
    without = [key for key in case.touched if key in supports and supports[key].height_in is None]
    if without:
        words = _("No height is recorded, so that nothing says what to build: {supports}.")
        yield Remark(code="no_height", words=words.format(supports=case.names(without)))


def _home(case: Case) -> Iterator[Remark]:
    today = timezone.localdate()
    if assessment := standing_assessment(case.siting):
        for words in warnings_of(assessment, today):
            yield Remark(code="assessment", words=words)
    for block in missing_papers(case.siting, today, case.rules):
        words = _("Before the start: {paper}.").format(paper=block.words)
        yield Remark(code="paper", words=words)


_ALL = (_straps, _connections, _drains, _readings, _stacks, _home)
