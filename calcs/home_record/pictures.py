"""From a home's record to its drawings: level map, difference map, and panels over the years."""

from collections.abc import Iterable, Sequence
from datetime import date

from django.utils import formats, timezone
from django.utils.translation import gettext as _

from calcs.difference_drawings import ChangedPoint, DifferenceMap
from calcs.drawings import LevelMap
from calcs.engine.forecast import ForecastBand, PairForecast
from calcs.engine.movement import MovementResult
from calcs.home_record.beside import Beside
from calcs.home_record.read import HomeRecord
from calcs.series import SurveyHeights
from calcs.spoken import spoken_in_unit
from calcs.survey_page import maps
from calcs.years_drawings import SURE_95, Ahead, Panel, Seen, YearsPicture
from jobs.layout_page import FRAME_SURFACES, kind_of, outline_of
from jobs.lengths import fine

FASTEST = 6  # points shown before somebody chooses others
PAIRS = 3  # pairs nearest to their limit
_AHEAD_DAYS = 730.0  # how far a forecast is drawn where no day is due

Values = tuple[float, float]


def survey_words(each: SurveyHeights) -> str:
    """Name a survey: when in the job, and on which day."""
    return f"{each.survey.get_stage_display()}, {day_words(each.on)}"


def day_words(day: date) -> str:
    """Write a day."""
    return formats.date_format(day, "j M Y")


def level_map(beside: Beside) -> LevelMap | None:
    """Return the level map of the survey that is shown; None before there are heights."""
    shown = beside.map_record
    if shown is None:
        return None
    day = timezone.localtime(shown.survey.started_at).date()
    return next(iter(maps.maps(shown, "lowest", None, date=day_words(day))), None)


# -- from one survey to another ---------------------------------------------------------------------------------


def difference_map(record: HomeRecord, beside: Beside) -> DifferenceMap | None:
    """Return the map of what changed; None where no two surveys can be compared."""
    result = record.difference
    if result is None or record.first is None or record.second is None:
        return None
    changed = {point.code: point for point in result.points}
    read = changed.keys() | set(result.left_out)
    shown = [point for code, point in record.series.points.items() if point.archived_at is None or code in read]
    held = {support.point_id for support in beside.supports.values()}
    points = tuple(
        ChangedPoint(
            code=code,
            label=point.label,
            kind=kind_of(point, held),
            x_ft=float(point.x_ft),
            y_ft=float(point.y_ft),
            change_in=changed[code].change_in if code in changed else None,
            has_moved=code in changed and changed[code].verdict == "moved",
            is_datum=code in result.datum,
            is_taken_out=code in result.taken_out,
        )
        for code, point in ((str(point.pk), point) for point in shown)
    )
    words = _("Change of {home} from {first} to {second}")
    named = {"home": record.home, "first": survey_words(record.first), "second": survey_words(record.second)}
    return DifferenceMap(
        title=words.format(**named),
        outline=outline_of(record.siting, shown),
        points=points,
        block=_difference_block(record, result, record.first, record.second),
        unit=record.unit,
    )


def _difference_block(
    record: HomeRecord, result: MovementResult, first: SurveyHeights, second: SurveyHeights
) -> tuple[tuple[str, str], ...]:
    return (
        (_("home"), f"{record.home}, {record.siting.address}"),
        (_("from"), survey_words(first)),
        (_("to"), survey_words(second)),
        (_("against"), datum_words(record, result)),
        (_("pattern"), pattern_words(record, result)),
    )


def datum_words(record: HomeRecord, result: MovementResult) -> str:
    """Say what changes are against."""
    if not result.relative:
        return _("the marks {marks}").format(marks=", ".join(record.name(code) for code in result.datum))
    if len(result.datum) == len(result.points):
        return _("the mean of all points: only movement within the home")
    return _("the {count} points that stayed together: only movement within the home").format(count=len(result.datum))


def pattern_words(record: HomeRecord, result: MovementResult) -> str:
    """Say the shape of the change."""
    if result.pattern is None:
        return _("too few points to tell")
    return spoken_in_unit(result.pattern.text, result.pattern.size_in, record.unit)


def lifts_between(record: HomeRecord) -> int:
    """Return how many lifts lie between the two surveys: what they changed is no movement."""
    if record.first is None or record.second is None:
        return 0
    return sum(record.first.days < lift.days <= record.second.days for lift in record.series.lifts)


# -- over the years ---------------------------------------------------------------------------------------------


def groups_of(record: HomeRecord) -> dict[str, tuple[str, ...]]:
    """Return the measured points by beam, in walking order; those on no beam under an empty name, last."""
    found: dict[str, list[str]] = {}
    for code in record.measured:
        point = record.point(code)
        beam = point.beam if point.surface in FRAME_SURFACES else ""
        found.setdefault(beam, []).append(code)
    return {beam: tuple(found[beam]) for beam in sorted(found, key=lambda beam: (not beam, beam))}


def fastest(record: HomeRecord) -> tuple[str, ...]:
    """Return the points that change fastest against their home, by the forecast or else since the last lift."""
    rates = {point.code: point.rate_in_per_yr for point in record.forecast.points} if record.forecast else {}
    speed = {code: abs(rate) for code, rate in rates.items() if rate is not None} or _change_since_lift(record)
    ranked = sorted((code for code in record.measured if code in speed), key=lambda code: -speed[code])
    return tuple(ranked[:FASTEST])


def _change_since_lift(record: HomeRecord) -> dict[str, float]:
    since = len(record.series.since_lift() or record.series.surveys)
    first: dict[str, float] = {}
    last: dict[str, float] = {}
    for heights in record.frame.heights[-since:] if since else ():
        for code, (height_in, _sd_in) in heights.items():
            first.setdefault(code, height_in)
            last[code] = height_in
    return {code: abs(last[code] - first[code]) for code in last}


def years_of(record: HomeRecord, codes: Iterable[str], title: str) -> YearsPicture:
    """Return the panels of some points of the home."""
    rates = {point.code: point for point in record.forecast.points} if record.forecast else {}
    panels = tuple(
        Panel(
            label=record.name(code),
            runs=_runs(record, [heights.get(code) for heights in record.frame.heights]),
            words=rate_words(record, rates[code].rate_in_per_yr, rates[code].rate_sd_in_per_yr)
            if code in rates
            else "",
            ahead=_ahead(record, code),
        )
        for code in codes
    )
    return _picture(record, title, panels, has_due=True)


def marks_over_years(record: HomeRecord) -> YearsPicture | None:
    """Return the panels of the home's mean against the marks and of each mark; None without two of them."""
    if len(record.marks) < 2:
        return None
    heights = record.outside.heights
    marks = [
        Panel(label=record.name(code), runs=_whole_run(record, [each.get(code) for each in heights]))
        for code in record.marks
    ]
    home = Panel(label=_("mean of the home"), runs=_runs(record, record.above_marks))
    return _picture(record, _("The outside marks against each other, and the home against them"), (home, *marks))


def pairs_over_years(record: HomeRecord) -> YearsPicture | None:
    """Return the panels of the pairs that are nearest to the difference at which somebody should have come."""
    pairs = nearest_pairs(record)
    if not pairs:
        return None
    limits = {code: _limits(record, code) for code in pairs}
    panels = tuple(
        Panel(
            label=f"{record.name(a)}, {record.name(b)}",
            runs=_runs(record, [_apart(heights.get(a), heights.get(b)) for heights in record.frame.heights]),
            ahead=_ahead_apart(_ahead(record, a), _ahead(record, b)),
            limits_in=limits[a, b],
        )
        for a, b in pairs
    )
    return _picture(record, _("The pairs that come due first"), panels, has_due=True)


def nearest_pairs(record: HomeRecord) -> list[tuple[str, str]]:
    """Return the pairs likeliest to pass their limit, by the forecast, else those furthest apart when last read."""
    if record.forecast:
        known = [pair for pair in record.forecast.pairs if pair.probability_by_horizon is not None]
        return [(pair.a, pair.b) for pair in sorted(known, key=_by_chance)[:PAIRS]]
    last = record.frame.heights[-1] if record.frame.heights else {}
    ends = [(str(pair.a_id), str(pair.b_id)) for pair in record.series.pairs]
    read = [(a, b) for a, b in ends if a in last and b in last]
    return sorted(read, key=lambda each: -abs(last[each[0]][0] - last[each[1]][0]))[:PAIRS]


def _by_chance(pair: PairForecast) -> tuple[float, float, float]:
    soonest = float("inf") if pair.days_to_action is None else pair.days_to_action
    return -(pair.chance_now or 0.0), soonest, -(pair.probability_by_horizon or 0.0)


def _limits(record: HomeRecord, pair: tuple[str, str]) -> tuple[float, ...]:
    """What a pair is held against, either way."""
    own = next(
        (each.tolerance_in for each in record.series.pairs if {str(each.a_id), str(each.b_id)} == set(pair)), None
    )
    limit = max(record.rules["action_in"], float(own or 0))
    return -limit, limit


def _apart(a: Values | None, b: Values | None) -> Values | None:
    return None if a is None or b is None else (a[0] - b[0], (a[1] ** 2 + b[1] ** 2) ** 0.5)


def rate_words(record: HomeRecord, rate: float | None, sd: float | None) -> str:
    """Write a rate with what it lies between at 95 %."""
    if rate is None or sd is None:
        return ""
    return _("{rate} ± {sure} a year").format(
        rate=fine(rate, record.unit, signed=True), sure=fine(SURE_95 * sd, record.unit)
    )


# -- days and runs ----------------------------------------------------------------------------------------------


def _ordinal(record: HomeRecord, days: float) -> float:
    """Turn days since the first survey into days as ``date.toordinal`` counts them, in the company's time zone."""
    began = timezone.localtime(record.series.surveys[0].survey.started_at)
    since_midnight = began - began.replace(hour=0, minute=0, second=0, microsecond=0)
    return began.date().toordinal() + since_midnight.total_seconds() / 86_400 + days


def day_of(record: HomeRecord, days: float) -> date:
    """Return the day of so many days since the first survey."""
    return date.fromordinal(int(_ordinal(record, days)))


def _picture(record: HomeRecord, title: str, panels: tuple[Panel, ...], *, has_due: bool = False) -> YearsPicture:
    due = record.forecast.due_days if record.forecast and has_due else None
    return YearsPicture(
        title=title,
        panels=panels,
        lifts=tuple(_ordinal(record, lift.days) for lift in record.series.lifts),
        due=None if due is None else _ordinal(record, due),
        unit=record.unit,
    )


def _runs(record: HomeRecord, values: Sequence[Values | None]) -> tuple[tuple[Seen, ...], ...]:
    """Return what was seen, a new run after each lift."""
    runs: dict[int, list[Seen]] = {}
    for survey, value in zip(record.series.surveys, values, strict=True):
        if value is not None:
            lifted = sum(lift.days <= survey.days for lift in record.series.lifts)
            seen = Seen(days=_ordinal(record, survey.days), height_in=value[0], sd_in=value[1])
            runs.setdefault(lifted, []).append(seen)
    return tuple(map(tuple, runs.values()))


def _whole_run(record: HomeRecord, values: Sequence[Values | None]) -> tuple[tuple[Seen, ...], ...]:
    """Return what was seen of a mark: a lift does not reach it."""
    return (tuple(seen for run in _runs(record, values) for seen in run),)


def _ahead(record: HomeRecord, code: str) -> tuple[Ahead, ...]:
    """Return the forecast of a point from its last survey to the day that the home is due."""
    if record.forecast is None or record.series.last is None:
        return ()
    today = max([record.series.last.days, *(lift.days for lift in record.series.lifts)])
    end = today + _AHEAD_DAYS if record.forecast.due_days is None else record.forecast.due_days
    bands = [band for band in record.forecast.bands if band.code == code and band.days >= today]
    return tuple(_told(record, band) for band in _until(sorted(bands, key=lambda band: band.days), end))


def _until(bands: list[ForecastBand], end: float) -> list[ForecastBand]:
    """Cut bands off at a day, straight between the two about it."""
    kept = [band for band in bands if band.days <= end]
    later = next((band for band in bands if band.days > end), None)
    if not kept or later is None or kept[-1].days == end:
        return kept
    share = (end - kept[-1].days) / (later.days - kept[-1].days)
    return [*kept, _between(kept[-1], later, share, end)]


def _between(before: ForecastBand, after: ForecastBand, share: float, days: float) -> ForecastBand:
    names = ("height_in", "low50_in", "high50_in", "low95_in", "high95_in")
    values = {name: (1 - share) * getattr(before, name) + share * getattr(after, name) for name in names}
    return ForecastBand(code=before.code, days=days, **values)


def _told(record: HomeRecord, band: ForecastBand) -> Ahead:
    return Ahead(
        days=_ordinal(record, band.days), height_in=band.height_in, low_in=band.low95_in, high_in=band.high95_in
    )


def _ahead_apart(a: tuple[Ahead, ...], b: tuple[Ahead, ...]) -> tuple[Ahead, ...]:
    """Return the difference of two points ahead; what is not known of one has nothing to do with the other."""
    found = []
    for one, other in zip(a, b, strict=False):
        middle = one.height_in - other.height_in
        reach = ((one.high_in - one.height_in) ** 2 + (other.high_in - other.height_in) ** 2) ** 0.5
        found.append(Ahead(days=one.days, height_in=middle, low_in=middle - reach, high_in=middle + reach))
    return tuple(found)
