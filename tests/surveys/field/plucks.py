"""Plucked straps, synthesised: partials that die away, a thump, hum, a rumble, a phone deaf to low notes."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pluck:
    """How a strap is plucked and heard.

    Parameters
    ----------
    hz : float
        Its lowest pitch.
    stiff : float
        Partial n stands sharp by this times n squared.
    where : float
        Place of the pluck along the strap; 0.5 leaves out the even partials.
    noise_db : float
        Of the rumble beside what rings in the first half second, at frequencies up to half the rate.
    hum : float
        Loudness of the hum beside the ringing.
    deaf_below_hz : float
        The phone hears less and less below this, by the fourth power; 0: it hears all.
    """

    hz: float
    stiff: float = 3e-4
    where: float = 0.4
    noise_db: float = -20
    hum: float = 0.0
    deaf_below_hz: float = 0.0


def sound(pluck: Pluck, rng: np.random.Generator, *, rate: int, seconds: float = 3.0, at_s: float = 1.0) -> Samples:
    """Return what the phone records, at most 0.5 loud."""
    t = np.arange(int(seconds * rate)) / rate
    rung = _partials(pluck, rng, t, at_s)
    ringing = (t >= at_s) & (t < at_s + 0.5)
    rung /= np.sqrt((rung[ringing] ** 2).mean())
    thump = np.where((t >= at_s) & (t < at_s + 0.03), rng.standard_normal(t.size), 0) * 0.5
    hum = 0.4 * np.sin(2 * np.pi * 60 * t) + np.sin(2 * np.pi * 120 * t) + 0.6 * np.sin(2 * np.pi * 180 * t)
    heard = rung + thump + 10 ** (pluck.noise_db / 20) * rumble(t.size, rng, rate) + pluck.hum * hum
    return 0.5 * heard / np.abs(heard).max()


def _partials(pluck: Pluck, rng: np.random.Generator, t: Samples, at_s: float) -> Samples:
    made = np.zeros(t.size)
    for mode in range(1, 16):
        hz = mode * pluck.hz * (1 + pluck.stiff * mode**2) / (1 + pluck.stiff)
        if hz > 1500:
            break
        loud = abs(np.sin(mode * np.pi * pluck.where)) / mode
        loud /= np.sqrt(1 + (pluck.deaf_below_hz / hz) ** 8)
        dies = np.where(t >= at_s, np.exp(-(t - at_s) * (1 + 0.25 * mode) / 1.2), 0)
        made += loud * dies * np.sin(2 * np.pi * hz * t + rng.uniform(0, 2 * np.pi))
    return made


def rumble(count: int, rng: np.random.Generator, rate: int) -> Samples:
    """Noise that falls off above 30 Hz as 1/f, of loudness 1."""
    shape = 1 / np.sqrt(np.maximum(1, np.fft.rfftfreq(count, 1 / rate) / 30))
    made: Samples = np.fft.irfft(np.fft.rfft(rng.standard_normal(count)) * shape, count)
    return made / made.std()
