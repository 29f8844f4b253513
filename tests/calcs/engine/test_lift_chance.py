"""How sure a plan is: against closed forms of the normal law and against other draws.

The share of 10,000 draws strays from the chance by half a percent at the most, one standard deviation; four of them
are allowed.
"""

from dataclasses import replace
from itertools import combinations
from math import inf, nan, sqrt
from random import Random
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from calcs.engine.lift import LiftInput, LiftNeighbours, LiftOption, solve_lift
from tests.calcs.engine.lift_chances import STRAY, apart, as_table, chance, doubtful_lift, inside, lift, only, support
from tests.calcs.engine.strategies_lift import home

SOME = settings(max_examples=25, deadline=None)


@pytest.mark.parametrize("height_in", [0.0, -0.125, -0.25])
@pytest.mark.parametrize("sd_in", [0.02, 0.1, 0.3])
def test_chance_of_one_pair_is_the_normal_law_s(height_in: float, sd_in: float) -> None:
    document = lift(support("A1", 0), support("A2", height_in), covariance_in2=apart(sd_in, sd_in / 2))
    expected = inside(height_in, sqrt(1.25) * sd_in)
    assert chance(document) == pytest.approx(expected, abs=STRAY)


def test_chance_of_pairs_that_share_nothing_is_the_product() -> None:
    document = lift(
        *(support(f"A{n}", height_in) for n, height_in in enumerate((0, -0.125, 3, 3.1875), start=1)),
        pairs=("A1 A2", "A3 A4"),
        covariance_in2=apart(0.1, 0.05, 0.08, 0.02),
    )
    expected = inside(-0.125, sqrt(0.0125)) * inside(0.1875, sqrt(0.0068))
    assert chance(document) == pytest.approx(expected, abs=STRAY)


def test_chance_counts_what_two_heights_have_in_common() -> None:
    together = ((0.01, 0.0096), (0.0096, 0.01))
    document = lift(support("A1", 0), support("A2", -0.1875), covariance_in2=together)
    assert chance(document) == pytest.approx(inside(-0.1875, sqrt(0.0008)), abs=STRAY)


@pytest.mark.parametrize("raised_in", [0.0, 0.5])
def test_chance_counts_seating_only_where_a_support_is_changed(raised_in: float) -> None:
    document = lift(
        support("A1", 0),
        support("A2", -0.125 - raised_in),
        target_in=0.125,
        seating_sd_in=0.2,
        covariance_in2=apart(0.06, 0.08),
    )
    option = only(solve_lift(document))
    assert [move.move_in for move in option.moves] == [0.0, raised_in]
    seated = sqrt(0.1**2 + (0.2**2 if raised_in else 0.0))
    assert option.chance_within == pytest.approx(inside(-0.125, seated), abs=STRAY)


def test_chance_counts_a_gap_that_is_closed_as_a_change() -> None:
    document = lift(support("A1", 0, gap_in=0.1), support("A2", -0.125), seating_sd_in=0.2)
    document = replace(document, covariance_in2=apart(0.0, 0.0))
    assert chance(document) == pytest.approx(inside(-0.125, 0.2), abs=STRAY)
    assert chance(replace(document, gap_leave_in=0.1)) == 1.0


def test_chance_is_of_each_pair_s_own_tolerance_not_of_what_an_option_aims_at() -> None:
    document = lift(support("A1", 0), support("A2", -0.5), target_in=0.0625, covariance_in2=apart(0.1, 0.1))
    document = replace(document, neighbours=(LiftNeighbours(a="A1", b="A2", tolerance_in=0.125),))
    document = replace(document, options=("least_work", "flattest"))
    for option in solve_lift(document).options:
        assert option.worst_pair is not None
        expected = inside(option.worst_pair.difference_in, sqrt(0.02), 0.125)
        assert option.chance_within == pytest.approx(expected, abs=STRAY)


def test_chance_holds_the_band_too() -> None:
    document = lift(support("A1", 0), support("A2", 0.25), pairs=(), covariance_in2=apart(0.1, 0.0))
    assert chance(document) == 1.0  # nothing is compared
    expected = NormalDist(0.25, 0.1).cdf(0.375) - NormalDist(0.25, 0.1).cdf(-0.375)
    assert chance(replace(document, band_in=0.375)) == pytest.approx(expected, abs=STRAY)


def test_chance_of_heights_without_doubt_is_one_or_nothing() -> None:
    document = lift(support("A1", 0), support("A2", -0.25), covariance_in2=apart(0.0, 0.0))
    assert chance(document) == 1.0
    budget = replace(document, options=("within_budget",), budget_min=0.0)
    budget = replace(budget, supports=(support("A1", 0), support("A2", -0.5)))
    assert chance(budget) == 0.0  # nothing may be done, the pair stays 1/2 in apart


def test_chance_of_a_free_network_is_that_of_its_differences() -> None:
    """Heights that sum to zero have no inverse covariance; a shift of all of them changes no chance."""
    random = np.random.default_rng(7)
    errors = random.normal(0, 0.05, (6, 6))
    full = errors @ errors.T
    centre = np.eye(6) - 1 / 6
    free = centre @ full @ centre
    assert np.linalg.matrix_rank(free) == 5
    supports = [support(f"A{n}", height_in) for n, height_in in enumerate(random.uniform(-0.1, 0.1, 6))]
    pairs = [f"{a.code} {b.code}" for a, b in combinations(supports, 2)]
    held, loose = (
        chance(lift(*supports, pairs=pairs, covariance_in2=as_table(c))) for c in (full, (free + free.T) / 2)
    )
    assert held == pytest.approx(loose, abs=STRAY * sqrt(2))
    assert 0.1 < held < 0.9


def other_draws(document: LiftInput, option: LiftOption, draws: int, seed: int) -> float:
    """The chance by draws of the standard library's, a plan's heights one after the other."""
    random = Random(seed)  # noqa: S311 - draws, not secrets
    root = np.linalg.cholesky(np.array(document.covariance_in2)).tolist()
    at = {s.code: place for place, s in enumerate(document.supports)}
    offsets = [s.design_offset_in for s in document.supports]
    kept = 0
    for _ in range(draws):
        unit = [random.gauss(0, 1) for _ in root]
        ends = []
        for move, row, offset in zip(option.moves, root, offsets, strict=True):
            error = sum(part * z for part, z in zip(row, unit, strict=True))
            seat = random.gauss(0, document.seating_sd_in) if abs(move.support_change_in) > 1e-6 else 0.0
            ends.append(move.to_in - offset + error + seat)
        good = all(
            abs(ends[at[pair.a]] - ends[at[pair.b]])
            <= (document.tolerance_in if pair.tolerance_in is None else pair.tolerance_in) + 1e-6
            for pair in document.neighbours
        )
        kept += good and (document.band_in is None or max(ends) - min(ends) <= document.band_in + 1e-6)
    return kept / draws


def uneven_home() -> LiftInput:
    random = np.random.default_rng(3)
    document = home(12, seed=3, on_grid=False, band_in=1.0, target_in=0.125)
    rough = random.normal(0, 0.02, (12, 12)) / sqrt(12) * 3
    return replace(
        document,
        options=("least_work", "raise_only", "flattest"),
        covariance_in2=as_table(rough @ rough.T + 1e-4 * np.eye(12)),
        seating_sd_in=0.03,
        explain=False,
    )


def test_chance_agrees_with_more_draws_made_otherwise() -> None:
    document = uneven_home()
    seen = []
    for option in solve_lift(document).options:
        if option.minutes is None:
            continue
        assert option.chance_within is not None
        seen.append(option.chance_within)
        assert option.chance_within == pytest.approx(other_draws(document, option, 20_000, 1), abs=STRAY * sqrt(1.5))
    assert len(seen) >= 2
    assert any(0.05 < found < 0.95 for found in seen)


def test_chance_is_the_same_for_the_same_seed_only() -> None:
    document = uneven_home()
    first, again, other = (solve_lift(replace(document, seed=seed)) for seed in (5, 5, 6))
    assert first == again
    assert [o.moves for o in first.options] == [o.moves for o in other.options]
    assert [o.chance_within for o in first.options] != [o.chance_within for o in other.options]


def test_chance_is_null_without_a_covariance_and_without_a_plan() -> None:
    plain = lift(support("A1", 0), support("A2", -0.5), seating_sd_in=0.1)
    assert only(solve_lift(plain)).chance_within is None
    stuck = replace(plain, supports=(support("A1", 0), support("A2", -0.5, max_raise_in=0)))
    option = only(solve_lift(replace(stuck, covariance_in2=apart(0.1, 0.1))))
    assert (option.status, option.chance_within) == ("impossible", None)


@SOME
@given(st.randoms(use_true_random=False))
def test_chance_falls_as_heights_and_seats_are_known_less_well(random: Random) -> None:
    document = doubtful_lift(random)
    assert document.covariance_in2 is not None
    assume(only(solve_lift(document)).minutes is not None)
    wider = as_table(4 * np.array(document.covariance_in2))
    before = chance(document)
    assert chance(replace(document, covariance_in2=wider, seating_sd_in=2 * document.seating_sd_in)) <= before


# -- what is refused -----------------------------------------------------------------------------------------


GOOD = lift(support("A1", 0), support("A2", -0.5), covariance_in2=apart(0.1, 0.1))


@pytest.mark.parametrize(
    ("changes", "field", "says"),
    [
        ({"covariance_in2": ()}, "covariance_in2", "must have 2 rows of 2, one for each support"),
        ({"covariance_in2": ((1.0,), (0.0, 1.0))}, "covariance_in2", "must have 2 rows of 2"),
        ({"covariance_in2": ((1.0, nan), (nan, 1.0))}, "covariance_in2[0][1]", "must be a number up to"),
        ({"covariance_in2": ((1.0, 0.0), (0.0, inf))}, "covariance_in2[1][1]", "must be a number up to"),
        ({"covariance_in2": ((1.0, 0.5), (0.4, 1.0))}, "covariance_in2[0][1]", "differs from the number across"),
        ({"covariance_in2": ((-1.0, 0.0), (0.0, 1.0))}, "covariance_in2", "gives a negative variance"),
        ({"covariance_in2": ((1.0, 1.01), (1.01, 1.0))}, "covariance_in2", "gives a negative variance"),
        ({"seating_sd_in": -0.01}, "seating_sd_in", "must be from 0 to"),
        ({"seating_sd_in": nan}, "seating_sd_in", "must be from 0 to"),
        ({"sure": 0.49}, "sure", "must be from 0.5 to 0.999"),
        ({"sure": 1.0}, "sure", "must be from 0.5 to 0.999"),
        ({"seed": -1}, "seed", "must be from 0 to"),
        ({"covariance_in2": None, "options": ("sure",)}, "options", "sure needs the covariance of the heights"),
    ],
)
def test_chance_bad_input_is_named_at_its_field(changes: dict[str, object], field: str, says: str) -> None:
    with pytest.raises(InvalidInput, match=says) as raised:
        solve_lift(replace(GOOD, **changes))  # type: ignore[arg-type] # by name
    assert raised.value.field == field
