"""What may hurt somebody, who has read it, when to stop, and how the home is left at night and at the end."""

from django.utils.translation import gettext as _

from calcs.documents.blocks import Block, Cell, Head, Heading, Item, Lines, List, Note, Prose, Section, Table
from calcs.sheet_page.known import Known
from jobs.caution_reads import AtMoment, cautions_by_moment

_BLANK_NAMES = 4  # columns for names, at least
_MOST_NAMES = 6


def hazards_section(known: Known) -> Section:
    """Return what is open at the home."""
    items = tuple(Item(title=hazard.get_kind_display(), words=hazard.text) for hazard in known.hazards)
    block: Block = List(items=items) if items else Prose(words=_("No hazard is open."))
    return Section(key="hazards", title=_("Hazards at this home"), blocks=(block,))


# -- cautions ------------------------------------------------------------------------------------------------


def readers_section(known: Known, moments: tuple[AtMoment, ...]) -> Section:
    """Return a table of moments and names: who has read the cautions, and boxes for who has yet to."""
    named = [str(person) for person in known.people]
    names = list(dict.fromkeys([*named, *(name for at in moments for name in at.read_by)]))[:_MOST_NAMES]
    blanks = max(_BLANK_NAMES - len(names), 0)
    heads = [
        Head(words=_("moment")),
        *(Head(words=name) for name in names),
        *(Head(words="______") for _i in range(blanks)),
    ]
    rows = tuple(
        (
            Cell(words=str(at.moment.label)),
            *(Cell(words=_("read")) if name in at.read_by else Cell(fill="box") for name in names),
            *(Cell(fill="box") for _i in range(blanks)),
        )
        for at in moments
    )
    told = Prose(
        words=_("Read each moment's cautions aloud when it comes; whoever has heard them ticks under the own name.")
    )
    return Section(
        key="read",
        title=_("Who has read the cautions"),
        blocks=(told, Table(name=_("Readers"), heads=tuple(heads), rows=rows)),
    )


def moments_of(known: Known, language: str) -> tuple[AtMoment, ...]:
    """Return every moment's cautions, with who has read them at the visit ahead."""
    return cautions_by_moment(known.reads, language=language)


def cautions_section(known: Known, moments: tuple[AtMoment, ...]) -> Section:
    """Return the cautions by moment, then what the calculations of this plan say to look out for."""
    blocks: list[Block] = []
    for at in moments:
        blocks.append(Heading(words=str(at.moment.label)))
        items = (
            Item(title=f"{each.told.hazard}.", words=each.told.text, more=each.told.source) for each in at.cautions
        )
        blocks.append(List(items=tuple(items), has_boxes=False))
    return Section(key="cautions", title=_("Cautions, by moment"), blocks=tuple(blocks), columns=2)


# -- stopping, and leaving -----------------------------------------------------------------------------------


def stops_section(known: Known) -> Section:
    """Return the reasons to stop: those of this plan, then those of every lift."""
    stops = known.passes.stops if known.passes else ()
    blocks: list[Block] = [
        Note(words=f"{known.record.name(stop.code)}: {known.record.sentence(stop.text)}", is_stop=True)
        for stop in stops
    ]
    ahead = known.passes_input.pass_limit_in if known.passes_input else None
    items = [Item(words=words) for words in _stops()]
    if ahead is not None:
        words = _("A support would go further in one pass than {most}.").format(most=known.record.length(ahead))
        items.append(Item(words=words))
    blocks.append(List(items=tuple(items), has_boxes=False))
    blocks.append(Prose(words=_("Stop, block, everybody out, then ask. Common practice, no source."), is_quiet=True))
    blocks += [Prose(words=text, is_quiet=True) for text in _told(known)]
    return Section(key="stops", title=_("Stop when"), blocks=tuple(blocks))


def _stops() -> tuple[str, ...]:
    """Common practice, no source; the first from 29 CFR 1926.305."""
    return (
        _("A load is up and not blocked, or a jack leans, sinks or slips."),
        _("Somebody is not counted, or is under what goes up or down."),
        _("It smells of gas; water runs; something sparks, cracks loudly or bends."),
        _("A number is off by more than 1/8 in from what it should be: read again before anything else moves."),
        _("The reference has changed by more than 1/8 in, or the level was moved: set it up anew."),
        _("A jack pushes harder than its line says, or reaches the end of its stroke."),
        _("A wedge beside the jack comes loose that is not named to hang; a strap that was loosened is tight."),
        _("A door binds that did not; a crack grows; a drain, pipe, duct or wire pulls."),
        _("Wind, storm or flood comes up; the ground under a pad turns soft."),
    )


def _told(known: Known) -> tuple[str, ...]:
    """What the calculations of this plan warn of, each once."""
    results = [check.result for _kind, check in sorted(known.checks.items()) if check.result]
    if known.plan.lift.result:
        results.insert(0, known.plan.lift.result)
    texts = (known.record.sentence(warning["text"]) for result in results for warning in result["warnings"])
    return tuple(dict.fromkeys(texts))


def night_section() -> Section:
    """Return how the home is left over night."""
    lines = (
        _("every load blocked, every wedge driven, no support hanging that is not named"),
        _("jacks let down and out, or blocked beside; none holds the home"),
        _("every loosened strap tight again: no night untied"),
        _("gas off or checked by whoever the state licenses; water off or watched; drains whole"),
        _("power off below, cords out; openings closed, skirting safe against children and pets"),
        _("everybody counted out by name"),
        _("the people of the home know what to leave alone, and whom to call"),
    )
    who = Lines(words=(_("left so by"), _("day and time"), _("last number read at the reference")))
    items = List(items=tuple(Item(words=words) for words in lines))
    return Section(key="night", title=_("Before leaving for the night"), blocks=(items, who))


def end_section() -> Section:
    """Return what is checked at the end; the job is closed on its own page."""
    lines = (
        _("every wedge tapped and tight"),
        _("doors and windows tried"),
        _("straps tight, wraps counted"),
        _("water on, joints dry; water run through every drain"),
        _("gas that moved checked by a licensed fitter, name and licence noted"),
        _("read as left: every point, two rounds, reference closed"),
        _("belly, skirting, vents closed; photos of every support; head count out"),
    )
    return Section(
        key="end", title=_("At the end"), blocks=(List(items=tuple(Item(words=words) for words in lines)),)
    )
