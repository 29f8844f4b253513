"""What a plan asks for at each support and each strap: stacks with their parts, and straps before and after."""

from dataclasses import dataclass
from itertools import groupby

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs import codec
from calcs.engine.lift import LiftMove
from calcs.engine.stacks import DEFAULT_PARTS, DEFAULT_RULES, StackPart, StackResult, StacksInput, StacksResult
from calcs.engine.stacks import StackSupport as AskedStack
from calcs.engine.straps import StrapResult, StrapsResult
from calcs.models import Calculation
from calcs.stack_drawings import Course, Look, StackPicture
from calcs.survey_page.record import Record, result_of
from jobs.models import Condition, Support
from jobs.part_words import TIMES, part_words

_TIER_WORDS: dict[str, Promise] = {
    "single": gettext_lazy("single stack"),
    "double": gettext_lazy("double stack, courses crossed in turn"),
    "engineer": gettext_lazy("too high: an engineer decides"),
}
_HANDLING_WORDS: dict[str, Promise] = {
    "loosen_first": gettext_lazy("loosen before lifting"),
    "retension": gettext_lazy("tighten again afterwards"),
    "leave": gettext_lazy("leave"),
}
_TENSION_WORDS: dict[str, Promise] = {
    "over_ultimate": gettext_lazy("more than it holds"),
    "over_working": gettext_lazy("more than it may carry"),
    "within_working": gettext_lazy("within its working load"),
}
_ANGLE_WORDS: dict[str, Promise] = {
    "ok": gettext_lazy("ok"),
    "flag": gettext_lazy("outside the usual angles"),
    "fail": gettext_lazy("outside the angles that the table covers"),
}
_LOOKS: dict[str, Look] = {"hollow": "hollow", "cap": "solid", "solid": "solid", "plate": "wood", "wood": "wood"}
_LEAST_TURNS = 0.05  # less shows as none
_LEAST_SHIM_IN, _MOST_SHIM_IN = DEFAULT_RULES.shim_least_in, DEFAULT_RULES.shim_most_in


@dataclass(frozen=True, slots=True, kw_only=True)
class StackView:
    """What is to be built at one support, in words and to scale."""

    words: str
    remove: str
    add: str
    tier: str
    lb: str
    warnings: tuple[str, ...]
    picture: StackPicture | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """A part to load; ``part`` is its code."""

    part: str
    words: str
    count: int
    lb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapRow:
    """One strap before and after."""

    code: str
    point: str
    handling: str
    is_loosened: bool
    slack_needed: str
    tension_lb: str
    tension_state: str
    tension: str
    angle: str
    turns: str
    wraps: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapRemark:
    """Something to know of some straps, said once."""

    text: str
    straps: str


# -- stacks --------------------------------------------------------------------------------------------------


def stack_views(record: Record, calculation: Calculation | None, moves: dict[str, LiftMove]) -> dict[str, StackView]:
    """Return what is to be built, by support."""
    result = result_of(calculation, StacksResult)
    if result is None or calculation is None:
        return {}
    asked = codec.decode(calculation.input, StacksInput)
    parts = {part.code: part for part in asked.parts or DEFAULT_PARTS}
    return {
        stack.code: _stack_view(record, support, stack, parts, moves.get(stack.code))
        for support, stack in zip(asked.supports, result.supports, strict=True)
    }


def _stack_view(
    record: Record, asked: AskedStack, stack: StackResult, parts: dict[str, StackPart], move: LiftMove | None
) -> StackView:
    warnings = tuple(record.sentence(warning.text) for warning in stack.warnings)
    if stack.status == "no_stack":
        return StackView(
            words=_("No stack fits this height."), remove="", add="", tier="", lb="", warnings=warnings, picture=None
        )
    shim = record.length(stack.shim_in or 0.0)
    changes = stack.removed or stack.added
    return StackView(
        words=courses_words(stack.stack, shim),
        remove=courses_words(stack.removed, "") if changes else "",
        add=courses_words(stack.added, "") if changes else "",
        tier=str(_TIER_WORDS[stack.tier]) if stack.tier else "",
        lb=_("{lb} lb").format(lb=f"{stack.lb:.0f}") if stack.lb is not None else "",
        warnings=warnings,
        picture=_picture(record, asked, stack, parts, move),
    )


def found_words(support: Support | None) -> str:
    """Say how a support was found, with what was noted of it; nothing where all was well and nothing noted."""
    if support is None:
        return ""
    is_broken = support.condition in (Condition.FIX, Condition.STOP)
    return ": ".join(filter(None, (support.get_condition_display() if is_broken else "", support.note)))


def courses_words(courses: tuple[str, ...], shim: str) -> str:
    """Say courses from the top down, equal ones together: shims 5/8 in, 2-by plate, 4 in cap, block and how often."""
    words = []
    for code, run in groupby(courses):
        count = len(list(run))
        if code == "shims":
            words.append(_("shims {height}").format(height=shim) if shim else part_words(code))
        else:
            words.append(part_words(code) if count == 1 else f"{part_words(code)} {TIMES} {count}")
    return ", ".join(words)


def _picture(
    record: Record, asked: AskedStack, stack: StackResult, parts: dict[str, StackPart], move: LiftMove | None
) -> StackPicture:
    pieces = 1 if stack.tier == "single" else 2
    after = _pictured(stack.stack, stack.shim_in or 0.0, parts, changed=len(stack.added), pieces=pieces)
    now: tuple[Course, ...] = ()
    if asked.current and all(code == "shims" or code in parts for code in asked.current):
        # The recorded height reaches over any gap; the parts and the shims fill it less the gap.
        gap_in = move.support_change_in - move.move_in if move else 0.0
        room_in = asked.height_in - (move.move_in if move else 0.0) - max(gap_in, 0.0)
        built_in = sum(parts[code].height_in for code in asked.current if code != "shims")
        shim_in = min(max(room_in - built_in, _LEAST_SHIM_IN), _MOST_SHIM_IN)
        now_pieces = 1 if asked.current_tier in (None, "single") else 2
        now = _pictured(asked.current, shim_in, parts, changed=len(stack.removed), pieces=now_pieces)
    title = _("Support {label}").format(label=record.name(asked.code))
    return StackPicture(title=title, now=now, after=after, unit=record.unit)


def _pictured(
    courses: tuple[str, ...], shim_in: float, parts: dict[str, StackPart], *, changed: int, pieces: int
) -> tuple[Course, ...]:
    """Turn courses into what is drawn; ``changed`` counts from the top, shims not counted and always set anew."""
    drawn, seen = [], 0
    for code in courses:
        if code == "shims":
            drawn.append(Course(name=part_words(code), height_in=shim_in, look="shims", is_changed=True))
            continue
        part = parts[code]
        look = _LOOKS[part.role]
        drawn.append(
            Course(
                name=part_words(code),
                height_in=part.height_in,
                look=look,
                is_changed=seen < changed,
                pieces=pieces if look != "wood" else 1,
            )
        )
        seen += 1
    return tuple(drawn)


def part_rows(calculation: Calculation | None) -> tuple[PartRow, ...]:
    """Return what to load, with its weight."""
    result = result_of(calculation, StacksResult)
    if result is None or calculation is None:
        return ()
    asked = codec.decode(calculation.input, StacksInput)
    lb = {part.code: part.lb for part in asked.parts or DEFAULT_PARTS}
    lb["shims"] = (asked.rules or DEFAULT_RULES).shims_lb
    return tuple(
        PartRow(part=code, words=part_words(code), count=count, lb=count * lb.get(code, 0.0))
        for code, count in result.totals.items()
        if count
    )


# -- straps --------------------------------------------------------------------------------------------------


def strap_rows(record: Record, calculation: Calculation | None) -> tuple[StrapRow, ...]:
    """Return the straps, those to loosen first."""
    result = result_of(calculation, StrapsResult)
    if result is None:
        return ()
    order = {"loosen_first": 0, "retension": 1, "leave": 2}
    straps = sorted(result.straps, key=lambda strap: (order[strap.handling], record.name(strap.code)))
    return tuple(_strap_row(record, strap) for strap in straps)


def _strap_row(record: Record, strap: StrapResult) -> StrapRow:
    row = record.straps.get(strap.code)
    angle = _("{before}° now, {after}° after").format(
        before=f"{strap.angle_before_deg:.0f}", after=f"{strap.angle_after_deg:.0f}"
    )
    if strap.angle_verdict != "ok":
        angle = f"{angle}, {_ANGLE_WORDS[strap.angle_verdict]}"
    return StrapRow(
        code=record.name(strap.code),
        point=record.name(str(row.point_id)) if row else "",
        handling=str(_HANDLING_WORDS[strap.handling]),
        is_loosened=strap.handling == "loosen_first",
        slack_needed=record.length(strap.slack_needed_in) if strap.slack_needed_in else "",
        tension_lb=_tension_words(strap),
        tension_state=strap.tension_state,
        tension=str(_TENSION_WORDS[strap.tension_state]),
        angle=angle,
        turns=f"{strap.bolt_turns:.1f}" if strap.bolt_turns >= _LEAST_TURNS else "",
        wraps="" if strap.wraps_after is None else f"{strap.wraps_after:.1f}",
    )


def _tension_words(strap: StrapResult) -> str:
    """Say what a strap would carry; where its tension now is not known, how much more than now."""
    lb = f"{strap.tension_if_tight_lb:,.0f}"
    if all(warning.code != "tension_unknown" for warning in strap.warnings):
        return _("{lb} lb").format(lb=lb)
    return _("{lb} lb more than now").format(lb=lb) if strap.tension_if_tight_lb else _("no more than now")


def strap_remarks(record: Record, calculation: Calculation | None) -> tuple[StrapRemark, ...]:
    """Return what the engine remarks on straps, each remark once with the straps that it is about."""
    result = result_of(calculation, StrapsResult)
    about: dict[str, list[str]] = {}
    for strap in result.straps if result else ():
        for warning in strap.warnings:
            about.setdefault(record.sentence(warning.text), []).append(record.name(strap.code))
    return tuple(StrapRemark(text=text, straps=", ".join(sorted(names))) for text, names in about.items())
