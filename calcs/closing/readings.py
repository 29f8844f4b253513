"""What is open about the survey as left: rounds, closing shots, doubts, and pairs that stay too far apart."""

import math
import re
from collections.abc import Iterator
from uuid import UUID

from django.utils.translation import gettext as _

from calcs import codec
from calcs.closing.opens import Open, listed
from calcs.closing.seen import Seen
from calcs.engine.flatness import FlatnessResult
from calcs.engine.levels import LevelsInput, LevelsResult
from calcs.models import Closing
from surveys.models import Reading, Survey

ROUNDS = 2
# A closing shot and the first one are two readings: their difference has sqrt(2) of the deviation of one. Beyond
# three of those the reference has moved, or was read wrong.
MOST_SDS = 3.0


def open_about_survey(closing: Closing, seen: Seen) -> Iterator[Open]:
    """Tell what is open about the survey that a closing names as left."""
    survey = closing.as_left
    if survey is None:
        yield Open(code="no_as_left", words=_("No survey as left is chosen."))
        return
    if survey.state != Survey.State.SUBMITTED:
        yield Open(code="not_submitted", words=_("The survey as left is not handed in."))
        return
    if survey.started_at < closing.approval.approved_at:
        words = _("The survey as left was started before this plan was approved: read the home again.")
        yield Open(code="too_early", words=words)
    elif _is_worked_after(closing, survey, seen):
        words = _("Work was noted after the survey as left was handed in: read the home again.")
        yield Open(code="too_early", words=words)
    readings, labels = seen.readings[survey.pk], seen.labels[survey.siting_id]
    yield from _rounds(seen.supports[survey.siting_id], readings, labels)
    levels, flatness = (seen.answers.get((survey.pk, kind)) for kind in ("levels", "flatness"))
    if levels is None or flatness is None:
        yield Open(code="not_computed", words=_("How level the home was left is not computed yet."))
        return
    yield from _reference(readings, codec.decode(levels.input, LevelsInput))
    yield from _suspects(readings, codec.decode(levels.result or {}, LevelsResult), labels)
    yield from _over(closing, codec.decode(flatness.result or {}, FlatnessResult), labels)


def _is_worked_after(closing: Closing, survey: Survey, seen: Seen) -> bool:
    last, submitted = seen.last_work_at.get(closing.approval.plan_id), survey.submitted_at
    return last is not None and submitted is not None and last > submitted


def _rounds(walked: list[UUID], readings: list[Reading], labels: dict[UUID, str]) -> Iterator[Open]:
    rounds: dict[UUID, set[int]] = {}
    for reading in readings:
        rounds.setdefault(reading.point_id, set()).add(reading.round)
    short = [labels[point] for point in walked if len(rounds.get(point, ())) < ROUNDS]
    if short:
        words = _("Not read in two rounds as left: {points}.").format(points=listed(short))
        yield Open(code="one_round", words=words)


def _reference(readings: list[Reading], asked: LevelsInput) -> Iterator[Open]:
    sd_in = {setup.code: setup.reading_sd_in for setup in asked.setups}
    shots: dict[UUID, list[Reading]] = {}
    for reading in sorted(readings, key=lambda row: (row.sequence, row.pk)):
        shots.setdefault(reading.setup_id, []).append(reading)
    unclosed, off = [], []
    for setup_id, row in shots.items():
        setup, misclosure_in = row[0].setup, _misclosure_in(row)
        if misclosure_in is None:
            unclosed.append(setup.code)
        elif not setup.has_drift and misclosure_in > MOST_SDS * math.sqrt(2) * sd_in[str(setup_id)]:
            off.append(setup.code)  # where the line may drift, the heights have taken that into account
    if unclosed:
        words = _("No closing shot on the reference: setup {setups}.").format(setups=listed(sorted(unclosed)))
        yield Open(code="reference_open", words=words)
    if off:
        words = _("The closing shot is off by more than the readings' noise: setup {setups}. Read from there again.")
        yield Open(code="misclosure", words=words.format(setups=listed(sorted(off))))


def _misclosure_in(row: list[Reading]) -> float | None:
    """Return by how much closing shots of a setup stand off the first shot at their mark; None without one."""
    first: dict[UUID, float] = {}
    worst: float | None = None
    for reading in row:
        if reading.shot == Reading.Shot.POINT:
            continue
        height_in = reading.setup.above_line_in(reading)
        if reading.shot == Reading.Shot.CLOSING and reading.point_id in first:
            worst = max(worst or 0.0, abs(height_in - first[reading.point_id]))
        first.setdefault(reading.point_id, height_in)
    return worst


def _suspects(readings: list[Reading], levels: LevelsResult, labels: dict[UUID, str]) -> Iterator[Open]:
    point = {str(reading.pk): labels[reading.point_id] for reading in readings}
    suspect = {point[check.id] for check in levels.readings if check.suspect}
    if suspect:
        words = _("A reading as left is suspect: read again at {points}.").format(points=listed(sorted(suspect)))
        yield Open(code="suspect", words=words)


def _over(closing: Closing, flatness: FlatnessResult, labels: dict[UUID, str]) -> Iterator[Open]:
    pairs = [(labels[UUID(pair.a)], labels[UUID(pair.b)]) for pair in flatness.pairs if pair.verdict == "over"]
    unnamed = [pair for pair in pairs if not all(_is_named(label, closing.exceptions) for label in pair)]
    if unnamed:
        words = _("Pairs are left too far apart: {pairs}. Name them in the exceptions.")
        yield Open(code="over", words=words.format(pairs=listed(f"{a}-{b}" for a, b in unnamed)))


def _is_named(label: str, text: str) -> bool:
    """Tell whether a text names a support: A1 is not in A12."""
    return re.search(rf"(?<!\w){re.escape(label)}(?!\w)", text, re.IGNORECASE) is not None
