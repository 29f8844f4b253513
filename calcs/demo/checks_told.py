"""What the checks of a home and of a plan say, in words, made from the service's answers and nothing else."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from calcs.demo.telling import OPTION_WORDS, Names
from calcs.engine.units import format_sixteenths

Result = Mapping[str, Any]
MOST_NAMED = 6


def load_lines(when: str, frame: Result, names: Names) -> Iterator[str]:
    """Say which support carries most, how sure that is, and which carry nothing."""
    rows = _labelled(frame["supports"], names)
    most = max(rows, key=lambda each: each["reaction_lb"])
    hanging = [f"{each['label']} ({100 * each['chance_bearing']:.0f} %)" for each in rows if not each["in_contact"]]
    yield (
        f"loads {when}: most at {most['label']}, {most['reaction_lb']:,.0f} lb "
        f"({most['reaction_low_lb']:,.0f} to {most['reaction_high_lb']:,.0f}); "
        + (f"hanging by the heights, with the chance to bear: {_some(hanging)}" if hanging else "every support bears")
    )


def chance_lines(lift: Result) -> Iterator[str]:
    """Say of each option how likely every pair ends within its tolerance."""
    chances = [
        f"{OPTION_WORDS[option['name']]} {100 * option['chance_within']:.0f} %"
        for option in lift["options"]
        if option["chance_within"] is not None
    ]
    yield "chance that every pair ends within tolerance: " + ", ".join(chances)


def curve_lines(curve: Result) -> Iterator[str]:
    """Say what a flatter home would take."""
    points = [
        f"{format_sixteenths(point['flatness_in'], denominator=32)} in {point['minutes']:.0f} min"
        for point in curve["points"]
        if point["minutes"] is not None
    ]
    yield "worst pair against work: " + ", ".join(points)


def pass_lines(passes: Result) -> Iterator[str]:
    """Say how many rounds of jacking there are, in how many days, and whether the jacks are strong enough."""
    steps = [step for each in passes["passes"] for group in each["groups"] for step in group]
    if not steps:
        yield "nothing is jacked"
        return
    hardest = max(steps, key=lambda step: step["jack_lb"])
    weak = sorted({step["label"] for step in steps if not step["jack_ok"]})
    yield (
        f"jacking: {_count(len(passes['passes']), 'pass', 'passes')} in {_count(passes['days'], 'day', 'days')}; "
        f"hardest jack {hardest['jack_lb']:,.0f} lb at {hardest['label']}, "
        + (f"too weak at {_some(weak)}" if weak else "every jack strong enough")
    )
    for stop in passes["stops"]:
        yield f"stop: {stop['text']}"


def support_lines(supports: Result, names: Names) -> Iterator[str]:
    """Say which supports are beyond a limit, by what, and where an engineer decides."""
    rows = _labelled(supports["supports"], names)
    for verdict, words in (("over", "beyond a limit"), ("engineer", "an engineer decides"), ("unknown", "not known")):
        by_check: dict[str, list[str]] = {}
        for each in rows:
            for check in each["checks"]:
                if check["verdict"] == verdict:
                    by_check.setdefault(check["what"], []).append(each["label"])
        if by_check:
            yield f"supports, {words}: " + "; ".join(
                f"{what.replace('_', ' ')} at {_some(labels)}" for what, labels in by_check.items()
            )
    if all(each["verdict"] == "ok" for each in rows):
        yield "supports: all within their limits"


def drain_lines(drains: Result, names: Names) -> Iterator[str]:
    """Say how each stretch of a drain falls before and after, in inches to the foot, and which is too flat."""
    for run in _labelled(drains["runs"], names):
        stretches = [
            f"{part['from_ft']:g} to {part['to_ft']:g} ft {part['slope_before_in_per_ft']:.2f} -> "
            f"{part['slope_after_in_per_ft']:.2f}" + ("" if part["verdict"] == "ok" else f" {part['verdict']}")
            for part in run["segments"]
        ]
        wanted = max(part["required_in_per_ft"] for part in run["segments"])
        yield f"drain {run['label']} falls, in to the foot ({wanted:.2f} wanted): " + ", ".join(stretches)


def spacing_lines(spacing: Result) -> Iterator[str]:
    """Say whether the straps of each side stand close enough, before and after."""
    for side in spacing["sides"]:
        bad = [check for check in side["checks"] if check["verdict"] in ("over", "engineer")]
        needed = [str(each) if each is not None else "?" for each in (side["needed_before"], side["needed_after"])]
        yield (
            f"straps, {side['code']} side: {side['there']} there, {' -> '.join(needed)} needed; "
            + ("; ".join(dict.fromkeys(_check_words(check) for check in bad)) if bad else "close enough")
        )


def tension_lines(tension: Result, names: Names) -> Iterator[str]:
    """Say what the measured straps carry now."""
    told = [
        f"{names(each['code'])} "
        + (f"{each['tension_lb']:.0f} ± {each['sd_lb']:.0f} lb" if each["tension_lb"] is not None else "too slack")
        for each in tension["readings"]
    ]
    yield "straps carry now: " + ", ".join(told)


def step_line(steps_done: int, steps: int) -> str:
    """Say how far the work is."""
    return f"{steps_done} of {steps} steps done"


def _check_words(check: Result) -> str:
    verdict = "too far apart" if check["what"].startswith("spacing") else "beyond its limit"
    return f"{check['what'].replace('_', ' ')}: " + (
        "an engineer decides" if check["verdict"] == "engineer" else verdict
    )


def _labelled(rows: Iterable[Result], names: Names) -> list[dict[str, Any]]:
    """Return rows with a label: a plan's checks bring theirs, an answer by itself goes by keys."""
    return [{**each, "label": each.get("label") or names(each["code"])} for each in rows]


def _some(labels: Sequence[str]) -> str:
    named = ", ".join(labels[:MOST_NAMED])
    return named if len(labels) <= MOST_NAMED else f"{named} and {len(labels) - MOST_NAMED} more"


def _count(number: int, one: str, more: str) -> str:
    return f"{number} {one if number == 1 else more}"
