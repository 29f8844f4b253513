"""What the checks of a plan say: what is an engineer's, and what a table or a jack does not allow."""

from collections.abc import Iterable, Iterator

from django.utils.translation import gettext as _

from calcs.approving.refusals import Case, Refusal, managers, nobodys
from calcs.engine.passes import PassesInput, PassesResult
from calcs.engine.stacks import StacksResult
from calcs.engine.standards.checks import Check
from calcs.engine.strap_spacing import StrapSpacingResult
from calcs.engine.supports import SupportsResult

_HAIR = 1e-9
# Of a support's checks: those on what the work builds and loads, by what an engineer's verdict on one is.
_BUILT = {"height": "engineer_stack", "load": "engineer_load"}


def of_checks(case: Case) -> Iterator[Refusal]:
    """Tell what the checks that are done find in the way."""
    yield from _supports(case)
    yield from _passes(case)
    yield from _straps(case)
    yield from _stacks(case)


# -- supports --------------------------------------------------------------------------------------------------


def _supports(case: Case) -> Iterator[Refusal]:
    after = case.check("supports", SupportsResult)
    before = {(check.what, check.who) for check in _verdicts(case.answer("supports", SupportsResult), "engineer")}
    stands, tables, ours = set[str](), set[str](), {"engineer_stack": _too_high(case), "engineer_load": set[str]()}
    for check in _verdicts(after, "engineer"):
        (support,) = check.who
        if check.what not in _BUILT:
            tables.add(support)
        elif support in case.touched or (check.what, check.who) not in before:
            ours[_BUILT[check.what]].add(support)
        else:
            stands.add(support)
    for code, words in (
        ("engineer_stack", _("Too high for a stack without a design, an engineer decides: {supports}.")),
        ("engineer_load", _("More load than a double stack may carry, an engineer decides: {supports}.")),
    ):
        if ours[code]:
            yield nobodys(code, words.format(supports=case.names(ours[code])))
    if stands:
        words = _("Stands so already, and an engineer would decide: {supports}.")
        yield managers("stands_engineer", words.format(supports=case.names(stands)))
    if tables:
        words = _("A federal table has no answer for load or footing: {supports}.")
        yield managers("table_engineer", words.format(supports=case.names(tables)))
    over = {
        who for check in _verdicts(after, "over") if check.what in ("height", "load", "corner") for who in check.who
    }
    if over & case.touched:
        words = _("To be built beyond what the table allows such a stack: {supports}.")
        yield managers("over", words.format(supports=case.names(over & case.touched)))


def _verdicts(result: SupportsResult | None, verdict: str) -> Iterable[Check]:
    supports = result.supports if result else ()
    return (check for support in supports for check in support.checks if check.verdict == verdict)


def _too_high(case: Case) -> set[str]:
    """Stacks to be built that need a design, whatever table the home is under."""
    stacks = case.check("stacks", StacksResult)
    return {stack.code for stack in stacks.supports if stack.tier == "engineer"} if stacks else set()


# -- passes ----------------------------------------------------------------------------------------------------


def _passes(case: Case) -> Iterator[Refusal]:
    asked, found = case.asked("passes", PassesInput), case.check("passes", PassesResult)
    if asked is None or found is None:
        return
    if (limit_in := asked.engineer_over_in) is not None:
        far = [code for code, move_in in asked.moves.items() if abs(move_in) > limit_in + _HAIR]
        if far:
            words = _("Further than {limit} in all, an engineer decides: {supports}.")
            length = case.record.length(limit_in)
            yield nobodys("engineer_move", words.format(limit=length, supports=case.names(far)))
    steps = [step for each in found.passes for group in each.groups for step in group if not step.jack_ok]
    over = {step.code for step in steps if step.jack_lb > asked.jack_rated_lb + _HAIR}
    if over:
        words = _("A jack would push more than is marked on it: {supports}.")
        yield nobodys("jack_rating", words.format(supports=case.names(over)))
    if near := {step.code for step in steps} - over:
        words = _("A jack would push more than its mark allows with the factor {factor}: {supports}.")
        yield managers("jack_factor", words.format(factor=f"{asked.jack_factor:g}", supports=case.names(near)))
    lowered = {code for code, move_in in asked.moves.items() if move_in < 0}
    left = {code for each in found.passes for code in each.hanging if code in lowered}
    if left & {stop.code for stop in found.stops}:
        words = _("Let down, and the frame does not follow: {supports}.")
        yield managers("left_behind", words.format(supports=case.names(left)))


# -- straps, stacks --------------------------------------------------------------------------------------------


def _straps(case: Case) -> Iterator[Refusal]:
    spacing = case.check("strap_spacing", StrapSpacingResult)
    checks = [check for side in spacing.sides for check in side.checks] if spacing else []
    if any(check.verdict == "engineer" for check in checks):
        yield managers("table_engineer", _("The federal tables have no answer for the anchor straps of this home."))


def _stacks(case: Case) -> Iterator[Refusal]:
    stacks = case.check("stacks", StacksResult)
    without = [stack.code for stack in stacks.supports if stack.status == "no_stack"] if stacks else []
    if without:
        words = _("No stack of known parts has the height: {supports}.").format(supports=case.names(without))
        yield managers("no_stack", words)
