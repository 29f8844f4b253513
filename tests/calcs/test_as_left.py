"""The record as left: what it tells, that it is a draft until the work is closed, and words that it never says."""

import re
from collections.abc import Callable

import pypdfium2
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import translation

from calcs.as_left import record_as_left
from calcs.closing import close
from calcs.documents.blocks import Heading, List, Picture, Prose, Table
from calcs.models import Approval, Closing
from jobs.models import User
from tests.calcs.approved import approved_home
from tests.calcs.finished import LEVEL_IN, finished, read_as_left, take_photo
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
# Words that promise. Written from what a paper to a customer may not say, in both languages.
PROMISES = re.compile(
    r"certif|guarant|warrant|\bproven\b|\bproof\b|\bsafe\b|safely|comply|complian|garanti|comprobad|demostrad|\bprobado\b"
    r"|\bsegur[oa]s?\b|cumple",
    re.IGNORECASE,
)


@pytest.fixture
def closing() -> Closing:
    return finished()


def blocks(approval: Approval, kind: type, unit: str = "in") -> list:  # type: ignore[type-arg]
    paper = record_as_left(approval, unit=unit)
    return [block for section in paper.sections for block in section.blocks if isinstance(block, kind)]


def pdf_text(data: bytes) -> str:
    """Return all that stands on a PDF, read by another library."""
    document = pypdfium2.PdfDocument(data)
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def test_until_the_work_is_closed_it_is_a_draft_that_says_what_is_open(closing: Closing, lead: User) -> None:
    Closing.objects.update(is_leak_checked=False)
    paper = record_as_left(closing.approval, unit="in")
    assert paper.mark == "DRAFT"
    assert paper.title.startswith("Draft")
    assert "Nobody has looked for leaks" in paper.notes[0].words
    Closing.objects.update(is_leak_checked=True)
    close(closing=Closing.objects.get(), by=lead)
    paper = record_as_left(closing.approval, unit="in")
    assert (paper.mark, paper.notes) == ("", ())
    assert not paper.title.startswith("Draft")
    assert dict(paper.facts.rows)["closed"].startswith("by lead on ")


def test_why_the_manager_closed_it_all_the_same_stands_on_it(closing: Closing, manager: User) -> None:
    Closing.objects.update(is_leak_checked=False)
    close(closing=Closing.objects.get(), by=manager, reason="water is off in the park")
    assert "water is off in the park" in record_as_left(closing.approval, unit="in").notes[0].words


def test_both_maps_and_every_height_stand_on_it(closing: Closing) -> None:
    assert len(blocks(closing.approval, Picture)) == 2
    heights, pairs = blocks(closing.approval, Table)
    by_label = {row[0].words: [cell.words for cell in row[1:]] for row in heights.rows}
    assert len(by_label) == 12
    # A1 was 3/4 in low, and the lowest; everything else stood 3/4 in above it, D3 3/16 in higher still.
    assert by_label["A1"][0] == "0"
    assert by_label["B2"][0] == "3/4"
    assert by_label["D3"][0] == "15/16"
    assert {row[2] for row in by_label.values()} == {"0"}  # all alike as left
    assert by_label["A1"][1].startswith("+")
    # The pairs at A1 were over, those at D3 too close to call: they are told with both differences.
    told = {row[0].words: [cell.words for cell in row[1:]] for row in pairs.rows}
    assert told.keys() == {"A1, A2", "A1, B1", "C3, D3", "D2, D3"}
    assert told["A1, A2"] == ["3/4", "0", "within"]


def test_what_is_not_as_it_should_be_is_told(closing: Closing) -> None:
    assert blocks(closing.approval, List) == []
    left = read_as_left(closing.approval, LEVEL_IN | {"A1": -0.75})
    Closing.objects.update(as_left=left, exceptions="bathroom door rubs\n\nA1, A2, B1: drain not freed")
    (told,) = blocks(closing.approval, List)
    assert [item.words for item in told.items] == [
        "bathroom door rubs",
        "A1, A2, B1: drain not freed",
        "2 pairs of neighbours are over the tolerance.",
    ]
    assert blocks(closing.approval, Table)[1].rows[0][3].words == "over"


def test_before_anything_is_left_it_tells_what_there_is() -> None:
    approval = approved_home()
    paper = record_as_left(approval, unit="in")
    assert paper.mark == "DRAFT"
    assert dict(paper.facts.rows)["read as left"] == "not yet"
    assert len(blocks(approval, Picture)) == 1
    assert blocks(approval, Table) == []
    assert not Closing.objects.exists()


def test_it_is_read_in_millimetres_by_who_wants_them(closing: Closing) -> None:
    heights = blocks(closing.approval, Table, unit="mm")[0]
    assert {row[0].words: row[1].words for row in heights.rows}["B2"] == "19.1"
    headings = [heading.words for heading in blocks(closing.approval, Heading, unit="mm")]
    assert headings == ["Heights, mm", "Neighbours that were not within as found, or are not as left, mm"]


def test_where_all_was_within_the_record_says_so_in_place_of_an_empty_table() -> None:
    approval = approved_home(heights_in=LEVEL_IN)
    Closing.objects.create(approval=approval, as_left=read_as_left(approval))
    assert len(blocks(approval, Table)) == 1
    told = [block.words for block in blocks(approval, Prose)]
    assert "All neighbours were within as found and are as left." in told


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("is_closed", [True, False])
def test_it_promises_nothing(
    closing: Closing, manager: User, client_for: ClientFor, language: str, is_closed: bool
) -> None:
    if is_closed:
        close(closing=closing, by=manager)
    client = client_for(manager)
    page = client.get(reverse("approval-record", args=[closing.approval_id]), {"lang": language})
    pdf = client.get(reverse("approval-record-pdf", args=[closing.approval_id]), {"lang": language})
    assert (page.status_code, pdf.status_code, pdf["Content-Type"]) == (200, 200, "application/pdf")
    text = pdf_text(pdf.content)
    assert "A1" in text
    for told in (re.sub(r"<[^>]+>", " ", page.content.decode()), text):
        assert PROMISES.findall(told) == []
    assert ("DRAFT" in text or "BORRADOR" in text) is not is_closed


def test_the_promise_finder_finds_promises() -> None:
    for said in ("This home is certified level.", "guaranteed", "proven", "It is safe.", "un nivel comprobado"):
        assert PROMISES.search(said), said


def test_the_same_record_is_the_same_bytes(closing: Closing, lead: User, client_for: ClientFor) -> None:
    close(closing=closing, by=lead)
    address = reverse("approval-record-pdf", args=[closing.approval_id])
    assert client_for(lead).get(address).content == client_for(lead).get(address).content


def test_what_was_typed_is_no_markup(closing: Closing, lead: User, client_for: ClientFor) -> None:
    Closing.objects.update(exceptions="<b>bold</b> #panic() A1 {{ x }}")
    client = client_for(lead)
    page = client.get(reverse("approval-record", args=[closing.approval_id])).content.decode()
    assert "&lt;b&gt;bold&lt;/b&gt; #panic() A1 {{ x }}" in page
    assert "#panic()" in pdf_text(client.get(reverse("approval-record-pdf", args=[closing.approval_id])).content)


def test_the_page_takes_as_many_queries_however_much_there_is(
    closing: Closing, lead: User, client_for: ClientFor
) -> None:
    client, counts = client_for(lead), []
    for more in (0, 2):
        for _ in range(more):
            take_photo(closing.approval, UserFactory())
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse("approval-record", args=[closing.approval_id])).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_every_block_of_it_has_words(closing: Closing) -> None:
    with translation.override("es"):
        paper = record_as_left(closing.approval, unit="in")
    assert all(section.title and section.blocks for section in paper.sections)
    assert all(block.words for section in paper.sections for block in section.blocks if isinstance(block, Prose))
