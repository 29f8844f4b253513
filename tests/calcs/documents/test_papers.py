"""Papers on a page and as PDF: both say all that the paper does, to whom they may, in either language."""

import html
import re
import uuid
from collections.abc import Callable
from dataclasses import asdict
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import translation
from rest_framework.test import APIClient

from calcs.engine.units import format_sixteenths
from calcs.models import Plan
from calcs.reading_sheet import reading_sheet_of
from calcs.sheet_page import sheet_of
from jobs.models import Connection, Hazard, Home, Point, Siting, User
from tests.calcs.documents.planned import approved, furnished, long_home, planned
from tests.calcs.documents.reading import any_text, pages_of, text_of
from tests.calcs.working import label_to_key, standing
from tests.factories import NOON, CompanyFactory, PointFactory, SitingFactory, VisitFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
OVER_THE_API = {"plan-sheet-pdf": "plan-sheet-file", "reading-sheet-pdf": "siting-reading-sheet-file"}
PAPERS = ("plan-sheet", "plan-sheet-pdf", "reading-sheet-pdf")
WILD = '#panic("x") *a* _b_ $c$ `d` <b>e</b> @f \\g // h é ¿ 1 7/16 {{ i }} & j'


@pytest.fixture
def plan(db: None) -> Plan:
    return planned()


def bare(text: str) -> str:
    """Return a text without any space: lines break where there is room for them."""
    return re.sub(r"\s+", "", text)


def page_text(content: bytes) -> str:
    return bare(html.unescape(re.sub(r"<[^>]*>", "", content.decode())))


def key_of(plan: Plan, name: str) -> uuid.UUID:
    return plan.survey.siting_id if name == "reading-sheet-pdf" else plan.pk


def opened(client: Client, plan: Plan, name: str, **query: str) -> bytes:
    answer = client.get(reverse(name, args=[key_of(plan, name)]), query)
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("text/html" if name == "plan-sheet" else "application/pdf")
    return answer.content


@pytest.mark.parametrize("language", ["en", "es"])
def test_page_and_pdf_say_all_that_the_sheet_says(
    client_for: ClientFor, lead: User, plan: Plan, language: str
) -> None:
    page = page_text(opened(client_for(lead), plan, "plan-sheet", lang=language))
    pdf = bare(text_of(opened(client_for(lead), plan, "plan-sheet-pdf", lang=language)))
    with translation.override(language):
        paper = sheet_of(plan, unit="in", language=language)
    told = list(any_text(asdict(paper)))
    assert len(told) > 200
    assert [words for words in told if bare(words) not in page] == []
    assert [words for words in told if bare(words) not in pdf] == []


def test_a_plan_of_45_supports_has_them_all_and_its_mark_on_every_sheet(client_for: ClientFor, lead: User) -> None:
    plan = planned(long_home())
    sheets = pages_of(opened(client_for(lead), plan, "plan-sheet-pdf"))
    assert len(sheets) > 5
    assert all("NOT APPROVED" in sheet for sheet in sheets)
    text = bare(" ".join(sheets))
    with translation.override("en"):
        told = list(any_text(asdict(sheet_of(plan, unit="in", language="en"))))
    assert [words for words in told if bare(words) not in text] == []


def test_what_people_typed_stands_there_as_they_typed_it(client_for: ClientFor, lead: User, manager: User) -> None:
    survey = furnished()
    Hazard.objects.update(text=WILD)
    Home.objects.update(access_notes=WILD, name=WILD)
    Siting.objects.update(address=WILD)
    Connection.objects.update(note=WILD)
    Point.objects.filter(siting=survey.siting, label="A1").update(label="<b>#x*$`_")
    plan = planned(survey)
    approved(plan, manager, reason=WILD)
    page = opened(client_for(lead), plan, "plan-sheet")
    assert b"<b>" not in page
    for text in (page_text(page), bare(text_of(opened(client_for(lead), plan, "plan-sheet-pdf")))):
        assert text.count(bare(WILD)) >= 5
        assert bare("<b>#x*$`_: raise") in text
    assert bare(WILD) in bare(text_of(opened(client_for(lead), plan, "reading-sheet-pdf")))


def test_nothing_on_a_spanish_paper_is_english_but_what_was_typed(plan: Plan, lead: User) -> None:
    approved(plan, lead)
    told = {}
    for language in ("en", "es"):
        with translation.override(language):
            papers = (sheet_of(plan, unit="in", language=language), reading_sheet_of(plan.survey.siting, unit="in"))
        told[language] = {words for paper in papers for words in any_text(asdict(paper))}
    typed = {"behind the shed", "cut above the hub", "Hatch at the back", plan.survey.siting.address}
    alike = {"plan", "no"}  # the same word in both
    same = {words for words in told["en"] & told["es"] if re.search(r"[a-z]{3}", words.replace("min", ""))}
    same -= typed | alike
    assert same == set()


@pytest.mark.parametrize("name", ["plan-sheet-pdf", "reading-sheet-pdf"])
def test_the_same_paper_is_the_same_bytes(client_for: ClientFor, lead: User, plan: Plan, name: str) -> None:
    first = opened(client_for(lead), plan, name)
    assert opened(client_for(lead), plan, name) == first
    assert opened(client_for(lead), plan, name, lang="es") != first


def test_the_language_is_the_one_asked_for_else_the_readers_own(
    client_for: ClientFor, lead: User, plan: Plan
) -> None:
    client = client_for(lead)
    assert b'<html lang="es">' in opened(client, plan, "plan-sheet", lang="es")
    for query in ({}, {"lang": "tlh"}):
        assert b'<html lang="en">' in opened(client, plan, "plan-sheet", **query)
    User.objects.filter(pk=lead.pk).update(language="es")
    assert b'<html lang="es">' in opened(client, plan, "plan-sheet")
    assert b'<html lang="en">' in opened(client, plan, "plan-sheet", lang="en")
    assert b"/Lang(es)" in opened(client, plan, "plan-sheet-pdf")


def test_a_sheet_asks_the_same_number_of_times_however_long_it_is(client_for: ClientFor, lead: User) -> None:
    counts = set()
    for survey in (furnished(), long_home("ABC")):
        plan = planned(survey)
        VisitFactory(siting=survey.siting, kind="releveling", in_turn=True).crew.add(lead)
        client = client_for(lead)
        opened(client, plan, "plan-sheet")
        told = []
        for name in PAPERS:
            with CaptureQueriesContext(connection) as queries:
                opened(client, plan, name)
            told.append(len(queries))
        counts.add(tuple(told))
    assert len(counts) == 1


@pytest.mark.parametrize("name", PAPERS)
def test_strangers_sign_in_first_and_unknown_is_not_found(client_for: ClientFor, lead: User, name: str) -> None:
    address = reverse(name, args=[uuid.uuid4()])
    assert Client().get(address)["Location"].startswith(reverse("sign-in"))
    assert client_for(lead).get(address).status_code == 404
    assert client_for(lead).post(address).status_code == 405


@pytest.mark.parametrize("name", PAPERS)
def test_a_crew_sees_the_papers_of_its_own_homes_only(
    client_for: ClientFor, crew: User, plan: Plan, name: str
) -> None:
    address = reverse(name, args=[key_of(plan, name)])
    assert client_for(crew).get(address).status_code == 404
    VisitFactory(siting=plan.survey.siting).crew.add(crew)
    assert client_for(crew).get(address).status_code == 200


@pytest.mark.parametrize("name", ["plan-sheet-pdf", "reading-sheet-pdf"])
def test_the_api_gives_the_same_file(
    client_for: ClientFor, lead: User, plan: Plan, api_for: Callable[[User], APIClient], name: str
) -> None:
    CompanyFactory(time_zone="Pacific/Auckland")
    approved(plan, lead, approved_at=NOON.replace(hour=13))  # in Auckland the next day
    address = reverse(OVER_THE_API[name], args=[key_of(plan, name)])
    for query in ({}, {"lang": "es"}):
        answer = api_for(lead).get(address, query)
        assert answer["Content-Type"] == "application/pdf"
        assert answer.content == opened(client_for(lead), plan, name, **query)
    if name == "plan-sheet-pdf":
        assert b"D:20260304" in answer.content


# -- the reading sheet --------------------------------------------------------------------------------------------


def test_points_stand_in_walking_order_with_their_last_height(plan: Plan) -> None:
    siting = plan.survey.siting
    gone = PointFactory(siting=siting, label="GONE")
    Point.objects.filter(pk=gone.pk).archive()
    with translation.override("en"):
        paper = reading_sheet_of(siting, unit="in")
    table = next(part for part in paper.sections if part.key == "points").blocks[0]
    rows = [row for row in table.rows if row[0].words and row[0].words != "reference again"]
    points = list(siting.points.standing().order_by("walk_order"))
    assert [row[0].words for row in rows] == [point.label for point in points]
    heights = {each["point"]: each["height_in"] for each in standing(plan.survey, "levels").result["heights"]}
    mark_in = heights[label_to_key(plan.survey)["BM1"]]
    expected = [heights[str(point.pk)] - mark_in for point in points]
    assert [row[2].words for row in rows] == [format_sixteenths(each, signed=bool(each)) for each in expected]
    assert [cell.fill for cell in rows[0]] == ["", "", "", "line", "line", "line"]
    assert table.heads[2].words == "last, from BM1"
    references = [at for at, row in enumerate(table.rows) if row[0].words == "reference again"]
    assert references == [10]  # after ten points of fifteen


def test_a_home_that_was_never_read_gets_a_sheet_too(client_for: ClientFor, lead: User) -> None:
    siting = SitingFactory()
    PointFactory(siting=siting, label="Q7", x_ft=Decimal("12.500"), beam="Q")
    answer = client_for(lead).get(reverse("reading-sheet-pdf", args=[siting.pk]))
    text = text_of(answer.content)
    assert "Q7 Q, 12.5 ft" in text
    assert "none that is computed" in text
    for words in ("Setups", "closing", "number grew", "shrank", "round 1", "round 2"):
        assert words in text
    assert answer["Content-Disposition"] == f'inline; filename="reading-sheet-{siting.home.code.lower()}.pdf"'
