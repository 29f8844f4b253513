"""What a strap carries now, from the pitch at which it rings when plucked, or from a gauge; and two such compared."""

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_names, check_range
from calcs.engine.straps import LISTING, LONGEST_IN, STRONGEST_LB

EPSILON = 1e-9
GRAVITY_IN_PER_S2 = 386.0886  # 9.80665 m/s2
STIFFEST_SHARE = 0.25  # above it the pitch tells more of the band's stiffness than of its tension
MOST_SAG = 0.5  # above it the band hangs like a chain: its pitch no longer follows its tension alone

Method = Literal["pluck", "gauge"]
Ends = Literal["pinned", "clamped"]
State = Literal["within_working", "over_working", "over_ultimate", "too_slack_to_tell"]

SOURCES = (
    "pitch of a stretched string with bending stiffness, ends pinned: T = s^2 - n^2 pi^2 E I / L^2; clamped: the "
    "series to the second order in E I / (T L^2): Fletcher, J. Acoust. Soc. Am. 36 (1964) 203, from memory",
    "sag term (m g L / T)^2 E A / T: Irvine, Cable Structures (MIT Press 1981), from memory",
    "24 CFR 3285.402(a): ties work at 3,150 lb and hold 4,725 lb; strap 1-1/4 by 0.035 in, ASTM D3953 Type 1",
    "steel 29,000,000 psi: AISC practice; 0.284 lb/in3: handbook value",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class TensionReading:
    """One strap, plucked or gauged.

    Parameters
    ----------
    code : str
        Name, unique in the document.
    method : str
        ``pluck`` needs ``free_length_in`` and ``frequency_hz``; ``gauge`` needs ``tension_lb`` and ``sd_lb``.
    free_length_in : float or None
        Length that swings, above 0.
    frequency_hz : float or None
        Pitch heard, above 0.
    mode : int
        Number of half waves of that pitch, 1 to 10; a phone may hear the second.
    ends : str
        ``clamped`` where the band is held flat at both ends, ``pinned`` where it can turn.
    width_in, thickness_in : float
        Of the band; it swings across its thickness.
    density_lb_per_in3 : float
        Weight of the band's material.
    sd_hz, sd_length_in : float
        Standard deviations of pitch and length.
    e_psi : float
        Modulus of elasticity of the band.
    tension_lb, sd_lb : float or None
        What the gauge shows and its standard deviation; None when plucked.
    """

    code: str
    method: Method = "pluck"
    free_length_in: float | None = None
    frequency_hz: float | None = None
    mode: int = 1
    ends: Ends = "clamped"
    width_in: float = 1.25
    thickness_in: float = 0.035
    density_lb_per_in3: float = 0.284
    sd_hz: float = 0.5
    sd_length_in: float = 0.25
    e_psi: float = 29e6
    tension_lb: float | None = None
    sd_lb: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TensionPair:
    """Two readings to compare, by their codes: opposite sides, or one strap in two years."""

    first: str
    second: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapTensionInput:
    """The readings and the loads that they are held against.

    Parameters
    ----------
    readings : tuple of TensionReading
        The readings.
    pairs : tuple of TensionPair
        Which of them to compare.
    confidence : float
        Of the comparisons' intervals, 0.5 up to and without 1.
    working_lb, ultimate_lb : float
        Working and ultimate load of a tie; the ultimate is not below the working load.
    """

    readings: tuple[TensionReading, ...]
    working_lb: float = 3150.0
    ultimate_lb: float = 4725.0
    pairs: tuple[TensionPair, ...] = ()
    confidence: float = 0.95


@dataclass(frozen=True, slots=True, kw_only=True)
class TensionResult:
    """What one strap carries.

    Parameters
    ----------
    code : str
        The strap's name.
    tension_lb, sd_lb : float or None
        Tension and its standard deviation; None where the pitch is the band's stiffness alone.
    stiffness_share : float or None
        Share of the pitch's square that is bending stiffness, 0 to 1; None for a gauge.
    state : str
        The tension against the loads; ``too_slack_to_tell`` where a pluck tells stiffness or sag, not tension.
    """

    code: str
    tension_lb: float | None
    sd_lb: float | None
    stiffness_share: float | None
    state: State


@dataclass(frozen=True, slots=True, kw_only=True)
class TensionComparison:
    """Two tensions compared: two sides of a home, or two years of one strap.

    Parameters
    ----------
    difference_lb, sd_lb : float
        Second less first, and its standard deviation.
    low_lb, high_lb : float
        Ends of the difference's interval at the confidence asked for.
    differ : bool
        Whether that interval leaves out 0; where it doesn't, that is no proof that they are alike.
    detectable_lb : float
        The smallest true difference that would be found four times in five.
    """

    difference_lb: float
    sd_lb: float
    low_lb: float
    high_lb: float
    differ: bool
    detectable_lb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PairCompared:
    """One pair; ``comparison`` null where the tension of either is not told, or both are without uncertainty."""

    first: str
    second: str
    comparison: TensionComparison | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapTensionResult:
    """Every reading and every pair, in the order given."""

    readings: tuple[TensionResult, ...]
    comparisons: tuple[PairCompared, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]


def solve_strap_tension(document: StrapTensionInput) -> StrapTensionResult:
    """Say of each strap what it carries now.

    Parameters
    ----------
    document : StrapTensionInput
        The readings and the loads.

    Returns
    -------
    StrapTensionResult
        One entry a reading, tensions in pounds. It compares sides and years; it is no tension to aim for.

    Raises
    ------
    InvalidInput
        For a number out of range, a pluck without length or pitch, a gauge without tension or its standard
        deviation, a pluck with a tension, or a name given twice.

    References
    ----------
    Fletcher, J. Acoust. Soc. Am. 36 (1964) 203 (stiff strings); Irvine, Cable Structures (1981) (sag).
    """
    _check(document)
    told = {reading.code: _result(reading, document) for reading in document.readings}
    return StrapTensionResult(
        readings=tuple(told.values()),
        comparisons=tuple(_compared(pair, told, document.confidence) for pair in document.pairs),
        engine_version=ENGINE_VERSION,
        sources=SOURCES,
        cautions=(LISTING,) if document.readings else (),
        warnings=(),
    )


def compare_tensions(
    *, first_lb: float, first_sd_lb: float, second_lb: float, second_sd_lb: float, confidence: float = 0.95
) -> TensionComparison:
    """Compare two tensions, side to side or year to year.

    Parameters
    ----------
    first_lb, second_lb : float
        Tensions, 0 or more.
    first_sd_lb, second_sd_lb : float
        Their standard deviations, taken as independent. Two years of one strap share its length and its stiffness,
        so their difference is known a little better than it is said here.
    confidence : float
        Of the two-sided interval, 0.5 up to and without 1.

    Returns
    -------
    TensionComparison

    Raises
    ------
    InvalidInput
        For a number out of range, or no uncertainty in either.
    """
    for field, value in {"first_lb": first_lb, "second_lb": second_lb}.items():
        check_range(value, field, least=0, most=STRONGEST_LB)
    for field, value in {"first_sd_lb": first_sd_lb, "second_sd_lb": second_sd_lb}.items():
        check_range(value, field, least=0, most=STRONGEST_LB)
    if not 0.5 <= confidence < 1:
        raise InvalidInput(f"must be at least 0.5 and below 1, not {confidence}", field="confidence")
    sd_lb = math.hypot(first_sd_lb, second_sd_lb)
    if sd_lb == 0:
        raise InvalidInput("must be above 0 where the other one is 0: nothing is read exactly", field="second_sd_lb")
    difference_lb = second_lb - first_lb
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    return TensionComparison(
        difference_lb=difference_lb,
        sd_lb=sd_lb,
        low_lb=difference_lb - z * sd_lb,
        high_lb=difference_lb + z * sd_lb,
        differ=abs(difference_lb) > z * sd_lb + EPSILON,
        detectable_lb=(z + NormalDist().inv_cdf(0.8)) * sd_lb,
    )


def _compared(pair: TensionPair, told: dict[str, TensionResult], confidence: float) -> PairCompared:
    first, second = told[pair.first], told[pair.second]
    comparison = None
    if first.tension_lb is not None and second.tension_lb is not None and (first.sd_lb or second.sd_lb):
        comparison = compare_tensions(
            first_lb=first.tension_lb,
            first_sd_lb=first.sd_lb or 0.0,
            second_lb=second.tension_lb,
            second_sd_lb=second.sd_lb or 0.0,
            confidence=confidence,
        )
    return PairCompared(first=pair.first, second=pair.second, comparison=comparison)


def _check_pairs(document: StrapTensionInput) -> None:
    codes = {reading.code for reading in document.readings}
    for index, pair in enumerate(document.pairs):
        for name, code in (("first", pair.first), ("second", pair.second)):
            if code not in codes:
                raise InvalidInput(f"{code!a} is not the code of a reading", field=f"pairs[{index}].{name}")
        if pair.first == pair.second:
            raise InvalidInput("must be another reading than the first", field=f"pairs[{index}].second")
    if not 0.5 <= document.confidence < 1:
        raise InvalidInput(f"must be at least 0.5 and below 1, not {document.confidence}", field="confidence")


def _check(document: StrapTensionInput) -> None:
    _check_pairs(document)
    check_names((reading.code for reading in document.readings), "readings")
    check_range(document.working_lb, "working_lb", above=0, most=STRONGEST_LB)
    check_range(document.ultimate_lb, "ultimate_lb", least=document.working_lb, most=STRONGEST_LB)
    for index, reading in enumerate(document.readings):
        _check_reading(reading, f"readings[{index}]")


def _check_reading(reading: TensionReading, at: str) -> None:
    if reading.method == "pluck":
        _need(reading.free_length_in, f"{at}.free_length_in", "a pluck", above=0, most=LONGEST_IN)
        _need(reading.frequency_hz, f"{at}.frequency_hz", "a pluck", above=0, most=20_000)
        if reading.tension_lb is not None:
            raise InvalidInput("must be null for a pluck: the pitch tells it", field=f"{at}.tension_lb")
    else:
        _need(reading.tension_lb, f"{at}.tension_lb", "a gauge", least=0, most=STRONGEST_LB)
        _need(reading.sd_lb, f"{at}.sd_lb", "a gauge", least=0, most=STRONGEST_LB)
    check_range(reading.mode, f"{at}.mode", least=1, most=10)
    check_range(reading.width_in, f"{at}.width_in", above=0, most=12)
    check_range(reading.thickness_in, f"{at}.thickness_in", above=0, most=1)
    check_range(reading.density_lb_per_in3, f"{at}.density_lb_per_in3", above=0, most=2)
    check_range(reading.sd_hz, f"{at}.sd_hz", least=0, most=20_000)
    check_range(reading.sd_length_in, f"{at}.sd_length_in", least=0, most=LONGEST_IN)
    check_range(reading.e_psi, f"{at}.e_psi", above=0, most=1e8)


def _need(
    value: float | None, field: str, what: str, *, above: float | None = None, least: float | None = None, most: float
) -> None:
    if value is None:
        raise InvalidInput(f"must be given for {what}", field=field)
    check_range(value, field, above=above, least=least, most=most)


def _result(reading: TensionReading, document: StrapTensionInput) -> TensionResult:
    if reading.method == "gauge":
        tension_lb, sd_lb, share = reading.tension_lb, reading.sd_lb, None
        told = True
    else:
        tension_lb, sd_lb, share = _plucked(reading)
        told = tension_lb is not None and share <= STIFFEST_SHARE + EPSILON and _sag(reading, tension_lb) <= MOST_SAG
    state: State = "too_slack_to_tell"
    if told and tension_lb is not None:
        state = _state(tension_lb, document)
    return TensionResult(code=reading.code, tension_lb=tension_lb, sd_lb=sd_lb, stiffness_share=share, state=state)


def _state(tension_lb: float, document: StrapTensionInput) -> State:
    if tension_lb > document.ultimate_lb + EPSILON:
        return "over_ultimate"
    return "over_working" if tension_lb > document.working_lb + EPSILON else "within_working"


def _plucked(reading: TensionReading) -> tuple[float | None, float | None, float]:
    """Tension, its standard deviation, and the share of stiffness in the pitch's square."""
    length, pitch = reading.free_length_in or 0.0, reading.frequency_hz or 0.0  # both above 0: checked
    area = reading.width_in * reading.thickness_in
    s = 2 * length * pitch / reading.mode * math.sqrt(reading.density_lb_per_in3 * area / GRAVITY_IN_PER_S2)
    stiff = reading.e_psi * area * reading.thickness_in**2 / 12 / length**2  # E I / L^2, a force
    per_length, per_pitch = 0.0, 0.0
    if reading.ends == "pinned":
        bent = (reading.mode * math.pi) ** 2 * stiff
        tension = s * s - bent
        per_pitch, per_length = 2 * s * s / pitch, 2 * (s * s + bent) / length
    else:
        a, c = math.sqrt(stiff), 4 + (reading.mode * math.pi) ** 2 / 2
        rest = s - 2 * a
        under_root = rest * rest - 4 * c * a * a
        if rest <= 0 or under_root <= 0:
            return None, None, 1.0
        slope = math.sqrt(under_root)
        x = (rest + slope) / 2
        tension = x * x
        # x^2 - (s - 2a) x + c a^2 = 0, differentiated: s grows with pitch and length, a falls with the length.
        per_pitch = 2 * x * x / slope * s / pitch
        per_length = 2 * x / slope * (x * s + 2 * a * (x + c * a)) / length
    if tension <= 0:
        return None, None, 1.0
    sd = math.hypot(per_pitch * reading.sd_hz, per_length * reading.sd_length_in)
    return tension, sd, max(0.0, 1 - tension / (s * s))


def _sag(reading: TensionReading, tension_lb: float) -> float:
    """How much the band's own weight stretches it beside how much its tension does."""
    area = reading.width_in * reading.thickness_in
    weight_lb = reading.density_lb_per_in3 * area * (reading.free_length_in or 0.0)
    return (weight_lb / tension_lb) ** 2 * reading.e_psi * area / tension_lb
