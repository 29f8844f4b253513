"""Simulated homes, walked support by support, with slips planted: how often a value that was typed jars.

Heights are a tilted plane, a smooth field of 14 ft reach and what each support does alone; readings have a sixteenth
of noise and are read to a sixteenth. The sizes are our own guess at calm, usual and rough homes: no source.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.surveys.field.conftest import UseModule
from tests.surveys.field.surveys_of_levels import in_bulk

ROUGHNESS_IN = {"calm": (0.15, 0.06), "usual": (0.35, 0.12), "rough": (0.7, 0.25)}  # field, alone
MOVED_IN_PER_YR = 0.1  # of the field, and of each support alone
SD_IN = 0.0625
LAST_SD_IN = 0.04
REACH_FT = 14
BEAMS_FT = (2.5, 10.8, 17.2, 25.5)
STATIONS = 11
AGAIN = 12  # supports read once more

# Each home's first walk, then a dozen supports again; every fourth reading is tried with slips in its place.
WALK = """({ jars }, homes) => {
    const count = {
        first: 0, alarms: 0, again: 0, alarmsAgain: 0, inch: 0, inchFound: 0, inchNamed: 0, inchAgain: 0,
        inchAgainFound: 0, swap: 0, swapFound: 0, turnedFound: 0, turnedWrongly: 0,
    };
    const setup = { id: "S", sense: "up", sd_in: 0.0625, has_drift: false };
    const reading = (point, value_in) => ({ setup: "S", point, value_in, reference_value_in: 0, taken_at: null });
    const swapped = (value) => {
        const whole = Math.floor(value), count = Math.round((value - whole) * 32);
        const isFar = (each) => Number.isInteger(each) && each < 32 && Math.abs(each - count) >= 14;
        const other = [2 * count, count / 2].find(isFar);
        return other === undefined ? null : whole + other / 32;
    };
    for (const { points, last, shots, mirrored } of homes) {
        const known = { points: new Map(points), last };
        const readings = [];
        const ask = (point, value) => jars(reading(point, value), { setups: [setup], readings }, known);
        shots.forEach(({ point, value, slip, isAgain }, i) => {
            const told = ask(point, value);
            count.turnedWrongly += told?.by === "sense";
            count[isAgain ? "again" : "first"] += 1;
            count[isAgain ? "alarmsAgain" : "alarms"] += told !== null;
            if (i > 2 && i % 4 === 0) {
                const found = ask(point, value + slip);
                count[isAgain ? "inchAgain" : "inch"] += 1;
                count[isAgain ? "inchAgainFound" : "inchFound"] += found !== null;
                if (!isAgain) count.inchNamed += found?.guess?.slip === "inch" && found.guess.value_in === value;
                if (!isAgain && swapped(value) !== null) {
                    count.swap += 1;
                    count.swapFound += ask(point, swapped(value)) !== null;
                }
            }
            readings.push({ id: i, ...reading(point, value) });
        });
        readings.length = 0;
        for (const { point, value } of mirrored) {
            if (ask(point, value)?.by === "sense") { count.turnedFound += 1; break; }
            readings.push({ id: point, ...reading(point, value) });
        }
    }
    return count;
}"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """Shares, 0 to 1. ``turned``: a setup read with its sense the wrong way round, said within twenty readings."""

    false_alarms: float
    false_alarms_again: float
    inch_found: float
    inch_named: float
    inch_found_again: float
    swap_found: float
    turned_found: float
    turned_wrongly: float


def walk(module: UseModule, *, roughness: str, years: float | None, homes: int, seed: int) -> Tally:
    """Walk some homes; ``years`` since a last survey, None without one."""
    rng = np.random.default_rng(seed)
    count = in_bulk(module, "verdicts", WALK, [_home(rng, roughness, years) for _ in range(homes)])
    return Tally(
        false_alarms=count["alarms"] / count["first"],
        false_alarms_again=count["alarmsAgain"] / count["again"],
        inch_found=count["inchFound"] / count["inch"],
        inch_named=count["inchNamed"] / count["inch"],
        inch_found_again=count["inchAgainFound"] / count["inchAgain"],
        swap_found=count["swapFound"] / max(count["swap"], 1),
        turned_found=count["turnedFound"] / homes,
        turned_wrongly=count["turnedWrongly"] / homes,
    )


def _home(rng: np.random.Generator, roughness: str, years: float | None) -> dict[str, Any]:
    """A home as it stands, what was said of it last, and the shots of a walk: up one beam, down the next."""
    x, y = np.meshgrid(2 + 5.6 * np.arange(STATIONS), BEAMS_FT)
    x[1::2] = x[1::2, ::-1]
    places = np.column_stack([x.ravel(), y.ravel()])
    names = [f"P{n}" for n in range(len(places))]
    field_in, alone_in = ROUGHNESS_IN[roughness]
    height = places @ rng.normal(0, (0.01, 0.015)) + _moved(rng, places, field_in, alone_in)
    last = None
    if years is not None:
        said = height + rng.normal(0, LAST_SD_IN, len(names))
        rows = zip(names, said.tolist(), strict=True)
        heights = [{"point": name, "height_in": value, "sd_in": LAST_SD_IN} for name, value in rows]
        last = {"years": years, "heights": heights}
        height = height + _moved(rng, places, MOVED_IN_PER_YR * years, MOVED_IN_PER_YR * years)
    above = height + rng.uniform(5, 30)
    order = [*range(len(names)), *range(AGAIN)]
    shots = [
        {
            "point": names[n],
            "value": _read(rng, above[n]),
            "slip": float(rng.choice([-1, 1])),
            "isAgain": k >= len(names),
        }
        for k, n in enumerate(order)
    ]
    return {
        "points": [
            [name, {"x_ft": place[0], "y_ft": place[1], "offset_in": 0}]
            for name, place in zip(names, places.tolist(), strict=True)
        ],
        "last": last,
        "shots": shots,
        "mirrored": [{"point": names[n], "value": _read(rng, -above[n])} for n in range(20)],
    }


def _moved(rng: np.random.Generator, places: Any, field_in: float, alone_in: float) -> Any:
    apart = np.linalg.norm(places[:, None] - places, axis=2)
    together = np.exp(-0.5 * (apart / REACH_FT) ** 2) + 1e-9 * np.eye(len(places))
    smooth = np.linalg.cholesky(together) @ rng.standard_normal(len(places))
    return field_in * smooth + rng.normal(0, alone_in, len(places))


def _read(rng: np.random.Generator, value_in: float) -> float:
    return float(np.round((value_in + rng.normal(0, SD_IN)) * 16) / 16)
