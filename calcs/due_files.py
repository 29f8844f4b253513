"""The due list as a CSV file: a line a home, in the order and cut of the list, dates and decimals for programs."""

from collections.abc import Iterable, Iterator

from django.http import HttpResponse
from django.utils import timezone

from calcs.due_list import DueRow, tell
from calcs.models.due_rows import DueQuerySet
from jobs.csv_files.text import write_lines

COLUMNS = (
    *("home", "name", "address", "standing", "basis", "due_on", "latest_on", "chance_now", "chance_at_due", "reason"),
    *("rate_in_per_yr", "worst_in", "is_stable", "soil_class", "season", "ground", "better_from"),
    *("last_visit_on", "last_visit_kind", "next_visit_on", "next_visit_kind", "read_on", "as_of"),
    *("latitude_deg", "longitude_deg", "due_near", "nearest", "nearest_mi"),
)


def due_file(rows: DueQuerySet, *, within_mi: float, mark: str = "") -> HttpResponse:
    """Return a file; ``mark`` begins it with the byte order mark by which spreadsheet programs know UTF-8."""
    told = tell(rows.values_list("pk", flat=True), within_mi=within_mi)
    # Written whole before it is sent: days are told by the company's clock, which holds no longer than the request.
    return HttpResponse(
        mark + "".join(write_lines(COLUMNS, lines(told))),
        content_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="due-{timezone.localdate()}.csv"'},
    )


def lines(rows: Iterable[DueRow]) -> Iterator[list[str]]:
    """Yield the cells of each row."""
    for row in rows:
        cells = _cells(row)
        yield ["" if cells[name] is None else str(cells[name]) for name in COLUMNS]


def _cells(row: DueRow) -> dict[str, object]:
    due, siting, home, season = row.due, row.due.siting, row.due.siting.home, row.season
    nearest = next(iter(row.around.nearest), None)
    own = ("standing", "basis", "due_on", "latest_on", "chance_now", "chance_at_due", "rate_in_per_yr")
    return {
        **{name: getattr(due, name) for name in (*own, "worst_in", "is_stable", "as_of")},
        "reason": row.why,
        **{"home": home.code, "name": home.name, "address": siting.address, "soil_class": home.soil_class},
        **{"season": season.fit.value, "ground": season.ground and season.ground.value},
        "better_from": season.better_from,
        "read_on": due.survey and timezone.localdate(due.survey.started_at),
        **_visits(row),
        **{"latitude_deg": siting.latitude_deg, "longitude_deg": siting.longitude_deg},
        "due_near": row.around.count if row.has_place else None,
        **{"nearest": nearest and nearest.code, "nearest_mi": nearest and round(nearest.miles, 2)},
    }


def _visits(row: DueRow) -> dict[str, object]:
    told: dict[str, object] = {}
    for name, visit in (("last_visit", row.last_visit), ("next_visit", row.next_visit)):
        told[f"{name}_on"] = visit and timezone.localdate(visit.starts_at)
        told[f"{name}_kind"] = visit and visit.kind
    return told
