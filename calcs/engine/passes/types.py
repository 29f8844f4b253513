"""What the question of the order of jacking takes and answers."""

from dataclasses import dataclass
from typing import Literal

from calcs.engine.common import Caution, ResultWarning
from calcs.engine.frame import FrameInput

HangingAdvice = Literal["snug_now", "leave"]
Sense = Literal["up", "down"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PassSetup:
    """The standing of the level from which the passes are read.

    Parameters
    ----------
    code : str
        Its name.
    sense : {'up', 'down'}
        Whether a bigger number is higher, or lower.
    line_height_in : float
        Height of its line, on the scale of the supports' ``height_in``.
    """

    code: str
    sense: Sense
    line_height_in: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PassesInput(FrameInput):
    """A loaded frame and the change of each support, to be worked off in passes.

    Parameters
    ----------
    moves : dict of str to float
        Change of each support's height [in], up above 0; 0 for those not named.
    pass_limit_in : float
        The most that a support goes in one pass.
    ahead_limit_in : float or None
        The most that a support may be ahead of the next one on its beam, beyond what the plan wants; None: by spacing
        and by what would unload the next one.
    jacks : int
        How many supports may be worked at once.
    jack_rated_lb, jack_factor : float
        A jack's marked load, and how many times its load it must be marked for.
    jack_offset_ft : float
        How far beside its support a jack stands, along the beam.
    jack_clear_in : float
        How far the frame is taken above a support to work on it.
    step_in : float
        Supports go by whole steps, but for the last.
    soil_psf : float or None
        What the soil under the jacks may bear; for the size of their pads.
    day_limit_in : float or None
        The most that a support goes in one day; None: no limit a day.
    engineer_over_in : float or None
        A support that goes further than this in all is a stop; None: none is.
    setup : PassSetup or None
        Where the level stands, for the numbers to read; None: the frame's heights only.
    together : tuple of tuple of str, or None
        Beams whose supports side by side are jacked together, such as the two of a section; those not named stand
        alone. None: every two, from one side of the home to the other.
    """

    moves: dict[str, float]
    pass_limit_in: float = 0.25
    ahead_limit_in: float | None = None
    jacks: int = 4
    jack_rated_lb: float = 24000.0
    jack_factor: float = 2.0
    jack_offset_ft: float = 1.25
    jack_clear_in: float = 0.125
    step_in: float = 0.0625
    soil_psf: float | None = None
    day_limit_in: float | None = None
    engineer_over_in: float | None = None
    setup: PassSetup | None = None
    together: tuple[tuple[str, ...], ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PassStep:
    """One support in one group.

    Parameters
    ----------
    code : str
        The support.
    by_in, to_in : float
        How far it goes, down below 0, and the height it then has.
    jack_lb : float
        The hardest that its jack pushes.
    jack_ok : bool
        Whether the jack is marked for that times the factor.
    pad_in2 : float or None
        The least area of the pad under the jack; None while the soil is not given.
    """

    code: str
    by_in: float
    to_in: float
    jack_lb: float
    jack_ok: bool
    pad_in2: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PassHanging:
    """A support that carries nothing at the end of a pass.

    ``leave`` where it bears again when the last pass is done, else ``snug_now``.
    """

    code: str
    advice: HangingAdvice


@dataclass(frozen=True, slots=True, kw_only=True)
class PassNumber:
    """What is read at a support at the end of a pass, when the jacks are down.

    Parameters
    ----------
    code : str
        The support.
    frame_in : float
        The frame's height there, on the scale of ``height_in``: that of the support, or more where it hangs.
    read_in : float or None
        The number that the setup shows there; None without a setup.
    in_contact : bool
        Whether the support carries the frame.
    """

    code: str
    frame_in: float
    read_in: float | None
    in_contact: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class JackingPass:
    """One round over the supports: its groups in their order, each worked at once.

    Parameters
    ----------
    number : int
        From 1.
    day : int
        From 1: the passes of a day take no support further than the day's limit.
    groups : tuple of tuple of PassStep
        At most as many supports in each as there are jacks.
    worst_ahead_in : float
        The furthest that a support was ahead of the next one after any group of this pass.
    hanging : tuple of str
        The supports that carry nothing at its end.
    hanging_advice : tuple of PassHanging
        What to do about each of them.
    numbers : tuple of PassNumber
        What to read at its end, at every support that it changes and at the next ones on the same beam.
    """

    number: int
    day: int
    groups: tuple[tuple[PassStep, ...], ...]
    worst_ahead_in: float
    hanging: tuple[str, ...]
    hanging_advice: tuple[PassHanging, ...]
    numbers: tuple[PassNumber, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PassStop:
    """A reason to stop at a support: the plan isn't to be worked as it is."""

    code: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PassesResult:
    """The passes in their order, and how many days they take; none where nothing moves."""

    passes: tuple[JackingPass, ...]
    days: int
    stops: tuple[PassStop, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]
