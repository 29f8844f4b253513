"""What goes on the truck: tools, jacks, their pads, parts; and what all of it weighs against what the truck bears."""

import math
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calcs.documents.blocks import Block, Cell, Head, Heading, Item, List, Note, Prose, Section, Table
from calcs.sheet_page.known import Known, Planned
from calcs.survey_page.checks import part_rows

# Weights and counts of what every crew brings: common practice, no source.
JACK_LB = 25.0  # a bottle jack of 12 to 20 tons
CRIB_LB = 4.0  # a timber 4 by 4, 18 in long
CRIBS_A_JACK = 8
LEVEL_LB = 25.0  # water level and its hose
TOOLS_LB = 100.0
PERSON_LB = 200.0
CREW = 2  # where no visit says who comes
BOARD_IN = 1.5  # thickness of a 2-by
BOARD_LB_PER_FT3 = 35.0
LAYERS = 2
IN3_PER_FT3 = 1728.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """Something to load: how many, what one weighs; ``part`` is stable."""

    part: str
    words: str
    count: int
    each_lb: float

    @property
    def lb(self) -> float:
        """What all of them weigh."""
        return self.count * self.each_lb


def loading_section(known: Known) -> Section:
    """Return what to load, and how it is laid under a jack."""
    loads, payload_lb = loads_of(known), known.rules["truck_payload_lb"]
    total_lb = sum(load.lb for load in loads)
    blocks: list[Block] = [_table(loads, total_lb)]
    blocks.append(_verdict(total_lb, payload_lb))
    if any(load.each_lb == 0 for load in loads):
        blocks.append(Note(words=_("A size that is not known weighs nothing here: leave room for it.")))
    words = _("Weights: common practice, no source. Read the sticker in the door of the truck that goes.")
    blocks.append(Prose(words=words, is_quiet=True))
    blocks += [Heading(words=_("Tools")), List(items=tuple(Item(words=words) for words in _tools()))]
    blocks += [Heading(words=_("Under each jack")), *_under_jacks(known)]
    return Section(key="loading", title=_("Load"), blocks=tuple(blocks))


def loads_of(known: Planned) -> tuple[Load, ...]:
    """Return everything that has a weight: people, tools, jacks with their pads, parts of the stacks."""
    jacks = jacks_at_once(known)
    side_in = pad_side_in(known)
    pad = _("pad under a jack, {side} by {side} in") if side_in else _("pad under a jack, size not known")
    pad_lb = LAYERS * BOARD_IN * side_in**2 / IN3_PER_FT3 * BOARD_LB_PER_FT3 if side_in else 0.0
    parts = (
        Load(part=part.part, words=part.words, count=part.count, each_lb=part.lb / part.count)
        for part in part_rows(known.checks.get("stacks"))
    )
    return (
        Load(part="people", words=_("people"), count=len(known.people) or CREW, each_lb=PERSON_LB),
        Load(part="tools", words=_("tools, all together"), count=1, each_lb=TOOLS_LB),
        Load(part="water_level", words=_("water level with its hose"), count=1, each_lb=LEVEL_LB),
        Load(part="jack", words=_jack_words(known), count=jacks, each_lb=JACK_LB),
        Load(part="pad", words=pad.format(side=side_in), count=jacks, each_lb=pad_lb),
        Load(part="crib", words=_("timber 4 by 4, 18 in, to crib with"), count=CRIBS_A_JACK * jacks, each_lb=CRIB_LB),
        *parts,
    )


def jacks_at_once(known: Planned) -> int:
    """Return how many jacks work at once: those of the largest group; where none is told, those of the rules."""
    groups = [len(group) for each in known.passes.passes for group in each.groups] if known.passes else []
    return max(groups, default=round(known.rules["jacks"]))


def pad_side_in(known: Planned) -> int | None:
    """Return the side [whole in] of a square pad large enough under every jack; None where the soil is not known."""
    steps = [step for each in known.passes.passes for group in each.groups for step in group] if known.passes else []
    if not steps or any(step.pad_in2 is None for step in steps):
        return None
    return math.ceil(math.sqrt(max(step.pad_in2 or 0.0 for step in steps)))


def _jack_words(known: Planned) -> str:
    rated_lb = known.passes_input.jack_rated_lb if known.passes_input else known.rules["jack_rated_lb"]
    return _("jack marked {lb} lb or more").format(lb=f"{rated_lb:,.0f}")


def _table(loads: tuple[Load, ...], total_lb: float) -> Table:
    rows = [
        (
            Cell(words=load.words),
            Cell(words=str(load.count), is_strong=True),
            Cell(words=f"{load.lb:,.0f}" if load.lb else ""),
            Cell(fill="box"),
        )
        for load in loads
    ]
    rows.append(
        (Cell(words=_("together"), is_strong=True), Cell(), Cell(words=f"{total_lb:,.0f}", is_strong=True), Cell())
    )
    return Table(
        name=_("Load"),
        heads=(
            Head(words=_("what")),
            Head(words=_("count"), is_number=True),
            Head(words=_("lb"), is_number=True),
            Head(words=_("loaded")),
        ),
        rows=tuple(rows),
    )


def _verdict(total_lb: float, payload_lb: float) -> Note:
    words = {"total": f"{total_lb:,.0f}", "payload": f"{payload_lb:,.0f}"}
    if total_lb <= payload_lb:
        return Note(words=_("{total} lb of the {payload} lb that the truck may carry.").format(**words))
    trips = math.ceil(total_lb / payload_lb)
    over = _("{total} lb, and the truck may carry {payload}: {trips} trips, or a larger truck.")
    return Note(words=over.format(**words, trips=trips), is_stop=True)


def _tools() -> tuple[str, ...]:
    """Common practice, no source."""
    return (
        _("water level with dye, tape, plumb line, chalk, this sheet in a dry cover"),
        _("hammer, wedge block, pry bars, wood blocks for between jack and steel"),
        _("wrench for the strap bolts, wrenches for what is to be freed, saw"),
        _("lights, cords on a GFCI, knee pads, gloves, eye protection, helmets"),
        _("phone for whoever stays outside, first aid, water, fire extinguisher"),
        _("soapy water for gas joints, bucket, rags, camera"),
    )


def _under_jacks(known: Known) -> list[Block]:
    side_in, jacks = pad_side_in(known), jacks_at_once(known)
    blocks: list[Block] = []
    if side_in:
        words = ngettext(
            "{count} pad of at least {side} by {side} in, two layers of 2-by boards.",
            "{count} pads of at least {side} by {side} in each, two layers of 2-by boards.",
            jacks,
        )
        blocks.append(Prose(words=words.format(count=jacks, side=side_in)))
    else:
        blocks.append(Note(words=_no_pad_words(known), is_stop=True))
    laid = (
        _("Firm, level ground first: no mud, no fill, nothing dug away beside it."),
        _("Lower boards side by side, square to the beam. Upper boards across them, so that each lower one bears."),
        _("Where the ground has a joint, as between two slabs or pads, the lower boards run across the joint."),
        _("The jack stands in the middle of the pad, plumb; wood between its head and the steel."),
    )
    items = tuple(Item(words=words) for words in laid)
    return [*blocks, List(items=items, has_boxes=False), Prose(words=_("common practice, no source"), is_quiet=True)]


def _no_pad_words(known: Known) -> str:
    if known.passes is None:
        return _("How large a pad must be is not known: no jack's load is told. Ask before jacking.")
    if not known.passes.passes:
        return _("No jack is needed for the lines whose loads are told; ask before one is set elsewhere.")
    return _("How large a pad must be is not known: the soil is not, or a support has sunk. Ask before jacking.")
