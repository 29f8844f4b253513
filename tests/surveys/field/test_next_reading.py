"""The further shots that the phone names, against a plain Monte Carlo over every shot and every two of them."""

import itertools
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy.special import ndtr

from tests.surveys.field.conftest import UseModule
from tests.surveys.field.surveys_of_levels import in_bulk

Array = npt.NDArray[np.float64]
Survey = dict[str, Any]
Shot = tuple[str, str]

TOLERANCE_IN = 0.25
DRAWS = 20_000
LEAST_GAIN = 0.005
# Of chances between 0 and about 1: what 20,000 draws in pairs of opposite sign leave open, three sd and a little.
NOISE = 0.004

BEST = """async ({ bestShots, expectedWrong }, surveys) => {
    const { adjust } = await import("/static/surveys/field/levels.js");
    return surveys.map((survey) => {
        const adjusted = adjust(survey);
        return { now: expectedWrong(adjusted, survey.pairs, 0.25), shots: bestShots(adjusted, survey.pairs, 0.25) };
    });
}"""


class Reference:
    """The same survey by dense normal equations, heights held to a mean of zero, and chances by drawing."""

    def __init__(self, survey: Survey) -> None:
        self.pairs = survey["pairs"]
        self.points = list(dict.fromkeys(reading["point"] for reading in survey["readings"]))
        self.setups = {setup["id"]: setup for setup in survey["setups"]}
        self.columns = [
            *self.points,
            *self.setups,
            *(("drift", key) for key, s in self.setups.items() if s["has_drift"]),
        ]
        minutes: dict[str, list[int]] = {}
        for reading in survey["readings"]:
            minutes.setdefault(reading["setup"], []).append(_minute(reading))
        self.first = {key: min(taken) for key, taken in minutes.items()}
        self.last = {key: max(taken) for key, taken in minutes.items()}
        self.normal = np.zeros((len(self.columns),) * 2)
        right = np.zeros(len(self.columns))
        for reading in survey["readings"]:
            row, setup = self.row(reading["point"], reading["setup"], _minute(reading)), self.setups[reading["setup"]]
            sign = 1 if setup["sense"] == "up" else -1
            self.normal += np.outer(row, row) / setup["sd_in"] ** 2
            right += row * sign * reading["value_in"] / setup["sd_in"] ** 2
        self.heights = self.inverse(self.normal) @ right
        half = np.random.default_rng(1).standard_normal(DRAWS // 2)
        self.draws = np.concatenate([half, -half])

    def row(self, point: str, setup: str, minute: int) -> Array:
        row = np.zeros(len(self.columns))
        row[self.columns.index(point)], row[self.columns.index(setup)] = 1, -1
        if self.setups[setup]["has_drift"]:
            row[self.columns.index(("drift", setup))] = -(minute - self.first[setup]) / 60
        return row

    def inverse(self, normal: Array) -> Array:
        held = np.array([[1.0] * len(self.points) + [0.0] * (len(self.columns) - len(self.points))])
        whole = np.block([[normal, held.T], [held, np.zeros((1, 1))]])
        return np.linalg.inv(whole)[: len(self.columns), : len(self.columns)]

    def every_shot(self) -> list[Shot]:
        return [(setup, point) for setup in self.setups for point in self.points]

    def expected_wrong(self, *shots: Shot) -> float:
        """Draw what the shots would make of each pair's difference, and call each as it then looks."""
        normal = self.normal.copy()
        for setup, point in shots:
            row = self.row(point, setup, self.last[setup])
            normal += np.outer(row, row) / self.setups[setup]["sd_in"] ** 2
        before, after = self.inverse(self.normal), self.inverse(normal)
        total = 0.0
        for pair in self.pairs:
            if pair["a"] not in self.points or pair["b"] not in self.points:
                continue
            ends = np.zeros(len(self.columns))
            ends[self.columns.index(pair["a"])], ends[self.columns.index(pair["b"])] = 1, -1
            told, left = ends @ (before - after) @ ends, ends @ after @ ends
            found = ends @ self.heights - pair["offset_in"] + np.sqrt(max(told, 0)) * self.draws
            tolerance, sd = pair["tolerance_in"] or TOLERANCE_IN, np.sqrt(left)
            within = ndtr((tolerance - found) / sd) - ndtr((-tolerance - found) / sd)
            total += float(np.minimum(within, 1 - within).mean())
        return total


def _minute(reading: dict[str, Any]) -> int:
    return int(reading["taken_at"][14:16])


def _survey(rng: np.random.Generator, points: int) -> Survey:
    """Some points on a line seen from two setups, one of which drifts; neighbours differ by about the tolerance."""
    names = [f"P{n}" for n in range(points)]
    heights = dict(zip(names, rng.normal(0, 0.25, points), strict=True))
    setups = [
        {"id": "S", "sense": "up", "sd_in": 0.0625, "has_drift": False},
        {"id": "T", "sense": "down", "sd_in": 0.09, "has_drift": True},
    ]
    readings = []
    for setup in setups:
        seen = [name for name in names if rng.random() < 0.8 or name in names[:2]]
        for place, name in enumerate([*seen, *seen[:2]]):
            value = (1 if setup["sense"] == "up" else -1) * heights[name] + rng.normal(0, setup["sd_in"])
            taken_at = f"2026-05-04T12:{place:02}:00Z"
            readings.append(
                {"id": len(readings), "setup": setup["id"], "point": name, "value_in": value, "taken_at": taken_at}
            )
    pairs = [
        {"a": a, "b": b, "tolerance_in": 0.3 if n % 3 == 0 else None, "offset_in": 0.1 if n % 4 == 0 else 0.0}
        for n, (a, b) in enumerate(itertools.pairwise(names))
    ]
    return {"setups": setups, "readings": readings, "pairs": pairs}


@pytest.fixture(scope="module")
def surveys() -> list[Survey]:
    rng = np.random.default_rng(8)
    return [_survey(rng, int(rng.integers(3, 6))) for _ in range(12)]


def test_the_shots_named_are_the_best_of_all(module: UseModule, surveys: list[Survey]) -> None:
    found = in_bulk(module, "next_reading", BEST, surveys)
    named = 0
    for mine, survey in zip(found, surveys, strict=True):
        reference = Reference(survey)
        every = reference.every_shot()
        best_two = min(reference.expected_wrong(a, b) for n, a in enumerate(every) for b in every[n:])
        best_one = min(reference.expected_wrong(shot) for shot in every)
        now = reference.expected_wrong()
        assert mine["now"] == pytest.approx(now, abs=1e-6)
        shots = [(shot["setup"], shot["point"]) for shot in mine["shots"]]
        for count, shot in enumerate(mine["shots"], start=1):
            assert shot["before"] == pytest.approx(reference.expected_wrong(*shots[: count - 1]), abs=NOISE)
            assert shot["after"] == pytest.approx(reference.expected_wrong(*shots[:count]), abs=NOISE)
        price = LEAST_GAIN  # of each shot that is asked for
        mine_costs = (mine["shots"][-1]["after"] if shots else now) + price * len(shots)
        assert mine_costs <= min(now, best_one + price, best_two + 2 * price) + NOISE
        named += len(shots)
    assert named > len(surveys), "the surveys try too little"


def test_only_what_still_stands_is_shot_from(module: UseModule, surveys: list[Survey]) -> None:
    use = """async ({ bestShots }, survey) => {
        const { adjust } = await import("/static/surveys/field/levels.js");
        const options = { setups: ["T"], points: ["P0", "P1"], most: 1 };
        return bestShots(adjust(survey), survey.pairs, 0.25, options);
    }"""
    shots = [shot for survey in surveys for shot in in_bulk(module, "next_reading", use, survey)]
    assert shots
    assert {(shot["setup"], shot["point"]) for shot in shots} <= {("T", "P0"), ("T", "P1")}
