"""CSV as text: what is read, what is refused and how that is said, and cells that a spreadsheet would run."""

import csv
import hashlib
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.csv_files.text import MOST_BYTES, MOST_LINES, escape, read_table, unescape, write_lines
from jobs.errors import DomainError

# Cells as they come from stored texts: no spaces around, nothing that the database can't hold.
CELLS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12).map(str.strip)


def cells_of(data: bytes, *names: str) -> list[dict[str, str]]:
    table = read_table(data, known=names, required=[])
    assert table.problems == []
    return [line.cells for line in table.lines]


def test_quotes_and_line_breaks_are_read_as_the_standard_has_them() -> None:
    # RFC 4180, section 2, rules 5 to 7: the examples given there, under names of columns.
    data = b'x,y,z\r\n"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx\r\n"aaa","b""bb","ccc"'
    assert cells_of(data, "x", "y", "z") == [
        {"x": "aaa", "y": "b\r\nbb", "z": "ccc"},
        {"x": "zzz", "y": "yyy", "z": "xxx"},
        {"x": "aaa", "y": 'b"bb', "z": "ccc"},
    ]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("delimiter", [b",", b";"])
@pytest.mark.parametrize("end", [b"\r\n", b"\n"])
def test_files_of_spreadsheet_programs_are_recognised(mark: bytes, delimiter: bytes, end: bytes) -> None:
    data = mark + delimiter.join([b"Name", b"Postal address"]) + end + delimiter.join(["Zoë".encode(), b"x"]) + end
    assert cells_of(data, "name", "postal_address") == [{"name": "Zoë", "postal_address": "x"}]


def test_lines_are_numbered_as_an_editor_numbers_them() -> None:
    table = read_table(b'a,b\n"1\n2",3\n\n,\n4,5\n', known=["a", "b"], required=["a"])
    assert [line.number for line in table.lines] == [2, 6]
    assert table.sha256 == hashlib.sha256(b'a,b\n"1\n2",3\n\n,\n4,5\n').hexdigest()


def test_a_line_with_too_few_or_too_many_cells_is_told() -> None:
    table = read_table(b"a,b\n1\n1,2,3\n1,2\n", known=["a", "b"], required=[])
    assert [(problem.line, problem.message) for problem in table.problems] == [
        (2, "This line has 1 cells, the first line 2."),
        (3, "This line has 3 cells, the first line 2."),
    ]
    assert len(table.lines) == 1


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "The file is empty."),
        (b" \r\n", "The file is empty."),
        (b"a,b\n", "The file has no lines below the names of its columns."),
        (b"PK\x03\x04\x00\x00", "This is not a text file: save the sheet as “CSV UTF-8”."),
        (b"a,b\n1,caf\xe9\n", "Line 2 is not UTF-8: save the sheet as “CSV UTF-8”."),
        ("a,b\n1,2\n".encode("utf-16"), "This is not a text file: save the sheet as “CSV UTF-8”."),
        (
            b"a\tb\n1\t2\n",
            "The first line must name columns, parted by commas or semicolons. Known are: a, b.",
        ),
        (b"a,c\n1,2\n", "The first line names columns that are not known here: “c”. Known are: a, b."),
        (b"b,b,a\n1,2,3\n", "The first line names b twice."),
        (b"b\n1\n", "The first line lacks the columns a."),
    ],
)
def test_what_is_no_such_file_is_refused_in_words(data: bytes, said: str) -> None:
    with pytest.raises(DomainError) as caught:
        read_table(data, known=["a", "b"], required=["a"])
    assert (caught.value.code, caught.value.message, caught.value.fields) == ("not_readable", said, {"file": said})


def test_a_quotation_mark_that_is_never_closed_is_told_by_its_line() -> None:
    with pytest.raises(DomainError, match=r"Line 3 can't be read as CSV .*: is a quotation mark missing"):
        read_table(b'a,b\n1,2\n3,"4\n5,6\n', known=["a", "b"], required=["a"])


def test_files_beyond_the_limits_are_refused() -> None:
    with pytest.raises(DomainError, match="A file may have 2 MB") as large:
        read_table(b"a\n" + b"1" * MOST_BYTES, known=["a"], required=[])
    with pytest.raises(DomainError, match=f"A file may have {MOST_LINES} lines") as long:
        read_table(b"a\n" + b"1\n" * (MOST_LINES + 1), known=["a"], required=[])
    assert large.value.status == long.value.status == 413
    assert len(read_table(b"a\n" + b"1\n" * MOST_LINES, known=["a"], required=[]).lines) == MOST_LINES


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("+1 555 0100 x2", "'+1 555 0100 x2"),
        ("-2+3", "'-2+3"),
        ("\uff1d1+1", "'\uff1d1+1"),
        ("'=1", "''=1"),
        ("-1/2", "-1/2"),
        ("-3.625", "-3.625"),
        ("+1 555 0100", "+1 555 0100"),
        ("'tis", "'tis"),
        ("3 5/8", "3 5/8"),
    ],
)
def test_a_text_that_a_spreadsheet_would_run_is_written_as_text(text: str, cell: str) -> None:
    # The signs are those of the OWASP page on CSV injection: = + - @, tab and carriage return, and the wide ones.
    assert escape(text) == cell
    assert unescape(cell) == text


@given(st.lists(st.tuples(CELLS, CELLS), min_size=1).filter(lambda rows: all(any(row) for row in rows)))
def test_whatever_is_written_is_read_again(rows: list[tuple[str, str]]) -> None:
    data = "".join(write_lines(["a", "b"], rows)).encode()
    assert [tuple(cells.values()) for cells in cells_of(data, "a", "b")] == rows
    assert all(row[0] not in "=+@\t\r" or row.lstrip("+-")[:1].isdigit() for row in flat(data) if row)


def flat(data: bytes) -> list[str]:
    """Every cell as a spreadsheet program gets it."""
    return [cell for row in csv.reader(io.StringIO(data.decode(), newline="")) for cell in row]
