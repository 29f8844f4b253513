"""Anchor straps before and after the frame moves: length, slack, tension if left tight, angle and winding."""

import math
from dataclasses import dataclass
from typing import Literal

from calcs.engine.common import ENGINE_VERSION, Caution, ResultWarning
from calcs.engine.errors import InvalidInput
from calcs.engine.ranges import check_names, check_range
from calcs.engine.units import format_sixteenths

EPSILON = 1e-9
LONGEST_IN = 1200.0  # 100 ft; a longer strap is a slip of the pen
SHORTEST_IN = 1e-3  # below it E A / length means nothing
STRONGEST_LB = 1e6

TensionState = Literal["over_ultimate", "over_working", "within_working"]
Handling = Literal["loosen_first", "retension", "leave"]
AngleVerdict = Literal["ok", "flag", "fail"]

SOURCES = (
    "24 CFR 3285.402(a): ties work at 3,150 lb and hold 4,725 lb; strap 1-1/4 by 0.035 in, ASTM D3953 Type 1",
    "24 CFR 3285.402 Tables 1 to 3: strap 30 to 60 degrees from the ground",
    "77 Ill. Adm. Code 870.220: 40 to 50 degrees, the example of a state that asks for more",
    "steel 29,000,000 psi: AISC practice",
    "tension if tight = E A / length x lengthening, anchor and beam taken as rigid: an upper bound",
    "winding: strap of thickness t round a bolt d takes pi d N + pi t N^2 (area of the wound roll)",
    "at least two wraps: common practice, no source; the anchor's listing governs",
)

LISTING = Caution(
    code="strap_listing",
    text="Tighten as the anchor's listing says, alike on both sides; this figure is no tension to aim for.",
    source="24 CFR 3285.402(a); it gives no field tension",
)
_SLACKENING = (
    Caution(
        code="strap_recoil",
        text="Stand clear of the strap's line, release it slowly and wear eye protection.",
        source="common practice, no source",
    ),
    Caution(
        code="strap_wind",
        text="Do not slacken a side with wind forecast; work one bay at a time.",
        source="common practice, no source",
    ),
    Caution(
        code="strap_same_day",
        text="Tighten every slackened strap again the same day, after the final wedges; no night untied.",
        source="common practice, no source; 24 CFR 3285.401(a) puts anchoring after blocking and leveling",
    ),
    LISTING,
)
DRIVING = Caution(
    code="locate_lines",
    text="Before an anchor is moved or driven, have buried lines located and expose them by hand near the marks.",
    source="29 CFR 1926.651(b)",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strap:
    """One diagonal strap from its anchor head to its hook on the beam.

    Parameters
    ----------
    code : str
        Name, unique in the document.
    run_in : float
        Horizontal distance from the anchor head to the hook, 0 or more.
    rise_in : float
        Vertical distance from the anchor head up to the hook, 0 or more.
    raise_in : float
        How far the hook goes up at its highest during the work, jack clearance included; below 0: down.
    slack_in : float
        Length that the strap can give before it is tight.
    tension_lb : float or None
        What it carries now; None when not known. Not above 0 together with slack.
    wraps : float or None
        Turns on the bolt now.
    width_in, thickness_in : float
        Of the band.
    e_psi : float
        Modulus of elasticity of the band.
    bolt_in : float
        Diameter of the bolt on which the strap winds.
    """

    code: str
    run_in: float
    rise_in: float
    raise_in: float
    slack_in: float = 0.0
    tension_lb: float | None = None
    wraps: float | None = None
    width_in: float = 1.25
    thickness_in: float = 0.035
    e_psi: float = 29e6
    bolt_in: float = 0.625


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapsInput:
    """The straps and what they are held against.

    Parameters
    ----------
    straps : tuple of Strap
        The straps.
    working_lb, ultimate_lb : float
        Working and ultimate load of a tie; the ultimate is not below the working load.
    angle_fail_deg, angle_flag_deg : tuple of float
        Lowest and highest angle from the ground, ends included: outside the first fails, outside the second
        is flagged.
    least_wraps : float
        Fewest turns on a bolt.
    """

    straps: tuple[Strap, ...]
    working_lb: float = 3150.0
    ultimate_lb: float = 4725.0
    angle_fail_deg: tuple[float, float] = (30.0, 60.0)
    angle_flag_deg: tuple[float, float] = (40.0, 50.0)
    least_wraps: float = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapResult:
    """One strap before and after.

    Parameters
    ----------
    code : str
        The strap's name.
    length_before_in, length_after_in : float
        From anchor head to hook.
    slack_needed_in : float
        Slack that lets the beam go up without pulling.
    tension_if_tight_lb : float
        What it would carry if nothing were loosened and nothing gave.
    tension_state : str
        That tension against the ultimate and the working load.
    handling : str
        Loosen before lifting, only tighten again afterwards, or leave alone.
    angle_before_deg, angle_after_deg : float
        From the ground.
    angle_verdict : str
        On the angle after.
    bolt_turns : float
        Turns of a bare bolt that take up, or give, the change of length.
    wraps_after : float or None
        Turns on the bolt when the strap is snug again; None when the turns now are not known.
    warnings : tuple of ResultWarning
        ``tension_unknown``, ``too_short``, ``few_wraps``.
    """

    code: str
    length_before_in: float
    length_after_in: float
    slack_needed_in: float
    tension_if_tight_lb: float
    tension_state: TensionState
    handling: Handling
    angle_before_deg: float
    angle_after_deg: float
    angle_verdict: AngleVerdict
    bolt_turns: float
    wraps_after: float | None
    warnings: tuple[ResultWarning, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StrapsResult:
    """Every strap, in the order given."""

    straps: tuple[StrapResult, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]


def solve_straps(document: StrapsInput) -> StrapsResult:
    """Say of each strap what the move does to it and whether it must be loosened first.

    Parameters
    ----------
    document : StrapsInput
        The straps and their limits.

    Returns
    -------
    StrapsResult
        One entry a strap; lengths in inches, tensions in pounds, angles in degrees from the ground.

    Raises
    ------
    InvalidInput
        For a number out of range, a strap of no length, a hook that would end below its anchor head, slack
        together with tension, a range with its ends swapped, or a name given twice.

    References
    ----------
    24 CFR 3285.402 (loads, strap, angle).
    """
    _check(document)
    straps = tuple(_strap(strap, document) for strap in document.straps)
    cautions: tuple[Caution, ...] = ()
    if any(strap.handling != "leave" for strap in straps):
        cautions += _SLACKENING
    if any(strap.angle_verdict == "fail" for strap in straps):
        cautions += (DRIVING,)
    return StrapsResult(straps=straps, engine_version=ENGINE_VERSION, sources=SOURCES, cautions=cautions, warnings=())


def _check(document: StrapsInput) -> None:
    check_names((strap.code for strap in document.straps), "straps")
    check_range(document.working_lb, "working_lb", above=0, most=STRONGEST_LB)
    check_range(document.ultimate_lb, "ultimate_lb", least=document.working_lb, most=STRONGEST_LB)
    check_range(document.least_wraps, "least_wraps", least=0, most=100)
    for field in ("angle_fail_deg", "angle_flag_deg"):
        low, high = getattr(document, field)
        check_range(low, f"{field}[0]", least=0, most=90)
        check_range(high, f"{field}[1]", least=low, most=90)
    for index, strap in enumerate(document.straps):
        _check_strap(strap, f"straps[{index}]")


def _check_strap(strap: Strap, at: str) -> None:
    check_range(strap.run_in, f"{at}.run_in", least=0, most=LONGEST_IN)
    check_range(strap.rise_in, f"{at}.rise_in", least=0, most=LONGEST_IN)
    check_range(strap.raise_in, f"{at}.raise_in", least=-LONGEST_IN, most=LONGEST_IN)
    check_range(strap.slack_in, f"{at}.slack_in", least=0, most=LONGEST_IN)
    check_range(strap.width_in, f"{at}.width_in", above=0, most=12)
    check_range(strap.thickness_in, f"{at}.thickness_in", above=0, most=1)
    check_range(strap.e_psi, f"{at}.e_psi", above=0, most=1e8)
    check_range(strap.bolt_in, f"{at}.bolt_in", least=0.01, most=12)
    if strap.tension_lb is not None:
        check_range(strap.tension_lb, f"{at}.tension_lb", least=0, most=STRONGEST_LB)
        if strap.tension_lb > 0 and strap.slack_in > 0:
            raise InvalidInput("must be 0 or null while slack_in is above 0", field=f"{at}.tension_lb")
    if strap.wraps is not None:
        check_range(strap.wraps, f"{at}.wraps", least=0, most=100)
    if strap.rise_in + strap.raise_in < 0:
        raise InvalidInput(
            f"must be at least {-strap.rise_in:g}: the hook can't go below the anchor head", field=f"{at}.raise_in"
        )
    if math.hypot(strap.run_in, strap.rise_in) < SHORTEST_IN:
        raise InvalidInput("must be above 0 where rise_in is 0: the strap has no length", field=f"{at}.run_in")
    if math.hypot(strap.run_in, strap.rise_in + strap.raise_in) < SHORTEST_IN:
        raise InvalidInput("must leave the strap some length", field=f"{at}.raise_in")


def _strap(strap: Strap, document: StrapsInput) -> StrapResult:
    before = math.hypot(strap.run_in, strap.rise_in)
    height_after = strap.rise_in + strap.raise_in
    after = math.hypot(strap.run_in, height_after)
    # (after - before) without subtracting two nearly equal lengths.
    longer = strap.raise_in * (strap.rise_in + height_after) / (after + before)
    stiffness_lb_per_in = strap.e_psi * strap.width_in * strap.thickness_in / before
    tension = max(0.0, (strap.tension_lb or 0.0) + stiffness_lb_per_in * longer)
    angle_after = _angle_deg(strap.run_in, height_after)
    wraps_after, warnings = _wraps_after(strap, longer, document.least_wraps)
    if strap.tension_lb is None:
        unknown = ResultWarning(
            code="tension_unknown", text="What the strap carries now is not given; counted as nothing."
        )
        warnings = (unknown, *warnings)
    return StrapResult(
        code=strap.code,
        length_before_in=before,
        length_after_in=after,
        slack_needed_in=max(0.0, longer),
        tension_if_tight_lb=tension,
        tension_state=_tension_state(tension, document),
        handling=_handling(longer, strap.slack_in),
        angle_before_deg=_angle_deg(strap.run_in, strap.rise_in),
        angle_after_deg=angle_after,
        angle_verdict=_angle_verdict(angle_after, document),
        bolt_turns=_turns(abs(longer), bolt_in=strap.bolt_in, thickness_in=strap.thickness_in),
        wraps_after=wraps_after,
        warnings=warnings,
    )


def _angle_deg(run_in: float, rise_in: float) -> float:
    return math.degrees(math.atan2(rise_in, run_in)) + 0.0  # no -0.0


def _tension_state(tension_lb: float, document: StrapsInput) -> TensionState:
    if tension_lb > document.ultimate_lb + EPSILON:
        return "over_ultimate"
    return "over_working" if tension_lb > document.working_lb + EPSILON else "within_working"


def _handling(longer_in: float, slack_in: float) -> Handling:
    if longer_in > slack_in + EPSILON:
        return "loosen_first"
    return "retension" if abs(longer_in) > EPSILON or slack_in > EPSILON else "leave"


def _angle_verdict(angle_deg: float, document: StrapsInput) -> AngleVerdict:
    def inside(ends: tuple[float, float]) -> bool:
        return ends[0] - EPSILON <= angle_deg <= ends[1] + EPSILON

    if not inside(document.angle_fail_deg):
        return "fail"
    return "ok" if inside(document.angle_flag_deg) else "flag"


def _turns(length_in: float, *, bolt_in: float, thickness_in: float) -> float:
    """The root N >= 0 of pi d N + pi t N^2 = length, in the form that keeps its digits when t is small."""
    share = length_in / math.pi
    return 2 * share / (bolt_in + math.sqrt(bolt_in * bolt_in + 4 * thickness_in * share))


def _wraps_after(
    strap: Strap, longer_in: float, least_wraps: float
) -> tuple[float | None, tuple[ResultWarning, ...]]:
    if strap.wraps is None:
        return None, ()
    wound = math.pi * strap.wraps * (strap.bolt_in + strap.thickness_in * strap.wraps)
    left = wound - longer_in + strap.slack_in
    warnings = []
    if left < -EPSILON:
        text = f"The strap is {format_sixteenths(-left)} in too short for its bolt; a longer one is needed."
        warnings.append(ResultWarning(code="too_short", text=text))
    wraps = _turns(max(0.0, left), bolt_in=strap.bolt_in, thickness_in=strap.thickness_in)
    if wraps < least_wraps - EPSILON:
        text = f"{wraps:.2f} turns stay on the bolt; at least {least_wraps:g} are wanted."
        warnings.append(ResultWarning(code="few_wraps", text=text))
    return wraps, tuple(warnings)
