"""What the readings say: doubts with what to do about them, and how level the home is, pair by pair."""

import math
from dataclasses import dataclass
from statistics import NormalDist

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from calcs.engine.levels import LevelsResult
from calcs.survey_page.record import Record
from surveys.models import Reading

TWO_SIDED_95 = NormalDist().inv_cdf(0.975)
EPSILON = 1e-9
_ORDER = {"over": 0, "uncertain": 1, "within": 2}


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """Something doubtful about the readings, and what to do."""

    what: str
    do: str
    is_suspect: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PairRow:
    """Two neighbours and the verdict on them."""

    a: str
    b: str
    words: str
    difference: str
    distance_ft: float
    one_in: str
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DoubtfulPoints:
    """Keys of points whose readings are suspect, and of those that no other reading checks."""

    suspect: frozenset[str]
    unchecked: frozenset[str]


def doubtful_points(record: Record) -> DoubtfulPoints:
    """Return the points that the map marks."""
    suspect, unchecked = set(), set()
    for check in record.levels.readings if record.levels else ():
        point = str(record.readings[check.id].point_id)
        if check.suspect:
            suspect.add(point)
            suspect |= {str(record.readings[other].point_id) for other in check.also_suspect}
        if not check.checked:
            unchecked.add(point)
    return DoubtfulPoints(suspect=frozenset(suspect), unchecked=frozenset(unchecked))


def doubts(record: Record) -> tuple[Doubt, ...]:
    """List what is doubtful: corrections to settle, then suspect readings, then those that nothing checks."""
    contested = _contested(record)
    if record.levels is None:
        return tuple(contested)
    return (*contested, *_suspects(record, record.levels), *_unchecked(record, record.levels))


def _contested(record: Record) -> list[Doubt]:
    """Tell of second corrections that nobody has settled, those of one reading together.

    The page has every reading of the survey, so this asks the database nothing.
    """
    readings = record.readings.values()
    settled = {reading.settles_id for reading in readings}
    replaced_by = {reading.replaces_id: reading for reading in readings if not reading.is_contested}
    aside: dict[str, list[str]] = {}
    for reading in readings:
        if reading.is_contested and reading.pk not in settled:
            holds = record.readings[str(reading.replaces_id)]
            while holds.pk in replaced_by:
                holds = replaced_by[holds.pk]
            aside.setdefault(str(holds.pk), []).append(_by_author(reading))
    return [_to_settle(record, record.readings[key], found) for key, found in aside.items()]


def _to_settle(record: Record, holds: Reading, aside: list[str]) -> Doubt:
    what = _("{reading} was corrected more than once: {holds} stands; set aside: {aside}").format(
        reading=_place(record, holds), holds=_by_author(holds), aside=", ".join(aside)
    )
    do = _("Read {point} again and say which holds: correct the reading that stands, naming the one this settles.")
    return Doubt(what=what, do=do.format(point=record.name(str(holds.point_id))), is_suspect=True)


def _by_author(reading: Reading) -> str:
    return _("{typed} by {author}").format(typed=reading.typed or _("withdrawn"), author=reading.author)


def _suspects(record: Record, levels: LevelsResult) -> list[Doubt]:
    found, told = [], set[str]()
    for check in levels.readings:
        if not check.suspect or check.id in told:
            continue
        told |= {check.id, *check.also_suspect}
        off = record.length(abs(check.slip_in or 0.0))
        point = record.name(str(record.readings[check.id].point_id))
        if not check.also_suspect:
            what = _("{reading} is about {off} off").format(reading=_reading(record, check.id), off=off)
            do = _("Read {point} again.").format(point=point)
        else:
            which = ", ".join(_reading(record, key) for key in (check.id, *check.also_suspect))
            what = _("One of these is about {off} off, and nothing tells which: {which}").format(off=off, which=which)
            points = {record.name(str(record.readings[key].point_id)) for key in (check.id, *check.also_suspect)}
            do = _("Read {points} a third time: that tells them apart.").format(points=_listed(points))
        found.append(Doubt(what=what, do=do, is_suspect=True))
    return found


def _unchecked(record: Record, levels: LevelsResult) -> list[Doubt]:
    points = {str(record.readings[check.id].point_id) for check in levels.readings if not check.checked}
    if not points:
        return []
    names = [record.name(key) for key in record.points if key in points]
    what = ngettext(
        "Nothing checks the reading of {points}", "Nothing checks the readings of {points}", len(names)
    ).format(points=", ".join(names))
    do = _("Read once more, best from another setup: a slip there would not show.")
    return [Doubt(what=what, do=do, is_suspect=False)]


def _reading(record: Record, key: str) -> str:
    """Name a reading in a sentence, with what was typed."""
    reading = record.readings[key]
    return f"{_place(record, reading)} ({reading.typed})"


def _place(record: Record, reading: Reading) -> str:
    """Say where, from where and in which round something was read."""
    setup = record.setups.get(str(reading.setup_id))
    return _("{point} from {setup}, round {round}").format(
        point=record.name(str(reading.point_id)), setup=setup.code if setup else "?", round=reading.round
    )


def _listed(names: set[str]) -> str:
    return _(" or ").join(sorted(names))


def not_read(record: Record) -> str:
    """Name the supports, and the ends of pairs, of which nothing is known."""
    if not record.unread:
        return ""
    points = ", ".join(point.label for point in record.unread)
    return ngettext(
        "Not read: {points}. Nothing is known of it; read it before lifting.",
        "Not read: {points}. Nothing is known of them; read them before lifting.",
        len(record.unread),
    ).format(points=points)


def joined_words(record: Record) -> str:
    """Say what a bay that was read during the work was joined to; nothing of another survey."""
    joined = record.joined
    if joined is None:
        return ""
    words = _("brought on one scale with what was read before by {common}; heights kept from then: {count}")
    return words.format(common=", ".join(record.name(one.point) for one in joined.common), count=len(joined.carried))


def agreement(record: Record) -> str:
    """Say in plain words whether the readings agree with each other as well as the method should."""
    levels = record.levels
    if levels is None:
        return ""
    test = levels.global_test
    if test is None:
        return _("Every height rests on one reading: nothing shows whether they agree. Read a second round.")
    figures = _("scatter {ratio} of what the method should give; {lower} to {upper} is usual").format(
        ratio=f"{test.ratio:.2f}", lower=f"{test.lower:.2f}", upper=f"{test.upper:.2f}"
    )
    if test.passed:
        return _("The readings agree as well as the method should ({figures}).").format(figures=figures)
    if test.direction == "noisier":
        words = _(
            "The readings scatter more than the method should ({figures}): look for bubbles, sun on the hose, "
            "a moved reservoir or a slip before relying on the heights."
        )
        return words.format(figures=figures)
    words = _("The readings agree better than the method should ({figures}): were they made apart from each other?")
    return words.format(figures=figures)


def noise(record: Record) -> str:
    """Say how closely a difference between two neighbours is known, rounded up to the sixteenth."""
    if record.flatness is None or not record.flatness.pairs:
        return ""
    known_in = TWO_SIDED_95 * max(pair.sd_in for pair in record.flatness.pairs)
    rounded_up_in = math.ceil(known_in * 16 - EPSILON) / 16
    words = _("A difference between two neighbours is known to within {noise} either way, 19 times in 20.")
    return words.format(noise=record.length(rounded_up_in))


def misclosure(record: Record) -> str:
    """Return the largest difference between a closing shot and the setup's first reference shot, with where."""
    firsts: dict[tuple[object, object], float] = {}
    worst: tuple[float, str] | None = None
    used = {reading.id for reading in record.levels_input.readings} if record.levels_input else set()
    shots = [
        reading for key, reading in record.readings.items() if key in used and reading.shot != Reading.Shot.POINT
    ]
    for reading in sorted(shots, key=lambda reading: (reading.sequence, str(reading.pk))):
        place = (reading.setup_id, reading.point_id)
        height_in = record.setups[str(reading.setup_id)].above_line_in(reading)
        if place not in firsts:
            firsts[place] = height_in
            continue
        off = abs(height_in - firsts[place])
        if worst is None or off > worst[0]:
            setup = record.setups[str(reading.setup_id)].code
            worst = off, _("{setup} on {point}").format(setup=setup, point=record.name(str(reading.point_id)))
    if worst is None:
        return _("no closing shot")
    return _("{off} at most ({where})").format(off=record.length(worst[0]), where=worst[1])


def pair_rows(record: Record) -> tuple[PairRow, ...]:
    """List the pairs, those over first, the largest difference first."""
    if record.flatness is None or record.flatness_input is None:
        return ()
    z = NormalDist().inv_cdf(record.flatness_input.confidence)
    pairs = sorted(record.flatness.pairs, key=lambda pair: (_ORDER[pair.verdict], -abs(pair.difference_in)))
    rows = []
    for pair in pairs:
        a, b = record.name(pair.a), record.name(pair.b)
        high, low = (a, b) if pair.difference_in >= 0 else (b, a)
        noise = z * pair.sd_in
        difference = record.figure(abs(pair.difference_in))
        rows.append(
            PairRow(
                a=a,
                b=b,
                words=_("{high} sits {difference} above {low}").format(
                    high=high, low=low, difference=record.length(abs(pair.difference_in))
                ),
                difference=f"{difference} ± {record.figure(noise)}" if noise else difference,
                distance_ft=pair.distance_ft,
                one_in=_("1 in {number}").format(number=f"{pair.one_in:.0f}") if pair.one_in else "",
                verdict=pair.verdict,
            )
        )
    return tuple(rows)
