"""What is wrong with the readings that a plan rests on."""

import math
from collections.abc import Iterator
from statistics import NormalDist

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calcs.approving.refusals import Case, Refusal, listed, managers, nobodys
from calcs.approving.since import marks_jump
from calcs.engine.frame import FrameInput, FrameResult
from calcs.engine.levels import LevelsInput, LevelsResult
from calcs.engine.levels.snooping import global_test
from surveys.models import Reading, Setup

MISCLOSURE_SDS = 3.0
Shot = Reading.Shot


def of_readings(case: Case) -> Iterator[Refusal]:
    """Tell what in the readings is in the way."""
    levels, asked = case.record.levels, case.record.levels_input
    if levels is None or asked is None:  # no current plan is without them
        return
    yield from _contested(case)
    if case.plan.is_provisional:
        words = _("Provisional: read {points} again first.").format(points=case.names(case.plan.provisional_points))
        yield nobodys("provisional", words)
    yield from _setups(case, levels, asked)
    yield from _unchecked(case, levels)
    yield from _scatter(case, levels)
    yield from _jumps(case)
    yield from _hanging(case)
    yield from marks_jump(case)


def _contested(case: Case) -> Iterator[Refusal]:
    readings = case.record.readings.values()
    settled = {reading.settles_id for reading in readings}
    points = {str(reading.point_id) for reading in readings if reading.is_contested and reading.pk not in settled}
    if points:
        words = _("Corrected twice, and nobody said which holds: {points}.").format(points=case.names(points))
        yield nobodys("contested", words)


# -- setups: which way the numbers go, and whether the line stayed where it was --------------------------------


def _setups(case: Case, levels: LevelsResult, asked: LevelsInput) -> Iterator[Refusal]:
    """Tell of each setup that was read from whether its sense is proven and its line closed."""
    used = {reading.id for reading in asked.readings}
    shots: dict[str, list[Reading]] = {setup.code: [] for setup in asked.setups}
    for key, reading in case.record.readings.items():
        if key in used:
            shots[str(reading.setup_id)].append(reading)
    untried = [code for code in shots if case.record.setups[code].sense_trial == Setup.Trial.NOT_MADE]
    if untried:
        words = ngettext(
            "Nobody tried which way the numbers go from {setups}: raise the end an inch and note it.",
            "Nobody tried which way the numbers go from {setups}: raise the end an inch at each and note it.",
            len(untried),
        )
        yield nobodys("sense_not_tried", words.format(setups=case.names(untried)))
    yield from _not_closed(case, levels, shots)
    sd_in = {setup.code: setup.reading_sd_in for setup in asked.setups if not setup.drift}
    for code, limit_in in sd_in.items():
        yield from _misclosure(case, code, shots[code], MISCLOSURE_SDS * math.sqrt(2) * limit_in)


def _not_closed(case: Case, levels: LevelsResult, shots: dict[str, list[Reading]]) -> Iterator[Refusal]:
    unchecked = {reading.id for reading in levels.readings if not reading.checked}
    is_open = [code for code, readings in shots.items() if _first_and_closing(readings) is None]
    alone = [code for code in is_open if any(str(reading.pk) in unchecked for reading in shots[code])]
    for codes, make in ((alone, nobodys), ([code for code in is_open if code not in alone], managers)):
        if codes:
            words = ngettext(
                "{setups} has no closing shot on its reference: nobody knows whether its line moved.",
                "{setups} have no closing shot on their references: nobody knows whether their lines moved.",
                len(codes),
            )
            yield make("not_closed", words.format(setups=case.names(codes)))


def _first_and_closing(readings: list[Reading]) -> tuple[Reading, Reading] | None:
    """Return the first reference shot of a setup and the last closing shot on the same point; None without both."""
    in_order = sorted(readings, key=lambda reading: (reading.sequence, str(reading.pk)))
    firsts: dict[object, Reading] = {}
    closed = None
    for reading in in_order:
        if reading.shot == Shot.REFERENCE:
            firsts.setdefault(reading.point_id, reading)
        elif reading.shot == Shot.CLOSING and reading.point_id in firsts:
            closed = firsts[reading.point_id], reading
    return closed


def _misclosure(case: Case, code: str, readings: list[Reading], limit_in: float) -> Iterator[Refusal]:
    pair = _first_and_closing(readings)
    if pair is None:
        return
    setup = case.record.setups[code]
    first, closing = (setup.above_line_in(reading) for reading in pair)
    if abs(closing - first) > limit_in:
        words = _("The closing shot of {setup} is {off} off its first: its line moved, or one of them is wrong.")
        off = case.record.length(abs(closing - first))
        yield managers("misclosure", words.format(setup=setup.code, off=off))


# -- what checks the readings ----------------------------------------------------------------------------------


def _unchecked(case: Case, levels: LevelsResult) -> Iterator[Refusal]:
    alone = {reading.id for reading in levels.readings if not reading.checked}
    points = {str(case.record.readings[key].point_id) for key in alone} - set(case.plan.provisional_points)
    if points:
        words = ngettext(
            "Nothing checks the reading of {points}: read a second round.",
            "Nothing checks the readings of {points}: read a second round.",
            len(points),
        )
        yield managers("unchecked", words.format(points=case.names(points)))


def _scatter(case: Case, levels: LevelsResult) -> Iterator[Refusal]:
    """Tell of readings that agree much worse than the method should, or too well to have been made apart."""
    if levels.global_test is None:
        return
    ratio = levels.global_test.ratio
    test = global_test(ratio, levels.degrees_of_freedom, 1 - 2 * case.rules["alpha"])
    if test.direction == "noisier":
        words = _("The readings scatter {ratio} times as much as the method should: look for what went wrong.")
        yield managers("noisy", words.format(ratio=f"{ratio:.1f}"))
    elif test.direction == "better" and ratio < case.rules["least_scatter"]:
        words = _(
            "The readings agree far better than the method can: was a round copied, or is the survey in another unit?"
        )
        yield managers("copied", words)


def _jumps(case: Case) -> Iterator[Refusal]:
    """Tell of neighbours that differ by more than a frame can bend: a wrong unit, point or number."""
    most_in = case.rules["most_jump_in"]
    pairs = case.record.flatness.pairs if case.record.flatness else ()
    wild = [pair for pair in pairs if abs(pair.difference_in) > most_in]
    if wild:
        names = listed(f"{case.record.name(pair.a)} - {case.record.name(pair.b)}" for pair in wild)
        words = _("Neighbours differ by more than {most}: {pairs}. Look for a wrong unit, point or number.")
        yield managers("jump", words.format(most=case.record.length(most_in), pairs=names))


def _hanging(case: Case) -> Iterator[Refusal]:
    """Tell of supports recorded as tight that would hang as read: a beam does not bend so, even as noise goes.

    It shows labels swapped on the frame and the like. A gap that nobody noted hides in the noise of a water level.
    """
    asked, found = case.as_found("frame", FrameInput), case.answer("frame", FrameResult)
    if asked is None or found is None:
        return
    most_sds = NormalDist().inv_cdf(1 - case.rules["alpha"] / 2)
    read = {support.code: support for beam in asked.beams for support in beam.supports}
    off = {
        support.code: abs(support.consistent_height_in - read[support.code].height_in)
        for support in found.supports
        if support.consistent_height_in is not None
    }
    if wrong := {code for code, off_in in off.items() if off_in > most_sds * read[code].sd_in}:
        words = _(
            "As read, supports would hang that are recorded as tight; look, and read again: {points}, {off} off."
        )
        most = case.record.length(max(off[code] for code in wrong))
        yield managers("hangs_as_read", words.format(off=most, points=case.names(wrong)))
