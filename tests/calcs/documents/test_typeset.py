"""Papers come out the same everywhere, on letter paper, with what was typed as text and nothing else."""

import json
import os
import re
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from calcs.documents import HERE, typeset
from calcs.documents.blocks import Beside, Cell, Facts, Head, Paper, Prose, Section, Table, data_of
from tests.calcs.documents.reading import pages_of, text_of

WILD = '#panic("x") *a* _b_ $c$ `d` <e> @f \\g // h /* i */ [j] {k} "l" é ñ ¿ 1 7/16 \u2212 ≥ <script>m</script>'


def letter(**fields: Any) -> dict[str, Any]:
    return {
        "title": "About your home",
        "date": "2026-11-30",
        "company": "Plumb and True",
        "letterhead": ["12 Any Street", "555 0100"],
        "date_words": "30 Nov 2026",
        "address": ["4 Juniper Loop"],
        "paragraphs": ["The drain leaks.", "First the leak, then the lift."],
        "signed": ["R. Doe"],
        "foot": "Planning figures.",
        **fields,
    }


def test_the_same_paper_is_the_same_bytes() -> None:
    assert typeset("letter", letter(), "en") == typeset("letter", letter(), "en")
    assert typeset("letter", letter(), "en") != typeset("letter", letter(date="2026-12-01"), "en")


@pytest.mark.parametrize("zone", ["UTC", "Pacific/Auckland"])
def test_another_process_in_another_zone_and_place_gives_the_same_bytes(tmp_path: Path, zone: str) -> None:
    elsewhere = tmp_path / "a folder with spaces" / "calcs" / "documents"
    shutil.copytree(HERE, elsewhere, ignore=shutil.ignore_patterns("__pycache__"))
    (elsewhere.parent / "__init__.py").touch()
    program = (
        "import json, sys; from calcs.documents import typeset;"
        "sys.stdout.buffer.write(typeset('letter', json.load(sys.stdin), 'en'))"
    )
    made = subprocess.run(
        [sys.executable, "-c", program],
        cwd=elsewhere.parent.parent,
        env={**os.environ, "TZ": zone, "PYTHONPATH": "", "SOURCE_DATE_EPOCH": "1"},
        input=json.dumps(letter()).encode(),
        capture_output=True,
        check=True,
    )
    assert made.stdout == typeset("letter", letter(), "en")


def test_the_paper_is_letter_size_dated_and_titled_by_what_it_says() -> None:
    document = pypdfium2.PdfDocument(typeset("letter", letter(), "en"))
    assert document[0].get_size() == (612, 792)  # ANSI A: 8.5 in by 11 in at 72 points
    facts = document.get_metadata_dict()
    assert facts["Title"] == "About your home"
    assert facts["CreationDate"] == "D:20261130000000Z"


def test_what_is_typed_is_never_markup() -> None:
    text = text_of(typeset("letter", letter(paragraphs=[WILD], title=WILD, address=[WILD], signed=[WILD]), "en"))
    assert text.count(WILD) == 4


def test_only_fonts_of_the_library_are_used() -> None:
    pdf = typeset("letter", letter(paragraphs=["\u6f22"]), "en")  # a sign that only fonts of the system may have
    used = set(re.findall(rb"/BaseFont/[A-Z]{6}\+([A-Za-z]+)", pdf))
    assert used == {b"LibertinusSerif"}


def test_a_letter_says_all_that_it_is_given() -> None:
    given = letter()
    text = text_of(typeset("letter", given, "es"))
    for words in (given["company"], given["date_words"], given["title"], given["foot"]):
        assert words in text
    for lines in (given["letterhead"], given["address"], given["paragraphs"], given["signed"]):
        assert all(line in text for line in lines)


def test_a_day_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="month"):
        typeset("letter", letter(date="2026-13-01"), "en")


def with_table(
    rows: int, lines_before: int, *, is_beside: bool = False, columns: int = 1, words: str = ""
) -> list[str]:
    """Return the text of each page of a paper with a table after some lines."""
    heads = (Head(words="HEAD"), Head(words="read"))
    told = Cell(words=words) if words else Cell(fill="line")
    table = Table(name="t", heads=heads, rows=tuple((Cell(words=f"row{n}."), told) for n in range(rows)))
    before = tuple(Prose(words=f"line {n}") for n in range(lines_before))
    paper = Paper(
        title="A paper",
        subtitle="",
        date=date(2026, 11, 30),
        mark="",
        notes=(),
        facts=Facts(rows=()),
        sections=(
            Section(
                key="s",
                title="S",
                blocks=(*before, Beside(tables=(table, table)) if is_beside else table),
                columns=columns,
            ),
        ),
        foot="",
    )
    return pages_of(typeset("sheet", data_of(paper), "en"))


@pytest.mark.parametrize("is_beside", [False, True])
@pytest.mark.parametrize("lines_before", [20, 28, 30, 32])
def test_a_short_table_stays_on_one_sheet(lines_before: int, *, is_beside: bool) -> None:
    pages = with_table(14, lines_before, is_beside=is_beside)
    (whole,) = [page for page in pages if "row0." in page]
    assert all(f"row{n}." in whole for n in range(14))


def test_a_long_table_goes_on_under_its_heads() -> None:
    pages = with_table(70, 20)
    assert len(pages) >= 3
    assert all(page.count("HEAD") == 1 for page in pages)
    assert sum(page.count("row") for page in pages) == 70


@pytest.mark.parametrize(("columns", "rows"), [(1, 20), (2, 12)])
def test_no_row_of_a_short_table_with_long_words_is_lost(columns: int, rows: int) -> None:
    pages = with_table(rows, 25, columns=columns, words="as many words as somebody under a home has noted " * 12)
    whole = " ".join(pages)  # a row may go on on the next sheet
    assert [n for n in range(rows) if f"row{n}." not in whole] == []
    assert whole.count("somebody") == 12 * rows
