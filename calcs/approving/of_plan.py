"""What the plan itself asks for beyond a crew lead's limits, and whether all of it was computed."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from calcs.approving.refusals import Case, Refusal, listed, managers, nobodys
from calcs.models import Calculation
from calcs.survey_page.progress import KIND_WORDS

_WAITING = (Calculation.State.QUEUED, Calculation.State.RUNNING)
_HAIR = 1e-9


def of_plan(case: Case) -> Iterator[Refusal]:
    """Tell what of the plan's own figures is in the way."""
    if not case.touched:
        yield nobodys("nothing_to_do", _("This plan touches no support: there is nothing to approve."))
    yield from _computed(case)
    yield from _limits(case)


def _computed(case: Case) -> Iterator[Refusal]:
    states = {kind: calculation.state for kind, calculation in case.checks.items()}
    waiting = [kind for kind, state in states.items() if state in _WAITING]
    # Supports are asked about last, with loads and stacks; until then there is no row of them.
    if "frame" in states and "supports" not in states and not waiting:
        waiting.append("supports")
    failed = [kind for kind, state in states.items() if state not in (*_WAITING, Calculation.State.DONE)]
    for code, kinds, words in (
        ("checks_waiting", waiting, _("Not computed yet: {kinds}.")),
        ("checks_failed", failed, _("Could not be computed: {kinds}.")),
    ):
        if kinds:
            yield nobodys(code, words.format(kinds=listed(str(KIND_WORDS[kind]) for kind in kinds)))
    if "passes" not in states or "frame" not in states:
        words = _("No line was read whole: neither loads nor an order of jacking can be told.")
        yield managers("no_loads", words)


def _limits(case: Case) -> Iterator[Refusal]:
    """Hold the plan against what a crew lead may approve alone."""
    option, rules, length = case.option, case.rules, case.record.length
    raised_in, lowered_in = option.raised_max_in or 0.0, option.lowered_max_in or 0.0
    if raised_in > rules["lead_most_raise_in"] + _HAIR:
        words = _("It raises a support {by}; a crew lead approves up to {most}.")
        yield managers("raise", words.format(by=length(raised_in), most=length(rules["lead_most_raise_in"])))
    if lowered_in > rules["lead_most_lower_in"] + _HAIR:
        words = _("It lowers a support {by}; a crew lead approves up to {most}.")
        yield managers("lower", words.format(by=length(lowered_in), most=length(rules["lead_most_lower_in"])))
    if len(case.touched) > rules["lead_most_touched"]:
        words = _("It touches {count} supports; a crew lead approves up to {most}.")
        yield managers("touched", words.format(count=len(case.touched), most=f"{rules['lead_most_touched']:.0f}"))
    chance, least = option.chance_within, rules["lead_least_chance"]
    if chance is None:
        yield managers("chance", _("How likely it ends within tolerance is not known."))
    elif chance < least:
        words = _("It ends within tolerance with a chance of {chance}; a crew lead approves from {least}.")
        yield managers("chance", words.format(chance=percent(chance), least=percent(least)))


def percent(share: float) -> str:
    """Write a share in percent."""
    return f"{100 * share:.0f}\u00a0%"
