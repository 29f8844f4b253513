"""Plucked straps against the equation of a stretched beam, E I w'''' - T w'' = m (2 pi f)^2 w, solved here.

Cubic (Hermite) beam elements with the geometric stiffness of an axial pull: Cook, Malkus and Plesha, Concepts and
Applications of Finite Element Analysis, from memory.
"""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import eigh

from calcs.engine.strap_tension import Ends, StrapTensionInput, TensionReading, TensionResult, solve_strap_tension

WIDTH_IN, THICKNESS_IN, E_PSI = 1.25, 0.035, 29e6
MASS = 0.284 * WIDTH_IN * THICKNESS_IN / 386.0886  # lb s2/in2
EI = E_PSI * WIDTH_IN * THICKNESS_IN**3 / 12
ELEMENTS = 60
BENDING = np.array([[12, 6, -12, 6], [6, 4, -6, 2], [-12, -6, 12, -6], [6, 2, -6, 4]])
PULL = np.array([[36, 3, -36, 3], [3, 4, -3, -1], [-36, -3, 36, -3], [3, -1, -3, 4]])
INERTIA = np.array([[156, 22, 54, -13], [22, 4, 13, -3], [54, 13, 156, -22], [-13, -3, -22, 4]])


def pitches(tension_lb: float, *, length_in: float, ends: Ends) -> NDArray[np.float64]:
    """The lowest three pitches, in hertz."""
    ends_in = length_in / 2 * (1 - np.cos(np.pi * np.arange(ELEMENTS + 1) / ELEMENTS))  # short where a clamp bends it
    size = 2 * ELEMENTS + 2
    stiffness, inertia = np.zeros((size, size)), np.zeros((size, size))
    for element, h in enumerate(np.diff(ends_in)):
        at = slice(2 * element, 2 * element + 4)
        turns = np.outer([1, h, 1, h], [1, h, 1, h])
        stiffness[at, at] += (EI / h**3 * BENDING + tension_lb / (30 * h) * PULL) * turns
        inertia[at, at] += MASS * h / 420 * INERTIA * turns
    held = {0, size - 2} | ({1, size - 1} if ends == "clamped" else set())
    free = [index for index in range(size) if index not in held]
    squares = eigh(stiffness[np.ix_(free, free)], inertia[np.ix_(free, free)], eigvals_only=True)
    found: NDArray[np.float64] = np.sqrt(squares[:3]) / (2 * math.pi)
    return found


def heard(pitch_hz: float, *, length_in: float, ends: Ends, mode: int = 1) -> TensionResult:
    reading = TensionReading(
        code="N1", free_length_in=length_in, frequency_hz=pitch_hz, mode=mode, ends=ends, sd_hz=0.5
    )
    return solve_strap_tension(StrapTensionInput(readings=(reading,))).readings[0]


def test_the_elements_know_the_bare_beam() -> None:
    """Without tension: pinned (n pi)^2, clamped 4.7300^2 and on (Blevins, Formulas for Natural Frequency, memory)."""
    unit = math.sqrt(EI / MASS) / (2 * math.pi * 45**2)

    assert pitches(0.0, length_in=45, ends="pinned") / unit == pytest.approx(
        [(n * math.pi) ** 2 for n in (1, 2, 3)], rel=1e-5
    )
    assert pitches(0.0, length_in=45, ends="clamped") / unit == pytest.approx(
        [4.7300407**2, 7.8532046**2, 10.9956078**2], rel=1e-5
    )


@pytest.mark.parametrize("mode", [1, 2, 3])
@pytest.mark.parametrize("tension_lb", [20.0, 100.0, 500.0, 1500.0, 3150.0, 4725.0])
@pytest.mark.parametrize("length_in", [24.0, 45.0, 70.0])
def test_a_pinned_strap_is_heard_exactly(tension_lb: float, length_in: float, mode: int) -> None:
    pitch = pitches(tension_lb, length_in=length_in, ends="pinned")[mode - 1]
    result = heard(pitch, length_in=length_in, ends="pinned", mode=mode)

    assert result.tension_lb == pytest.approx(tension_lb, rel=1e-4)


@pytest.mark.parametrize("mode", [1, 2, 3])
@pytest.mark.parametrize("tension_lb", [100.0, 500.0, 1500.0, 3150.0, 4725.0])
@pytest.mark.parametrize("length_in", [24.0, 45.0, 70.0])
def test_a_clamped_strap_is_heard_to_its_series(tension_lb: float, length_in: float, mode: int) -> None:
    """What is left of the series is of the third order in sqrt(E I / T) / L."""
    pitch = pitches(tension_lb, length_in=length_in, ends="clamped")[mode - 1]
    result = heard(pitch, length_in=length_in, ends="clamped", mode=mode)
    third = (math.sqrt(EI / tension_lb) / length_in) ** 3

    assert result.tension_lb == pytest.approx(tension_lb, rel=1e-5 + 60 * mode**1.5 * third)


def test_where_the_state_can_be_told_the_tension_is_within_one_percent() -> None:
    """Down to the slackest strap that is still told: what is wrong then is the series, not the strap."""
    told = []
    for tension_lb in np.geomspace(1, 300, 60):
        for length_in in (20.0, 45.0, 70.0):
            result = heard(
                pitches(tension_lb, length_in=length_in, ends="clamped")[0], length_in=length_in, ends="clamped"
            )
            if result.state != "too_slack_to_tell" and result.tension_lb is not None:
                told.append(abs(result.tension_lb / tension_lb - 1))

    assert len(told) > 30
    assert max(told) < 0.01


@pytest.mark.parametrize("ends", ["pinned", "clamped"])
def test_a_band_without_stiffness_is_a_taut_string(ends: Ends) -> None:
    """Mersenne: f = sqrt(T / m) / (2 L)."""
    pitch = math.sqrt(2000 / MASS) / (2 * 45)
    reading = TensionReading(code="N1", free_length_in=45.0, frequency_hz=pitch, ends=ends, e_psi=1e-6)
    result = solve_strap_tension(StrapTensionInput(readings=(reading,))).readings[0]

    assert result.tension_lb == pytest.approx(2000, rel=1e-6)
    assert result.stiffness_share == pytest.approx(0, abs=1e-6)
