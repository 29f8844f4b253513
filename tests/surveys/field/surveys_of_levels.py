"""Generated surveys, as the engine takes them and as the phone does, and the engine's answer to each."""

import datetime
import json
import math
from typing import Any

import numpy as np

from calcs.engine.errors import InvalidInput
from calcs.engine.levels import LevelReading, LevelSetup, LevelsInput, solve_levels
from tests.surveys.field.conftest import UseModule

Document = dict[str, Any]
NOON = datetime.datetime(2026, 5, 4, 12, tzinfo=datetime.UTC)


def in_bulk(module: UseModule, name: str, use: str, argument: Any) -> Any:
    """Use a module on much at once: as one text either way, which the browser's driver takes far quicker."""
    whole = f"async (module, text) => JSON.stringify(await ({use})(module, JSON.parse(text)))"
    return json.loads(module(name, whole, json.dumps(argument)))


def generated(count: int, seed: int) -> list[tuple[Document, Document]]:
    """Pairs of a survey for the phone, and what the engine says of it: a result, or the field of its refusal."""
    rng = np.random.default_rng(seed)
    return [_with_answer(_survey(rng)) for _ in range(count)]


def _survey(rng: np.random.Generator) -> Document:
    """Some setups over some points in one or two rounds; a few drift, slip, fall into parts or lack an instant."""
    points = [f"P{n}" for n in range(int(rng.integers(1, 46)))]
    heights_in = dict(zip(points, rng.normal(0, 0.6, len(points)), strict=True))
    setups = [_setup(rng, n) for n in range(int(rng.integers(1, 5)))]
    readings: list[Document] = []
    for setup in setups:
        seen = [point for point in points if rng.random() < rng.choice([0.05, 0.3, 0.8, 1.0])]
        rounds = int(rng.integers(1, 3))
        walked = (seen * rounds) + seen[:1] * int(rng.integers(0, 2))
        made = [
            _reading(rng, setup, heights_in[point], place) | {"point": point} for place, point in enumerate(walked)
        ]
        readings += [{"id": f"r{number}"} | each for number, each in enumerate(made, start=len(readings))]
    return {"setups": setups, "readings": readings}


def _setup(rng: np.random.Generator, number: int) -> Document:
    return {
        "id": f"S{number}",
        "sense": str(rng.choice(["up", "down"])),
        "sd_in": float(rng.choice([0.0625, 0.05, 0.0625 * math.sqrt(2)])),
        "has_drift": bool(rng.random() < 0.3),
        "line_in": float(rng.choice([0.0, -40.0, 1200.5])),
        "drift_in_per_h": float(rng.normal(0, 0.2)),
    }


def _reading(rng: np.random.Generator, setup: Document, height_in: float, place: int) -> Document:
    taken_at = NOON + datetime.timedelta(minutes=3 * place, microseconds=int(rng.integers(0, 10**6)))
    reference_in = float(np.round(rng.normal(0, 1) * 16) / 16) if rng.random() < 0.3 else 0.0
    drift_in = setup["drift_in_per_h"] * place / 20 if setup["has_drift"] else 0.0
    above_in = height_in - setup["line_in"] - drift_in - reference_in + rng.normal(0, setup["sd_in"])
    slip_in = float(rng.choice([-1.0, 1.0])) if rng.random() < 0.02 else 0.0
    value_in = (1 if setup["sense"] == "up" else -1) * above_in + slip_in
    return {
        "setup": setup["id"],
        "value_in": float(np.round(value_in * 16) / 16),
        "reference_value_in": reference_in,
        "taken_at": None if rng.random() < 0.002 else taken_at.isoformat(),
    }


def _with_answer(survey: Document) -> tuple[Document, Document]:
    read = {reading["setup"] for reading in survey["readings"]}
    document = LevelsInput(
        setups=tuple(
            LevelSetup(code=setup["id"], sense=setup["sense"], reading_sd_in=setup["sd_in"], drift=setup["has_drift"])
            for setup in survey["setups"]
            if setup["id"] in read
        ),
        readings=tuple(LevelReading(**reading) for reading in survey["readings"]),
    )
    try:
        result = solve_levels(document)
    except InvalidInput as refused:
        return survey, {"field": refused.field}
    return survey, {
        "points": list(result.points),
        "heights_in": [height.height_in for height in result.heights],
        "sds_in": [height.sd_in for height in result.heights],
        "covariance_in2": result.covariance_in2,
        "lines_in": [line.line_height_in for line in result.setups],
        "drifts_in_per_h": [line.drift_in_per_h for line in result.setups],
        "residuals": [check.residual_in for check in result.readings],
        "redundancy": [check.redundancy for check in result.readings],
        "w": [check.w for check in result.readings],
        "slips": [check.slip_in for check in result.readings],
        "suspects": [check.id for check in result.readings if check.suspect],
        "degrees_of_freedom": result.degrees_of_freedom,
        "reference_sd": result.reference_sd,
    }
