"""What readings mean, as the phone says it: pairs and closing shots as the service does, and values that jar."""

from typing import Any

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from calcs.engine.flatness import FlatnessInput, FlatnessPair, FlatnessPoint, solve_flatness
from tests.surveys.field.conftest import UseModule
from tests.surveys.field.homes_walked import walk
from tests.surveys.field.surveys_of_levels import in_bulk

VERDICTS = """(verdicts, cases) => cases.map(({ adjusted, pairs, tolerance_in, confidence }) =>
    verdicts.pairVerdicts(adjusted, pairs, tolerance_in, confidence))"""
MISCLOSURE = "(verdicts, given) => verdicts.misclosure(given.setup, given.readings, given.sd_in)"


def test_the_normal_distribution_is_that_of_a_reference_library(module: UseModule) -> None:
    """Against scipy.special: the tail by its own size, far out as well."""
    x, shares = np.linspace(-30, 8, 900), np.concatenate([10.0 ** -np.arange(1, 200, 3), np.linspace(0.01, 0.99, 99)])
    use = "({ below, quantile }, given) => ({ below: given.x.map(below), quantile: given.shares.map(quantile) })"
    found = module("normal", use, {"x": x.tolist(), "shares": shares.tolist()})
    np.testing.assert_allclose(found["below"], ndtr(x), rtol=1e-12)
    np.testing.assert_allclose(found["quantile"], ndtri(shares), rtol=1e-13, atol=1e-15)


# -- pairs ------------------------------------------------------------------------------------------------------


def test_pairs_are_judged_as_the_service_judges_them(module: UseModule) -> None:
    rng = np.random.default_rng(6)
    cases = [_case(rng, is_known=bool(number % 5)) for number in range(200)]
    found = in_bulk(module, "verdicts", VERDICTS, [mine for mine, _ in cases])
    said = set()
    for mine, (_, document) in zip(found, cases, strict=True):
        told = solve_flatness(document).pairs
        assert [(pair["a"], pair["b"], pair["verdict"]) for pair in mine] == [
            (pair.a, pair.b, pair.verdict) for pair in told
        ]
        for name in ("difference_in", "sd_in"):
            expected = [getattr(pair, name) for pair in told]
            np.testing.assert_allclose([pair[name] for pair in mine], expected, rtol=0, atol=1e-12)
        said |= {pair.verdict for pair in told}
    assert said == {"within", "uncertain", "over"}


def _case(rng: np.random.Generator, *, is_known: bool) -> tuple[dict[str, Any], FlatnessInput]:
    """Heights with an uncertainty, known as a whole or point by point; a pair in three has its own tolerance."""
    count = int(rng.integers(2, 9))
    heights, offsets = rng.normal(0, 0.3, count), rng.choice([0.0, 0.5], count)
    root = rng.normal(0, 0.06, (count, count + 2))
    covariance = root @ root.T
    sds = np.sqrt(np.diagonal(covariance))
    own = [float(rng.uniform(0.1, 0.4)) if rng.random() < 0.3 else None for _ in range(count - 1)]
    tolerance_in, confidence = float(rng.choice([0.25, 0.125])), float(rng.choice([0.95, 0.8]))
    mine = {
        "adjusted": {
            "points": [{"point": f"P{n}", "height_in": heights[n], "sd_in": sds[n]} for n in range(count)],
            "covariance_in2": covariance.tolist() if is_known else None,
        },
        "pairs": [
            {"a": f"P{n}", "b": f"P{n + 1}", "tolerance_in": own[n], "offset_in": offsets[n] - offsets[n + 1]}
            for n in range(count - 1)
        ],
        "tolerance_in": tolerance_in,
        "confidence": confidence,
    }
    document = FlatnessInput(
        points=tuple(
            FlatnessPoint(
                code=f"P{n}",
                x_ft=float(n),
                y_ft=0.0,
                height_in=float(heights[n]),
                sd_in=float(sds[n]),
                design_offset_in=float(offsets[n]),
            )
            for n in range(count)
        ),
        neighbours=tuple(FlatnessPair(a=f"P{n}", b=f"P{n + 1}", tolerance_in=own[n]) for n in range(count - 1)),
        tolerance_in=tolerance_in,
        confidence=confidence,
        covariance_in2=tuple(map(tuple, covariance.tolist())) if is_known else None,
    )
    return mine, document


def test_pairs_of_the_day_are_those_of_two_supports_with_their_offsets(module: UseModule) -> None:
    place = {
        "supports": [{"point": "A"}, {"point": "B"}],
        "points": [
            {"id": "A", "design_offset_in": "0.5000"},
            {"id": "B", "design_offset_in": "0.1250"},
            {"id": "F", "design_offset_in": "0.0000"},
        ],
        "neighbour_pairs": [
            {"a": "A", "b": "B", "tolerance_in": "0.3750"},
            {"a": "B", "b": "F", "tolerance_in": None},
        ],
    }
    found = module("verdicts", "(verdicts, place) => verdicts.judgedPairs(place)", place)
    assert found == [{"a": "A", "b": "B", "tolerance_in": 0.375, "offset_in": 0.375}]


def test_the_worst_pair_is_that_of_the_worst_verdict_then_of_the_most_beyond_its_tolerance(module: UseModule) -> None:
    def pair(name: str, verdict: str, difference_in: float, tolerance_in: float) -> dict[str, Any]:
        return {"a": name, "verdict": verdict, "difference_in": difference_in, "tolerance_in": tolerance_in}

    pairs = [
        pair("close", "uncertain", 0.9, 0.25),
        pair("loose", "over", -0.6, 0.5),
        pair("tight", "over", 0.5, 0.25),
        pair("fine", "within", 0.1, 0.25),
    ]
    use = "(verdicts, pairs) => [verdicts.worstPair(pairs)?.a, verdicts.worstPair([])]"
    assert module("verdicts", use, pairs) == ["tight", None]


# -- closing shots ----------------------------------------------------------------------------------------------

SD_IN = 0.0625
LIMIT_IN = 3 * 2**0.5 * SD_IN  # 0.265


def test_a_closing_shot_is_held_against_two_and_three_times_the_noise(module: UseModule) -> None:
    """The limits are 2 and 3 times sqrt(2) of 1/16: 0.177 and 0.265 in."""
    for off_in, verdict in {
        0.125: "ok",
        0.1875: "doubtful",
        0.25: "doubtful",
        0.3125: "again",
        -0.3125: "again",
    }.items():
        for sense in ("up", "down"):
            found = module("verdicts", MISCLOSURE, _closed(sense, off_in))
            assert found["limit_in"] == pytest.approx(LIMIT_IN)
            assert (found["point"], found["off_in"], found["verdict"]) == ("BM1", pytest.approx(off_in), verdict)


def test_where_the_line_may_drift_a_misclosure_is_no_fault(module: UseModule) -> None:
    assert module("verdicts", MISCLOSURE, _closed("up", 0.5, has_drift=True))["verdict"] is None


def test_without_a_closing_shot_there_is_no_misclosure(module: UseModule) -> None:
    given = _closed("up", 0.5)
    assert module("verdicts", MISCLOSURE, {**given, "readings": given["readings"][:3]}) is None


def _closed(sense: str, off_in: float, *, has_drift: bool = False) -> dict[str, Any]:
    """A setup whose closing shot stands off its first; another setup's closing shot is none of its business."""
    sign = 1 if sense == "up" else -1
    shots = [("S", "BM1", "reference", 5.0), ("S", "A1", "point", 9.0), ("T", "BM1", "closing", 9.0)]
    shots.append(("S", "BM1", "closing", 5.0 + sign * off_in))
    readings = [
        {"setup": setup, "point": point, "shot": shot, "value_in": value_in, "reference_value_in": 0}
        for setup, point, shot, value_in in shots
    ]
    return {"setup": {"id": "S", "sense": sense, "has_drift": has_drift}, "readings": readings, "sd_in": SD_IN}


def test_a_plain_tube_s_other_end_counts_in_its_closing_shot(module: UseModule) -> None:
    readings = [
        {"setup": "S", "point": "BM1", "shot": "reference", "value_in": 5.0, "reference_value_in": 1.0},
        {"setup": "S", "point": "BM1", "shot": "closing", "value_in": 4.0, "reference_value_in": 2.0},
    ]
    given = {"setup": {"id": "S", "sense": "up", "has_drift": False}, "readings": readings, "sd_in": SD_IN}
    assert module("verdicts", MISCLOSURE, given)["off_in"] == 0


# -- values that jar --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("roughness", ["calm", "usual"])
def test_slips_jar_and_clean_readings_do_not(module: UseModule, roughness: str) -> None:
    """Homes of forty-four supports, walked beam by beam, never read before: only neighbours tell.

    Figures of 60 homes each when this was written, calm, usual and rough: asked without need 0.1, 0.8 and 2.0 % of
    first readings and 1.4, 1.5 and 1.7 % of second ones; an inch off found in 99.7, 92 and 47 %, in the second round
    always.
    """
    first = walk(module, roughness=roughness, years=None, homes=6, seed=3)
    assert first.false_alarms < 0.02
    assert first.false_alarms_again < 0.05
    assert first.inch_found > 0.85
    assert first.inch_found_again == 1
    assert first.inch_named > 0.7 * first.inch_found


@pytest.mark.parametrize("roughness", ["calm", "usual", "rough"])
def test_a_last_survey_makes_slips_plainer(module: UseModule, roughness: str) -> None:
    """A year after. Figures of 60 homes each when this was written, calm, usual and rough: asked without need 1.0,
    1.1 and 1.0 %; an inch off found in 99.5 % and more; 7/16 for 7/8 and its like in 54, 61 and 54 %, in a second
    round always; the sense taken the wrong way round in 83, 100 and 100 %, and never said without need. Three years
    after, supports having moved by 0.4 in, an inch is found in 42 %.
    """
    later = walk(module, roughness=roughness, years=1, homes=6, seed=4)
    assert later.false_alarms < 0.03
    assert later.inch_found > 0.95
    assert later.swap_found > 0.35
    assert later.turned_found >= 0.5
    assert later.turned_wrongly == 0


def test_what_jars_is_told_in_parts(module: UseModule) -> None:
    """A flat home read at 5 in: 6 on the fifth support of the beam is an inch off, as the instrument shows it."""
    points = [[f"A{n}", {"x_ft": 6 * n, "y_ft": 0, "offset_in": 0}] for n in range(1, 7)]
    setup = {"id": "S", "sense": "down", "sd_in": SD_IN, "has_drift": False}
    readings = [
        {"id": n, "setup": "S", "point": f"A{n}", "value_in": 5 + (n % 2) / 16, "reference_value_in": 0}
        for n in range(1, 5)
    ]
    use = """({ jars }, { points, setup, readings, value_in, point }) => jars(
        { setup: "S", point, value_in, reference_value_in: 0, taken_at: null },
        { setups: [setup], readings }, { points: new Map(points), last: null })"""
    given = {"points": points, "setup": setup, "readings": readings}
    told = module("verdicts", use, {**given, "point": "A5", "value_in": 6.0})
    assert told["by"] == "neighbours"
    assert told["expected_in"] == pytest.approx(5, abs=0.15)
    assert told["off_in"] == pytest.approx(1, abs=0.15)
    assert told["guess"] == {"slip": "inch", "value_in": 5.0}
    assert told["beside"] == ["A4", "A3"]
    assert told["chance"] < 0.01
    again = module("verdicts", use, {**given, "point": "A2", "value_in": 5.5})
    assert (again["by"], again["expected_in"]) == ("again", pytest.approx(5, abs=0.1))
    assert module("verdicts", use, {**given, "point": "A5", "value_in": 5.0625}) is None
