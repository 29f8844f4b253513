"""What the stacks module promises, against every stack there is, written out and ranked another way."""

import dataclasses
import itertools
import math
import re
import time
from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from calcs.engine.stacks import (
    DEFAULT_PARTS,
    StackPart,
    StackResult,
    StackRules,
    StacksInput,
    StackSupport,
    solve_stacks,
)
from tests.calcs.engine.strategies_stacks import supports

LETTERS = {"shims": "S", "plate_2x": "P", "plate_1x": "p", "cap": "C", "cap_2in": "c", "block": "B"}
HEIGHTS_IN = {"P": 1.5, "p": 0.75, "C": 3.625, "c": 1.625, "B": 7.625}
# One pair of shims; wood with a 2x; solid masonry, or solid masonry ending in a cap on blocks; two of each solid.
LEGAL = re.compile(r"(?=[^C]*(C[^C]*){0,2}$)(?=[^c]*(c[^c]*){0,2}$)Sp*P[Pp]*([Cc]*CB+|[Cc]*)")


def found(**changes: Any) -> StackSupport:
    return StackSupport(**({"code": "A1", "height_in": 26.0} | changes))


def solve_one(support: StackSupport, **options: Any) -> StackResult:
    return solve_stacks(StacksInput(supports=(support,), **options)).supports[0]


def codes(result: StackResult) -> list[str]:
    return [warning.code for warning in result.warnings]


def spell(courses: tuple[str, ...]) -> str:
    return "".join(LETTERS[code] for code in courses)


@cache
def legal_stacks() -> list[tuple[str, float, float]]:
    """Every legal stack up to 76 in, spelled from the top down, with its height and its plates."""
    woods = {"".join(w) for n in range(1, 6) for w in itertools.product("Pp", repeat=n)}
    solids = {"".join(s) for n in range(5) for s in itertools.product("Cc", repeat=n)}
    spelled = (f"S{w}{s}{'B' * b}" for w, s, b in itertools.product(sorted(woods), sorted(solids), range(10)))
    measured = (
        (word, sum(HEIGHTS_IN[x] for x in word[1:]), sum(HEIGHTS_IN[x] for x in word if x in "Pp"))
        for word in spelled
        if LEGAL.fullmatch(word)
    )
    return [row for row in measured if row[2] + 0.25 <= 4 and row[1] <= 76]


def tier_of(support: StackSupport, word: str, height_in: float) -> str:
    if height_in > 67:
        return "engineer"
    if support.kind == "frame":
        return "double" if height_in >= 36 or (support.corner and word.count("B") > 3) else "single"
    return "double" if height_in > 54 else "single"


def rank(support: StackSupport, word: str, height_in: float, plates_in: float) -> tuple[float, ...]:
    """Order of preference of one legal stack: courses off and on, wood, courses, shims off 5/8."""
    now = re.sub("^S", "", spell(support.current or ()))
    same = 0
    if support.current_tier in (None, tier_of(support, word, height_in)):
        limit = len(now) if support.keep_courses is None else support.keep_courses
        pairs = itertools.islice(zip(reversed(now), reversed(word), strict=False), limit)
        same = sum(1 for _ in itertools.takewhile(lambda pair: pair[0] == pair[1], pairs))
    off = len(now.replace("S", "")) - same
    shim_in = support.height_in - height_in
    return (off + len(word) - 1 - same, plates_in + shim_in, len(word), abs(shim_in - 0.625))


@given(supports())
def test_no_legal_stack_is_better(support: StackSupport) -> None:
    result = solve_one(support)
    fitting = [
        rank(support, word, height_in, plates_in)
        for word, height_in, plates_in in legal_stacks()
        if 0.25 <= support.height_in - height_in <= 1 and plates_in + support.height_in - height_in <= 4
    ]

    assert result.status == "ok"
    chosen = spell(result.stack)
    height_in = sum(HEIGHTS_IN[x] for x in chosen[1:])
    plates_in = sum(HEIGHTS_IN[x] for x in chosen if x in "Pp")
    assert rank(support, chosen, height_in, plates_in) == pytest.approx(min(fitting), abs=1e-9)
    assert result.tier == tier_of(support, chosen, height_in)


@given(supports())
def test_a_stack_is_legal_and_as_high_as_asked(support: StackSupport) -> None:
    result = solve_one(support)
    word = spell(result.stack)

    assert result.shim_in is not None
    assert result.wood_in is not None
    assert LEGAL.fullmatch(word)
    assert math.fsum(HEIGHTS_IN[x] for x in word[1:]) + result.shim_in == pytest.approx(support.height_in, abs=1e-9)
    assert 0.25 - 1e-9 <= result.shim_in <= 1 + 1e-9
    assert result.wood_in <= 4 + 1e-9
    assert result.wood_in == pytest.approx(sum(HEIGHTS_IN[x] for x in word if x in "Pp") + result.shim_in, abs=1e-9)


@given(supports())
def test_taking_off_removed_and_laying_added_gives_the_stack(support: StackSupport) -> None:
    result = solve_one(support)
    now = tuple(code for code in support.current or () if code != "shims")

    assert now[: len(result.removed)] == result.removed
    assert ("shims", *result.added, *now[len(result.removed) :]) == result.stack


@given(supports(), st.data())
def test_more_sound_courses_never_mean_more_handling(support: StackSupport, data: st.DataObject) -> None:
    courses = len(support.current or ()) - ((support.current or ())[:1] == ("shims",))
    fewer = data.draw(st.integers(0, courses))
    more = data.draw(st.integers(fewer, courses))

    def handled(keep_courses: int) -> int:
        result = solve_one(dataclasses.replace(support, keep_courses=keep_courses))
        return len(result.removed) + len(result.added)

    assert handled(more) <= handled(fewer)


@given(supports())
def test_a_stack_that_was_just_built_is_left_alone(support: StackSupport) -> None:
    built = solve_one(support)
    again = solve_one(dataclasses.replace(support, current=built.stack, current_tier=built.tier, keep_courses=None))

    assert (again.removed, again.added, again.stack) == ((), (), built.stack)


@given(st.lists(supports(), max_size=5))
def test_totals_are_what_is_added_and_one_pair_of_shims_each(several: list[StackSupport]) -> None:
    named = tuple(dataclasses.replace(each, code=f"A{index}") for index, each in enumerate(several))
    solved = solve_stacks(StacksInput(supports=named))
    pieces = [code for result in solved.supports for code in result.added * (1 if result.tier == "single" else 2)]

    assert solved.totals == {code: pieces.count(code) for code in pieces} | ({"shims": len(named)} if named else {})


def test_the_order_of_preference_on_a_stack_worked_by_hand() -> None:
    """22 in stand there, 26 are wanted: a cap above the thin cap (3-5/8) leaves 3/8 in of shims, three handled."""
    result = solve_one(found(current=("shims", "plate_2x", "cap_2in", "cap", "block", "block")))

    assert result == StackResult(
        code="A1",
        status="ok",
        stack=("shims", "plate_2x", "cap", "cap_2in", "cap", "block", "block"),
        shim_in=0.375,
        height_in=26.0,
        wood_in=1.875,
        tier="single",
        removed=("plate_2x",),
        added=("plate_2x", "cap"),
        lb=pytest.approx(4.2 + 33 + 15 + 33 + 36 + 36 + 0.6),
        warnings=(),
    )


def test_a_double_stack_weighs_two_pieces_a_course_and_one_pair_of_shims() -> None:
    result = solve_one(found(height_in=40.0))
    weights_lb = {part.code: part.lb for part in DEFAULT_PARTS}

    assert result.tier == "double"
    assert result.lb == pytest.approx(2 * sum(weights_lb[code] for code in result.stack[1:]) + 0.6)


def test_another_tier_is_built_anew() -> None:
    current = ("shims", "plate_2x", "cap", *["block"] * 4)
    single = solve_one(found(height_in=36.25, current=current, current_tier="single"))
    double = solve_one(found(height_in=40.25, current=current, current_tier="single"))

    assert (single.tier, single.removed, single.added) == ("single", (), ())
    assert (double.tier, double.removed) == ("double", current[1:])
    assert double.added == double.stack[1:]


def test_courses_above_the_sound_ones_are_renewed_even_where_the_same_part_comes_again() -> None:
    current = ("shims", "plate_2x", "cap", "block", "block")
    result = solve_one(found(height_in=21.0, current=current, keep_courses=1))

    assert result.stack == current
    assert result.removed == result.added == ("plate_2x", "cap", "block")


def test_sound_courses_that_are_too_high_come_off_with_a_warning() -> None:
    current = ("shims", "plate_2x", "cap", "block", "block", "block")
    result = solve_one(found(height_in=20.0, current=current, keep_courses=4))

    assert "keep_less" in codes(result)
    assert "keep_less" not in codes(solve_one(found(height_in=28.5, current=current, keep_courses=4)))


@pytest.mark.parametrize(
    ("changes", "warnings"),
    [
        ({}, []),
        ({"height_in": 6.0}, ["short_stack"]),
        ({"height_in": 6.0, "kind": "perimeter"}, []),
        ({"height_in": 70.0}, ["engineer"]),
        ({"height_in": 14.375}, ["wood_high"]),
        ({"height_in": 42.0, "current": ("plate_2x", "cap", *["block"] * 4)}, ["tier_unknown"]),
    ],
)
def test_warnings(changes: dict[str, Any], warnings: list[str]) -> None:
    assert codes(solve_one(found(**changes))) == warnings


def test_no_stack_says_which_heights_are_nearest() -> None:
    """The lowest stack is a 2x plate and the thinnest shims; without thin parts there are gaps higher up as well."""
    low = solve_one(found(height_in=1.5))
    few = tuple(part for part in DEFAULT_PARTS if part.code in ("block", "cap", "plate_2x"))
    gap = solve_one(found(height_in=8.5), parts=few)

    assert (low.status, low.stack, low.tier, low.lb, low.height_in) == ("no_stack", (), None, None, None)
    assert low.warnings[0].text == "No stack of these parts is 1\u20091/2 in high; nearest: 1\u20093/4 in."
    # One cap, two plates and the most wood end at 7-5/8; two caps, a plate and the thinnest shims start at 9.
    assert gap.warnings[0].text.endswith("nearest: 7\u20095/8 in and 9 in.")


def test_cautions_come_with_the_work_they_belong_to() -> None:
    def caution_codes(**changes: Any) -> list[str]:
        return [caution.code for caution in solve_stacks(StacksInput(supports=(found(**changes),))).cautions]

    assert caution_codes(height_in=1.5) == []
    assert caution_codes(height_in=6.0) == ["block_load", "shim_pairs"]
    assert caution_codes() == ["block_load", "cells_up", "shim_pairs"]
    assert caution_codes(height_in=40.0) == ["block_load", "cross_courses", "cells_up", "shim_pairs"]
    assert caution_codes(height_in=80.0) == ["engineer", "block_load", "cells_up", "shim_pairs"]


def test_own_rules_are_named_in_the_sources() -> None:
    solved = solve_stacks(StacksInput(supports=(found(),), rules=StackRules(wood_most_in=3.5)))

    assert "wood_most_in 3.5: given with the document" in solved.sources
    assert "a pair of shims at most 1 in: 24 CFR 3285.304" in solved.sources


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"height_in": 0.0}, "supports[0].height_in"),
        ({"height_in": 240.1}, "supports[0].height_in"),
        ({"height_in": math.nan}, "supports[0].height_in"),
        ({"height_in": math.inf}, "supports[0].height_in"),
        ({"code": ""}, "supports[0].code"),
        ({"current": ("shims", "brick")}, "supports[0].current[1]"),
        ({"current": ("shims", "cap"), "keep_courses": 2}, "supports[0].keep_courses"),
        ({"keep_courses": 1}, "supports[0].keep_courses"),
        ({"current": ("cap",), "keep_courses": -1}, "supports[0].keep_courses"),
    ],
)
def test_wrong_supports_are_refused_by_field(changes: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_one(found(**changes))

    assert caught.value.field == field


def part(**changes: Any) -> StackPart:
    return StackPart(**({"code": "new", "height_in": 2.0, "lb": 10.0, "role": "wood"} | changes))


@pytest.mark.parametrize(
    ("parts", "field"),
    [
        ((), "parts"),
        (DEFAULT_PARTS[1:], "parts"),
        ((*DEFAULT_PARTS, part(role="hollow")), "parts"),
        (DEFAULT_PARTS[:1] + DEFAULT_PARTS[2:], "parts"),
        (DEFAULT_PARTS[:3], "parts"),
        ((*DEFAULT_PARTS, part(code="cap")), "parts[5].code"),
        ((*DEFAULT_PARTS, part(code="shims")), "parts[5].code"),
        ((*DEFAULT_PARTS, part(height_in=0.0)), "parts[5].height_in"),
        ((*DEFAULT_PARTS, part(lb=-1.0)), "parts[5].lb"),
        ((*DEFAULT_PARTS, part(at_most=0)), "parts[5].at_most"),
        ((*DEFAULT_PARTS, part(role="solid")), "parts[5].at_most"),
        ((*DEFAULT_PARTS, part(role="solid", at_most=7)), "parts[5].at_most"),
        ((part(code="block", role="hollow", at_most=2), *DEFAULT_PARTS[1:]), "parts[0].at_most"),
        ((*DEFAULT_PARTS, *(part(code=f"s{n}", role="solid", at_most=6) for n in range(9))), "parts"),
        ((*DEFAULT_PARTS, *(part(code=f"w{n}", height_in=0.25) for n in range(9))), "parts"),
    ],
)
def test_wrong_parts_are_refused_by_field(parts: tuple[StackPart, ...], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_one(found(), parts=parts)

    assert caught.value.field == field


@pytest.mark.parametrize(
    "rules",
    [
        {"shim_least_in": 0.0},
        {"shim_most_in": 0.2},
        {"shim_best_in": 1.1},
        {"shims_lb": -1.0},
        {"wood_most_in": 0.0},
        {"wood_high_in": math.nan},
        {"double_to_in": 0.0},
        {"frame_single_under_in": 68.0},
        {"other_single_to_in": -1.0},
        {"corner_single_blocks": -1},
        {"clearance_in": -1.0},
    ],
)
def test_wrong_rules_are_refused_by_field(rules: dict[str, float]) -> None:
    with pytest.raises(InvalidInput) as caught:
        solve_one(found(), rules=StackRules(**rules))

    assert caught.value.field == f"rules.{next(iter(rules))}"


def test_sixty_supports_take_well_under_a_second() -> None:
    current = ("shims", "plate_2x", "cap_2in", "cap", "block", "block")
    sixty = tuple(found(code=f"A{n}", height_in=14 + n * 0.7, current=current) for n in range(60))
    started = time.perf_counter()
    solve_stacks(StacksInput(supports=sixty))

    assert time.perf_counter() - started < 0.5


RULES = [field.name for field in dataclasses.fields(StackRules)]


@given(st.floats(), st.dictionaries(st.sampled_from(RULES), st.floats(), max_size=3))
def test_any_number_is_refused_or_answered_in_finite_numbers(height_in: float, rules: dict[str, float]) -> None:
    """Called directly, past the codec: NaN, infinity and the ends of the float range included."""
    try:
        result = solve_one(found(height_in=height_in), rules=StackRules(**rules))
    except InvalidInput:
        return
    assert all(math.isfinite(value) for value in dataclasses.astuple(result) if isinstance(value, float))
