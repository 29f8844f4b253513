"""A blank sheet to write readings on where no phone works: the points as one walks, with their last heights."""

from dataclasses import dataclass

from django.db.models import Count
from django.utils import formats, timezone
from django.utils.translation import gettext as _

from calcs.documents.blocks import Block, Cell, Facts, Head, Item, Lines, List, Paper, Prose, Section, Table
from calcs.engine.levels import LevelsResult
from calcs.models import Answer
from calcs.survey_page.record import result_of
from jobs.lengths import figure
from jobs.models import Point, Siting, Surface
from surveys.models import Method, Reading, Survey

SETUPS = 4
REFERENCE_EVERY = 10  # common practice, no source
_FREE_ROWS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class LastHeights:
    """The heights that were found last, told from a mark or, without one, from the lowest point."""

    survey: Survey | None
    mark: str
    from_mark_in: dict[str, float]


def reading_sheet_of(siting: Siting, *, unit: str) -> Paper:
    """Return the sheet in the language that is active; the siting comes with its home."""
    points = list(Point.objects.standing().filter(siting=siting).order_by("walk_order", "label", "pk"))
    last = _last_heights(siting, {str(point.pk): point for point in points})
    return Paper(
        title=_("Reading sheet: {home}").format(home=siting.home),
        subtitle=siting.address,
        date=timezone.localtime(last.survey.started_at).date() if last.survey else siting.from_on,
        mark="",
        notes=(),
        facts=Facts(rows=_facts(last)),
        sections=(
            _before(),
            Section(key="setups", title=_("Setups"), blocks=(_setups(),)),
            Section(key="points", title=_("Readings"), blocks=(_readings(points, last, unit),)),
            _after(),
        ),
        foot=_("Write fractions with a line under, as read; never rub out: strike and write anew."),
    )


def _last_heights(siting: Siting, points: dict[str, Point]) -> LastHeights:
    finished = Survey.objects.filter(siting=siting, state=Survey.State.SUBMITTED)
    survey = finished.order_by("-started_at", "-pk").first()
    answer = Answer.objects.filter(survey=survey, kind="levels").select_related("calculation").first()
    levels = result_of(answer.calculation, LevelsResult) if answer else None
    heights = {height.point: height.height_in for height in levels.heights} if levels else {}
    if survey is None or not heights:
        return LastHeights(survey=None, mark="", from_mark_in={})
    shots = Reading.objects.standing().filter(survey=survey, point__surface=Surface.OUTSIDE)
    counted = shots.values_list("point").annotate(shots=Count("pk")).order_by("-shots", "point__walk_order", "point")
    marks = [str(key) for key, _shots in counted if str(key) in heights and str(key) in points]
    lowest = min(heights, key=lambda key: heights[key])
    zero_in = heights[marks[0] if marks else lowest]
    return LastHeights(
        survey=survey,
        mark=points[marks[0]].label if marks else _("lowest"),
        from_mark_in={key: height_in - zero_in for key, height_in in heights.items()},
    )


def _facts(last: LastHeights) -> tuple[tuple[str, str], ...]:
    if last.survey is None:
        return ((_("last survey"), _("none that is computed")),)
    day = formats.date_format(timezone.localtime(last.survey.started_at), "j M Y")
    told = ", ".join([last.survey.get_stage_display(), day, last.survey.get_method_display()])
    return ((_("last survey"), told),)


def _before() -> Section:
    methods = tuple(Item(words=str(method.label)) for method in Method)
    units = (Item(words=_("inches, in sixteenths")), Item(words=_("millimetres")))
    blocks: tuple[Block, ...] = (
        Lines(words=(_("read by"), _("day, begun at"), _("weather, soil, season"))),
        List(items=methods, is_row=True),
        List(items=units, is_row=True),
        Prose(words=_("Both ends of the hose side by side first: they must agree. No bubbles, no sun on the hose.")),
    )
    return Section(key="before", title=_("Before reading"), blocks=blocks)


def _setups() -> Table:
    heads = (
        _("setup"),
        _("reference point"),
        _("first"),
        _("closing"),
        _("end raised 1 in: number grew"),
        _("shrank"),
        _("where it stands, time"),
    )
    boxes = (Cell(fill="line"), Cell(fill="line"), Cell(fill="line"), Cell(fill="box"), Cell(fill="box"))
    rows = tuple((Cell(words=f"S{number}"), *boxes, Cell(fill="line")) for number in range(1, SETUPS + 1))
    return Table(name=_("Setups"), heads=tuple(Head(words=words) for words in heads), rows=rows)


def _readings(points: list[Point], last: LastHeights, unit: str) -> Table:
    told = _("last, from {mark}").format(mark=last.mark) if last.mark else _("last")
    heads = (
        Head(words=_("point")),
        Head(words=_("where")),
        Head(words=told, is_number=True),
        Head(words=_("setup")),
        Head(words=_("round 1")),
        Head(words=_("round 2")),
    )
    rows: list[tuple[Cell, ...]] = []
    for count, point in enumerate(points, start=1):
        rows.append(_reading(point, last, unit))
        if count % REFERENCE_EVERY == 0 and count < len(points):
            rows.append(_written(Cell(words=_("reference again"), is_strong=True)))
    rows += [_written(Cell(fill="line")) for _row in range(_FREE_ROWS)]
    return Table(name=_("Readings"), heads=heads, rows=tuple(rows))


def _reading(point: Point, last: LastHeights, unit: str) -> tuple[Cell, ...]:
    known_in = last.from_mark_in.get(str(point.pk))
    height = "" if known_in is None else figure(known_in, unit, signed=bool(known_in))
    cells = (Cell(words=point.label, is_strong=True), Cell(words=_place(point)), Cell(words=height))
    return (*cells, *(Cell(fill="line") for _column in range(3)))


def _place(point: Point) -> str:
    """Say where a point is: its line and how far along the home; outside, what it is."""
    kind = str(point.get_surface_display())
    if point.surface == Surface.OUTSIDE:
        return kind
    return ", ".join([point.beam or kind, _("{at} ft").format(at=f"{point.x_ft.normalize():f}")])


def _written(first: Cell) -> tuple[Cell, ...]:
    return (first, Cell(), Cell(), *(Cell(fill="line") for _column in range(3)))


def _after() -> Section:
    lines = (
        _("reference read at the end: within 1/16 in of the first, else say so; over 1/8 in, read again"),
        _("second round from another setup, or in another order"),
        _("hose moved, stepped on or topped up: reference again"),
        _("gaps at wedges measured and written beside their support"),
    )
    items = tuple(Item(words=words) for words in lines)
    remarks = Lines(words=(_("remarks"), "", ""))
    source = Prose(words=_("common practice, no source"), is_quiet=True)
    return Section(key="after", title=_("Before packing up"), blocks=(List(items=items), source, remarks))
