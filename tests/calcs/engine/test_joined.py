"""Heights of a bay read anew, joined to those of the whole home."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from calcs.engine.errors import InvalidInput
from calcs.engine.joined import JoinedInput, JoinedResult, ScaledHeights, joined_levels, solve_joined
from calcs.engine.levels import LevelReading, LevelSetup, LevelsInput, LevelsResult, solve_levels

SD_IN = 0.0625


def scaled(heights: dict[str, float], sd_in: float = SD_IN, covariance: np.ndarray | None = None) -> ScaledHeights:
    """Return heights that are known apart from each other, or with a covariance of one's own."""
    matrix = np.diag([sd_in**2] * len(heights)) if covariance is None else covariance
    return ScaledHeights(
        points=tuple(heights), heights_in=tuple(heights.values()), covariance_in2=tuple(map(tuple, matrix.tolist()))
    )


def joined(before: ScaledHeights, read: ScaledHeights, still: str, **fields: float) -> JoinedResult:
    return solve_joined(JoinedInput(before=before, read=read, still=tuple(still.split()), **fields))


def heights(result: JoinedResult) -> dict[str, float]:
    return {height.point: height.height_in for height in result.heights}


BEFORE = {"BM1": 3.0, "BM2": 4.0, "A1": 0.0, "A2": 0.5, "B1": 1.0}


def test_what_was_read_anew_comes_onto_the_scale_of_what_was_read_before() -> None:
    result = joined(scaled(BEFORE), scaled({"BM1": 13.0, "BM2": 14.0, "A1": 10.75}), "BM1 BM2 A2")
    assert result.offset_in == pytest.approx(-10)
    assert heights(result) == pytest.approx({"BM1": 3, "BM2": 4, "A1": 0.75, "A2": 0.5})
    assert result.carried == ("A2",)  # B1 is neither still nor read: not known any more
    assert [one.point for one in result.common] == ["BM1", "BM2"]


def test_the_offset_is_the_mean_weighted_by_how_closely_each_point_is_known() -> None:
    """By hand, as any text on adjustment: of 1 (sd 1) and 4 (sd 2) it is (1 + 4/4) / (1 + 1/4)."""
    read = scaled({"P": 0.0, "Q": 0.0}, covariance=np.diag([1.0, 4.0]))
    result = joined(scaled({"P": 1.0, "Q": 4.0}, sd_in=0.0), read, "P Q")
    assert result.offset_in == pytest.approx(1.6)
    assert result.offset_sd_in == pytest.approx(np.sqrt(0.8))


def test_only_points_that_stand_still_join() -> None:
    read = scaled({"BM1": 13.0, "BM2": 14.0, "A1": 10.75})
    assert heights(joined(scaled(BEFORE), read, "BM1 BM2 A2"))["A1"] == pytest.approx(0.75)
    with pytest.raises(InvalidInput, match="stood still: A1"):
        joined(scaled(BEFORE), read, "BM1 BM2 A1")


@pytest.mark.parametrize(("still", "count"), [("", 0), ("BM1", 1), ("BM1 A2 B1", 1), ("BM1 NOWHERE", 1)])
def test_fewer_than_two_common_points_are_refused(still: str, count: int) -> None:
    with pytest.raises(InvalidInput, match=f"at least 2 points .* not {count}") as refused:
        joined(scaled(BEFORE), scaled({"BM1": 13.0, "BM2": 14.0, "A1": 10.0}), still)
    assert refused.value.field == "still"


@pytest.mark.parametrize("alpha", [0.001, 0.05])
@pytest.mark.parametrize("share", [0.99, 1.01])
def test_two_points_agree_within_the_noise_of_their_difference(alpha: float, share: float) -> None:
    """The same test by hand: a difference of four heights of one sd, normal, two-sided (chi-square with 1 degree)."""
    limit_in = stats.norm.isf(alpha / 2) * 2 * SD_IN
    read = scaled({"BM1": 13.0, "BM2": 14.0 + share * limit_in})
    if share < 1:
        assert joined(scaled(BEFORE), read, "BM1 BM2", alpha=alpha).common
    else:
        with pytest.raises(InvalidInput, match="more than noise explains"):
            joined(scaled(BEFORE), read, "BM1 BM2", alpha=alpha)


def test_exact_heights_agree_exactly_or_not_at_all() -> None:
    read = {"BM1": 13.0, "BM2": 14.0}
    assert joined(scaled(BEFORE, 0), scaled(read, 0), "BM1 BM2").offset_sd_in == pytest.approx(0)
    with pytest.raises(InvalidInput):
        joined(scaled(BEFORE, 0), scaled(read | {"BM2": 14.001}, 0), "BM1 BM2")


def test_points_that_stood_still_are_refused_as_seldom_as_alpha_says() -> None:
    """4,000 draws of four common points: refusals are binomial with p = 0.05; outside 150..250 is past 3.6 sd."""
    draws = np.random.default_rng(20261130)
    points = ["BM1", "BM2", "BM3", "A1"]
    refused = 0
    for _ in range(4000):
        before = dict(zip(points, draws.normal(0, SD_IN, 4), strict=True))
        read = dict(zip(points, draws.normal(7, SD_IN, 4), strict=True))
        try:
            joined(scaled(before), scaled(read), " ".join(points), alpha=0.05)
        except InvalidInput:
            refused += 1
    assert 150 <= refused <= 250


def test_the_covariance_is_that_of_repeated_draws() -> None:
    """Monte Carlo: 20,000 draws of both readings; each element within 5 of its own standard errors."""
    draws, sd_before, sd_read = np.random.default_rng(7), 0.05, 0.08
    names_before, names_read = ["M", "N", "P", "Q"], ["M", "N", "P"]
    told = joined(
        scaled(dict.fromkeys(names_before, 0.0), sd_before), scaled(dict.fromkeys(names_read, 9.0), sd_read), "M N Q"
    )
    before, read = draws.normal(0, sd_before, (20000, 4)), draws.normal(9, sd_read, (20000, 3))
    offset = (before[:, :2] - read[:, :2]).mean(axis=1, keepdims=True)
    sample = np.cov(np.hstack([read + offset, before[:, 3:]]).T)
    wanted = np.array(told.covariance_in2)
    error = np.sqrt((wanted**2 + np.outer(np.diag(wanted), np.diag(wanted))) / 20000)
    assert told.points == ("M", "N", "P", "Q")
    assert np.all(np.abs(sample - wanted) < 5 * error)
    assert [height.sd_in for height in told.heights] == pytest.approx(np.sqrt(np.diag(wanted)))


small = st.floats(-5, 5, allow_nan=False)


@given(st.lists(small, min_size=4, max_size=4), small, small)
def test_neither_scale_matters_and_differences_on_one_scale_stay(row: list[float], up: float, down: float) -> None:
    before = dict(zip("MNPQ", row, strict=True))
    read = {point: before[point] + 1.0 for point in "MN"} | {"P": before["P"] + 1.5}
    plain = joined(scaled(before), scaled(read), "M N Q")
    shifted = joined(
        scaled({point: height + up for point, height in before.items()}),
        scaled({point: height + down for point, height in read.items()}),
        "M N Q",
    )
    assert {point: height + up for point, height in heights(plain).items()} == pytest.approx(heights(shifted))
    told = heights(plain)
    assert told["P"] - told["M"] == pytest.approx(read["P"] - read["M"])
    assert told["Q"] == pytest.approx(before["Q"])
    assert np.allclose(plain.covariance_in2, shifted.covariance_in2)


@pytest.mark.parametrize(
    ("field", "broken"),
    [
        ("before.points", {"points": ("BM1", "BM1", "A1", "A2", "B1")}),
        ("before.heights_in", {"heights_in": (1.0,)}),
        ("before.covariance_in2", {"covariance_in2": ((1.0,),)}),
    ],
)
def test_what_does_not_fit_is_refused_at_its_field(field: str, broken: dict[str, object]) -> None:
    whole = scaled(BEFORE)
    parts = {name: getattr(whole, name) for name in ("points", "heights_in", "covariance_in2")}
    with pytest.raises(InvalidInput) as refused:
        joined(ScaledHeights(**(parts | broken)), scaled({"BM1": 1.0, "BM2": 2.0}), "BM1 BM2")
    assert refused.value.field == field


def test_alpha_is_a_chance() -> None:
    with pytest.raises(InvalidInput) as refused:
        joined(scaled(BEFORE), scaled({"BM1": 13.0, "BM2": 14.0}), "BM1 BM2", alpha=0.7)
    assert refused.value.field == "alpha"


# -- with surveys --------------------------------------------------------------------------------------------------


def survey(heights_in: dict[str, float], line_in: float) -> LevelsResult:
    """Read points twice from one line."""
    return solve_levels(
        LevelsInput(
            setups=(LevelSetup(code="S", sense="up", reading_sd_in=SD_IN),),
            readings=tuple(
                LevelReading(id=f"{point}{number}", setup="S", point=point, value_in=height - line_in)
                for number in (1, 2)
                for point, height in heights_in.items()
            ),
        )
    )


def of(levels: LevelsResult) -> ScaledHeights:
    assert levels.covariance_in2 is not None
    return ScaledHeights(
        points=levels.points,
        heights_in=tuple(height.height_in for height in levels.heights),
        covariance_in2=levels.covariance_in2,
    )


def test_a_line_of_the_new_reading_comes_onto_the_joined_scale() -> None:
    before = survey(BEFORE, -10)
    after = survey({"BM1": 3.0, "BM2": 4.0, "A1": 0.25}, -20)
    told = joined_levels(after, joined(of(before), of(after), "BM1 BM2 A2 B1"))
    at = {height.point: height.height_in for height in told.heights}
    assert at["A1"] - at["A2"] == pytest.approx(-0.25)
    assert at["A1"] - told.setups[0].line_height_in == pytest.approx(20.25)  # what the level reads there
    assert told.readings == after.readings


def test_points_read_twice_alike_join_though_free_networks_have_no_scale() -> None:
    """Both covariances are singular: heights of a free network sum to zero."""
    result = joined(of(survey(BEFORE, -10)), of(survey(BEFORE, -12)), " ".join(BEFORE))
    assert result.offset_in == pytest.approx(0)
    assert result.offset_sd_in == pytest.approx(0, abs=1e-9)
    assert result.carried == ()
