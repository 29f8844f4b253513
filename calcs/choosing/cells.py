"""What each option comes to, one cell a question: from its plan, its checks and the survey's noise."""

import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from calcs.choosing.noise import against_noise
from calcs.engine.drains import DrainRunResult, DrainsResult
from calcs.engine.lift import LiftOption
from calcs.engine.passes import PassesResult
from calcs.engine.stacks import StacksResult
from calcs.engine.straps import StrapsResult
from calcs.engine.supports import SupportsResult
from calcs.models import Calculation
from calcs.survey_page import checks, plans
from calcs.survey_page.findings import EPSILON
from calcs.survey_page.record import Record, result_of

T = TypeVar("T")
Checked = dict[str, Calculation]

LINES_SHOWN = 3  # of what may be many; the rest is counted
STOPS_SHOWN = 2  # whole sentences
NAMES_SHOWN = 6
_BEYOND_WORDS: dict[str, Promise] = {
    "over": gettext_lazy("over a limit"),
    "engineer": gettext_lazy("for an engineer"),
    "unknown": gettext_lazy("not known"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """The answer to one question about one option.

    ``is_bad``: it speaks against the option, as its words say; ``is_first``: it is among what is looked at first.
    """

    lines: tuple[str, ...]
    notes: tuple[str, ...] = ()
    is_bad: bool = False
    is_first: bool = False


def waiting_cell(check: Calculation | None, missing: str) -> Cell | None:
    """Say why a check has no answer; None where it has one. ``missing``: what is said where nothing is asked."""
    if check is None:
        return Cell(lines=(missing,))
    if check.state == Calculation.State.DONE:
        return None
    if check.state in (Calculation.State.FAILED, Calculation.State.TIMED_OUT):
        return Cell(lines=(_("could not be computed"),), is_bad=True)
    return Cell(lines=(_("being computed"),))


def _answer(check: Calculation | None, missing: str, result_type: type[T]) -> tuple[T | None, Cell]:
    """Return a check's answer, or the cell that says why there is none."""
    waiting = waiting_cell(check, missing)
    return (None, waiting) if waiting else (result_of(check, result_type), Cell(lines=()))


def _some(lines: Iterable[str], most: int = LINES_SHOWN) -> tuple[str, ...]:
    """Return the first few lines, and how many more there are."""
    every = list(dict.fromkeys(lines))
    left = len(every) - most
    if left <= 0:
        return tuple(every)
    more = ngettext("and {count} more", "and {count} more", left).format(count=left)
    return (*every[:most], more)


def _named(record: Record, keys: Iterable[str]) -> str:
    every = sorted(record.name(key) for key in keys)
    left = len(every) - NAMES_SHOWN
    if left <= 0:
        return ", ".join(every)
    more = ngettext("and {count} more", "and {count} more", left).format(count=left)
    return ", ".join(every[:NAMES_SHOWN]) + " " + more


# -- what is joined to the home ------------------------------------------------------------------------------


def freed_cell(record: Record, option: LiftOption) -> Cell:
    """What must be freed, by which trade; stretches of drains are hung anew."""
    cost = {link.code: link.free_min or 0.0 for link in record.lift_input.connections} if record.lift_input else {}
    by_trade: defaultdict[str, list[str]] = defaultdict(list)
    for key in option.freed:
        connection = record.connections.get(key)
        words = _("{what} ({minutes})").format(
            what=connection or record.name(key), minutes=plans.minutes_words(cost.get(key, 0.0))
        )
        by_trade[connection.get_trade_display() if connection else _("hang anew")].append(words)
    lines = (f"{trade}: {', '.join(words)}" for trade, words in by_trade.items())
    return Cell(lines=tuple(lines) or (_("nothing"),))


def straps_cell(record: Record, check: Calculation | None) -> Cell:
    """Which straps are loosened before the lift, and which are tightened again without."""
    found, waiting = _answer(check, _("none recorded"), StrapsResult)
    if found is None:
        return waiting
    if not found.straps:
        return Cell(lines=(_("none recorded"),))
    loosened = [strap.code for strap in found.straps if strap.handling == "loosen_first"]
    again = sum(strap.handling == "retension" for strap in found.straps)
    notes = (_("{count} more to tighten again afterwards").format(count=again),) if again else ()
    line = f"{len(loosened)}: {_named(record, loosened)}" if loosened else _("none")
    return Cell(lines=(line,), notes=notes)


def drains_cell(record: Record, option: LiftOption, check: Calculation | None) -> Cell:
    """Which runs fall too little or backwards after the moves; those that the plan hangs anew are mended by that."""
    found, waiting = _answer(check, _("no run recorded"), DrainsResult)
    if found is None:
        return waiting
    failing = [run for run in found.runs if run.sags or any(part.verdict != "ok" for part in run.segments)]
    hung = [run for run in failing if _is_hung_anew(run, option)]
    notes = tuple(_("{run}: hung anew").format(run=record.name(run.code)) for run in hung)
    lines = _some(_drain_words(record, run) for run in failing if run not in hung)
    return Cell(lines=lines or (_("none fails"),), notes=notes, is_bad=bool(lines))


def _is_hung_anew(run: DrainRunResult, option: LiftOption) -> bool:
    """Tell whether the plan hangs every stretch of a run anew that would not fall as it must."""
    bad = [f"{run.code} {part.from_ft:g} to {part.to_ft:g} ft" for part in run.segments if part.verdict != "ok"]
    return bool(bad) and set(bad) <= set(option.freed)


def _drain_words(record: Record, run: DrainRunResult) -> str:
    bad = [part for part in run.segments if part.verdict != "ok"]
    said = []
    if any(part.verdict == "reverse" for part in bad):
        said.append(_("falls backwards"))
    if any(part.verdict == "flat" for part in bad):
        said.append(_("too flat"))
    if run.sags:
        said.append(_("water stands"))
    words = _("{run}: {what}").format(run=record.name(run.code), what=", ".join(said))
    as_before = all(part.slope_before_in_per_ft < part.required_in_per_ft - EPSILON for part in bad)
    return _("{drain}, as found already").format(drain=words) if bad and as_before else words


# -- supports and parts --------------------------------------------------------------------------------------


def supports_cell(record: Record, check: Calculation | None) -> Cell:
    """How many supports are outside what the rules and tables allow."""
    found, waiting = _answer(check, _("not known: no line was read whole"), SupportsResult)
    if found is None:
        return waiting
    by_verdict: defaultdict[str, list[str]] = defaultdict(list)
    for support in found.supports:
        by_verdict[support.verdict].append(support.code)
    lines = [
        f"{len(by_verdict[verdict])} {words}: {_named(record, by_verdict[verdict])}"
        for verdict, words in _BEYOND_WORDS.items()
        if verdict in by_verdict and verdict != "unknown"
    ]
    notes = (f"{len(by_verdict['unknown'])} {_BEYOND_WORDS['unknown']}",) if "unknown" in by_verdict else ()
    return Cell(lines=tuple(lines) or (_("none"),), notes=notes, is_bad=bool(lines))


def parts_cell(check: Calculation | None) -> Cell:
    """What the parts to load weigh together."""
    waiting = waiting_cell(check, _("none: no support of known height is touched"))
    if waiting:
        return waiting
    rows = checks.part_rows(check)
    pieces = sum(row.count for row in rows)
    count = ngettext("{count} piece", "{count} pieces", pieces).format(count=pieces)
    return Cell(lines=(_("{lb} lb").format(lb=f"{sum(row.lb for row in rows):,.0f}"),), notes=(count,))


# -- jacking -------------------------------------------------------------------------------------------------


def jacks_cell(record: Record, check: Calculation | None) -> Cell:
    """The hardest push of a jack, and whether the jacks bear every push with the factor that the rules ask for."""
    found, waiting = _answer(check, _("not known: no line was read whole"), PassesResult)
    if found is None:
        return waiting
    steps = [(step, each.number) for each in found.passes for group in each.groups for step in group]
    if not steps:
        return Cell(lines=(_("none"),))
    worst, number = max(steps, key=lambda at: at[0].jack_lb)
    line = _("{lb} lb at {support}, pass {number}").format(
        lb=f"{worst.jack_lb:,.0f}", support=record.name(worst.code), number=number
    )
    if all(step.jack_ok for step, _number in steps):
        return Cell(lines=(line,), notes=(_("the jacks bear it"),))
    beyond = _named(record, {step.code for step, _number in steps if not step.jack_ok})
    return Cell(lines=(line, _("more than the jacks may bear: {supports}").format(supports=beyond)), is_bad=True)


def passes_cell(check: Calculation | None) -> Cell:
    """How many passes, over how many days."""
    found, waiting = _answer(check, _("not known: no line was read whole"), PassesResult)
    if found is None:
        return waiting
    count = len(found.passes)
    words = ngettext("{count} pass", "{count} passes", count).format(count=count)
    days = ngettext("{count} day", "{count} days", found.days).format(count=found.days)
    return Cell(lines=(_("{passes}, {days}").format(passes=words, days=days) if count else _("none"),))


def stops_cell(record: Record, checked: Checked, provisional: str) -> Cell:
    """What keeps the plan from being worked as it is."""
    passes, stacks = result_of(checked.get("passes"), PassesResult), result_of(checked.get("stacks"), StacksResult)
    lines = [provisional] if provisional else []
    lines += [record.sentence(stop.text) for stop in (passes.stops if passes else ())]
    if without := [stack.code for stack in (stacks.supports if stacks else ()) if stack.status == "no_stack"]:
        lines.append(_("No stack of known parts fits at {supports}.").format(supports=_named(record, without)))
    told = [waiting_cell(checked.get(kind), "") for kind in ("passes", "stacks") if kind in checked]
    if not lines and any(told):
        return next(cell for cell in told if cell)
    return Cell(lines=_some(lines, STOPS_SHOWN) or (_("none"),), is_bad=bool(lines))


# -- how sure, and what it could be --------------------------------------------------------------------------


def chance_cell(option: LiftOption, *, is_tested: bool) -> Cell:
    """The chance that every pair ends within tolerance, which is half of the test while nobody tried the doors."""
    notes = () if is_tested else (_("doors not tested"),)
    return Cell(lines=(plans.chance_words(option.chance_within),), notes=notes)


def noise_cell(record: Record, option: LiftOption) -> Cell:
    """Whether the plan lifts more than noise."""
    found = against_noise(option, record.flatness) if record.flatness else None
    if found is None:
        return Cell(lines=(_("nothing moves that was compared"),))
    told_from_in = math.ceil(found.told_from_in * 16 - EPSILON) / 16  # rounded up: never told finer than it is
    figures = _("largest move {largest}, at {support}; told apart from {least}").format(
        largest=record.length(found.largest_in), support=record.name(found.at), least=record.length(told_from_in)
    )
    lines = []
    if found.is_smaller:
        lines.append(_("smaller than the noise: it may lift nothing else; read again first"))
    if not found.is_any_over:
        lines.append(_("no pair is surely over its tolerance"))
    return Cell(lines=tuple(lines) or (_("above the noise"),), notes=(figures,), is_bad=bool(lines))


def binding_cell(lines: tuple[str, ...]) -> Cell:
    """What makes it dearer than it could be, the most first."""
    return Cell(lines=_some(lines) or (_("nothing found"),))
