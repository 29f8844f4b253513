"""Cells: dates that can't be mistaken, lengths as crews write them, words; what is said where one can't be read."""

import datetime
from decimal import Decimal
from typing import Any

import pytest

from jobs.csv_files.text import Line, Table
from jobs.csv_files.values import NotAllowed, as_text, column_of, read_cells, read_date
from jobs.models import Home, Point, Siting, Strap, Support


def dates_in(*cells: str) -> list[Any]:
    """Read cells of one column of dates; what is said where one is refused."""
    lines = [Line(number, {"from_on": cell}) for number, cell in enumerate(cells, start=2)]
    table = Table(sha256="", columns=("from_on",), lines=lines)
    rows, problems = read_cells(table, [column_of(Siting, "from_on")])
    return [values["from_on"] for _line, values in rows] + [problem.message for problem in problems]


def test_dates_are_read_in_both_ways_of_writing() -> None:
    assert dates_in("2026-03-25", "3/25/2026") == [datetime.date(2026, 3, 25)] * 2


def test_a_date_that_may_be_either_is_refused_with_both() -> None:
    assert dates_in("3/4/2026") == ["“3/4/2026” may be month/day or day/month: write 2026-03-04 or 2026-04-03."]


def test_another_date_of_the_column_shows_which_number_is_the_month() -> None:
    assert dates_in("3/4/2026", "3/25/2026") == [datetime.date(2026, 3, 4), datetime.date(2026, 3, 25)]


def test_the_day_before_the_month_is_refused() -> None:
    said = "“25/3/2026” can't be read: give a date such as 2026-03-25, or 3/25/2026 (month first)."
    assert dates_in("25/3/2026", "3/4/2026") == [
        said,
        "“3/4/2026” may be month/day or day/month: write 2026-03-04 or 2026-04-03.",
    ]


@pytest.mark.parametrize("cell", ["3/3/2026", "2026-02-29", "2/30/2026", "3/25/26", "March 25", "20260325", "1e3"])
def test_a_date_is_read_or_refused(cell: str) -> None:
    if cell == "3/3/2026":
        assert read_date(cell) == datetime.date(2026, 3, 3)
    else:
        with pytest.raises(NotAllowed, match="can't be read: give a date"):
            read_date(cell)


@pytest.mark.parametrize(
    ("model", "name", "cell", "value"),
    [
        (Support, "height_in", "21 1/2", Decimal("21.5")),
        (Support, "height_in", "1' 9 1/2\"", Decimal("21.5")),
        (Support, "height_in", "3 5/64", Decimal("3.0781")),  # the column keeps four decimals
        (Point, "x_ft", "28' 6\"", Decimal("28.5")),
        (Point, "x_ft", "-20", Decimal(-20)),
        (Point, "surface", "I beam", "i_beam"),
        (Strap, "soil_class", "4a", "4A"),
        (Support, "stack", "shims plate_2x cap block", ["shims", "plate_2x", "cap", "block"]),
        (Home, "has_foundation_letter", "Yes", True),
        (Home, "has_foundation_letter", "no", False),
        (Home, "archived_at", "2026-03-25T12:00:00Z", datetime.datetime(2026, 3, 25, 12, tzinfo=datetime.UTC)),
    ],
)
def test_cells_are_read_as_people_write_them(model: Any, name: str, cell: str, value: Any) -> None:
    column = column_of(model, name)
    assert column.read(cell) == value
    assert column.read(column.write(value)) == value


@pytest.mark.parametrize(
    ("model", "name", "cell", "said"),
    [
        (Support, "height_in", "21 5/7", "below the line may stand 2, 4, 8, 16, 32 or 64"),
        (Support, "height_in", "3,5", "the decimal sign is a point"),
        (Support, "height_in", "1.23456", "no more than 4 decimal places"),
        (Support, "height_in", "99999", "no more than 3 digits before the decimal point"),
        (Support, "stack", "shims brick", "Course 2 from the top, “brick”, is unknown; allowed: shims, "),
        (Home, "roof_live_psf", "twenty", "“twenty” can't be read: give a number."),
        (Home, "roof_live_psf", "1e2", "give a number"),
        (Home, "roof_live_psf", "nan", "give a number"),
        (Home, "sections", "2.5", "give a whole number"),
        (Home, "kind", "tent", "“tent” can't be read: give manufactured, pier_and_beam."),
        (Home, "code", "x" * 21, "at most 20 characters"),
        (Home, "has_foundation_letter", "maybe", "give yes or no"),
        (Home, "archived_at", "2026-03-25T12:00:00", "give a time with its zone"),
        (Home, "id", "7", "give nothing, or the key that an export gives"),
    ],
)
def test_a_cell_that_cant_be_read_says_what_may_be_written(model: Any, name: str, cell: str, said: str) -> None:
    with pytest.raises(NotAllowed) as caught:
        column_of(model, name).read(cell)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("value", "cell"),
    [
        (None, ""),
        (True, "yes"),
        (Decimal("21.5000"), "21.5"),
        (Decimal("-0.0000"), "0"),
        (Decimal("1E+2"), "100"),
        (
            datetime.datetime(2026, 3, 25, 7, tzinfo=datetime.timezone(-datetime.timedelta(hours=5))),
            "2026-03-25T12:00:00Z",
        ),
        (["cap", "block"], "cap block"),
    ],
)
def test_values_are_written_plainly(value: Any, cell: str) -> None:
    assert as_text(value) == cell
