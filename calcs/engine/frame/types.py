"""What the frame question takes and what it answers: beams, cross members, supports; inches, feet and pounds."""

from dataclasses import dataclass

from calcs.engine.common import Caution, ResultWarning


@dataclass(frozen=True, slots=True, kw_only=True)
class FramePointLoad:
    """A load on one spot of a beam.

    Parameters
    ----------
    x_ft : float
        Where along the home, on the beam.
    lb : float
        Its weight, above 0.
    """

    x_ft: float
    lb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameSupport:
    """A support under a beam: it pushes up and never pulls.

    Parameters
    ----------
    code : str
        Name, unique in the document.
    x_ft : float
        Where along the home, on its beam and 0.01 ft or more from the next support.
    height_in : float
        Its top with nothing on it: the frame's reading less the gap.
    design_offset_in : float
        How far the surface read lies by design above the plane of the unloaded frame.
    sd_in : float
        Standard deviation of the height.
    stiffness_lb_per_in : float or None
        Load that presses it down an inch; None for a rigid one.
    known_bearing : bool
        Seen to be tight: heights are also given that are consistent with it.
    """

    code: str
    x_ft: float
    height_in: float
    design_offset_in: float = 0.0
    sd_in: float = 0.0
    stiffness_lb_per_in: float | None = None
    known_bearing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameBeam:
    """A straight beam along the home, of one section, with what lies on it.

    Parameters
    ----------
    code : str
        Name, unique among the beams.
    y_ft : float
        Where it lies across the home.
    e_psi : float
        Modulus of elasticity.
    i_in4 : float
        Second moment of area.
    section_modulus_in3 : float or None
        For the stress; None where it is not known.
    from_ft, to_ft : float
        Its two ends along the home.
    load_lb_per_ft : float
        Load spread over its whole length, above 0.
    point_loads : tuple of FramePointLoad
        Loads on single spots.
    supports : tuple of FrameSupport
        What stands under it, in any order.
    """

    code: str
    y_ft: float
    e_psi: float = 29e6
    i_in4: float
    section_modulus_in3: float | None = None
    from_ft: float
    to_ft: float
    load_lb_per_ft: float
    point_loads: tuple[FramePointLoad, ...] = ()
    supports: tuple[FrameSupport, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameMember:
    """A cross member, continuous over its beams; it pushes and pulls at each and carries no torsion.

    Parameters
    ----------
    beams : tuple of str
        The beams it lies on, at different places across the home.
    x_ft : float
        Where along the home.
    e_psi : float
        Modulus of elasticity.
    i_in4 : float
        Second moment of area.
    """

    beams: tuple[str, ...]
    x_ft: float
    e_psi: float = 29e6
    i_in4: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameInput:
    """A loaded frame on its supports.

    Parameters
    ----------
    beams : tuple of FrameBeam
        The beams, with loads and supports.
    cross_members : tuple of FrameMember
        What joins them.
    i_factors : tuple of float
        Least and most that floor and walls multiply every ``i_in4`` by; for the range of each load.
    covariance_in2 : tuple of tuple of float or None
        Of the supports' heights, beam by beam in the order given; None: ``sd_in`` squared, each for itself.
    """

    beams: tuple[FrameBeam, ...]
    cross_members: tuple[FrameMember, ...] = ()
    i_factors: tuple[float, float] = (1.0, 3.0)
    covariance_in2: tuple[tuple[float, ...], ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameSupportResult:
    """What one support carries.

    Parameters
    ----------
    code : str
        The support's name.
    reaction_lb : float
        Its load, 0 or more, with every ``i_in4`` as given.
    in_contact : bool
        Whether that passes a millionth of the whole load.
    gap_in : float
        How far the frame is above it; 0 in contact.
    frame_in : float
        The frame's height there, on the scale of ``height_in``.
    reaction_low_lb, reaction_high_lb : float
        5 and 95 % of the load, over the heights' standard deviations and ``i_factors``.
    chance_bearing : float
        Share of the draws in which it is in contact.
    consistent_height_in, consistent_reaction_lb : float or None
        Its height after the least change, measured by the heights' covariance, that lets every support with
        ``known_bearing`` bear, and its load then; None where none is known to, or no such change is possible.
    """

    code: str
    reaction_lb: float
    in_contact: bool
    gap_in: float
    frame_in: float
    reaction_low_lb: float
    reaction_high_lb: float
    chance_bearing: float
    consistent_height_in: float | None = None
    consistent_reaction_lb: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameBeamResult:
    """The hardest bending of one beam.

    Parameters
    ----------
    code : str
        The beam's name.
    max_moment_lb_in : float
        The largest moment anywhere along it, without its sign.
    max_stress_psi : float or None
        That over the section modulus; None where that is not given.
    """

    code: str
    max_moment_lb_in: float
    max_stress_psi: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameResult:
    """Every support beam by beam, and every beam, in the order given."""

    supports: tuple[FrameSupportResult, ...]
    beams: tuple[FrameBeamResult, ...]
    engine_version: str
    sources: tuple[str, ...]
    cautions: tuple[Caution, ...]
    warnings: tuple[ResultWarning, ...]
