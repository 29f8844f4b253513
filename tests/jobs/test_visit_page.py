"""The page of a visit: what it shows, and who has read the cautions of which moment."""

import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from jobs import cautions
from jobs.cautions import CAUTIONS, Caution, Moment
from jobs.models import CautionRead, HeadCount, Role, User, Visit
from tests.factories import (
    CautionReadFactory,
    HazardFactory,
    HeadCountFactory,
    HomeFactory,
    SitingFactory,
    UserFactory,
    VisitFactory,
    VisitReportFactory,
)

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]


@pytest.fixture
def visit(crew: User) -> Visit:
    home = HomeFactory(code="H7", access_notes="Gate code 4, hatch behind the steps")
    siting = SitingFactory(home=home, address="9 Sycamore Bend")
    visit: Visit = VisitFactory(siting=siting, lead=UserFactory(first_name="Lena"))
    visit.crew.add(crew)
    return visit


def page_of(client: Client, visit: Visit) -> str:
    answer = client.get(reverse("visit", args=[visit.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


def section(page: str, moment: str) -> str:
    found = re.search(rf'<details class="moment" id="{moment}".*?</details>', page, re.DOTALL)
    assert found
    return re.sub(r"\s+", " ", found[0])


def read(client: Client, visit: Visit, moment: str, name: str, language: str = "en") -> Any:
    body = {"moment": moment, "reader_name": name, "language": language}
    return client.post(reverse("visit-read", args=[visit.pk]), body)


def test_it_tells_the_way_in_the_people_and_open_hazards_only(
    visit: Visit, client_for: ClientFor, crew: User
) -> None:
    home = visit.siting.home
    HazardFactory(home=home, text="brown, by the shed")
    HazardFactory(home=home, kind="sewage", cleared_at=visit.starts_at, cleared_by=crew, cleared_why="pumped")
    HazardFactory(kind="snakes")
    page = page_of(client_for(crew), visit)
    assert "9 Sycamore Bend" in page
    assert "Gate code 4, hatch behind the steps" in page
    assert "Lena" in page
    assert "<strong>Dog</strong>: brown, by the shed" in page
    assert "Sewage" not in page
    assert "<strong>Snakes</strong>" not in page
    assert page.index("brown, by the shed") < page.index("Gate code 4")


def test_it_is_linked_from_the_start(visit: Visit, client_for: ClientFor, crew: User) -> None:
    Visit.objects.update(starts_at="2126-03-03T12:00Z", ends_at="2126-03-03T15:00Z")
    assert reverse("visit", args=[visit.pk]) in client_for(crew).get(reverse("home-list")).content.decode()


def test_it_is_linked_from_the_home_for_those_who_see_it(
    visit: Visit, client_for: ClientFor, crew: User, lead: User
) -> None:
    other = VisitFactory(siting=visit.siting)
    pages = [client_for(who).get(reverse("home", args=[visit.siting.home_id])) for who in (crew, lead)]
    linked = [[reverse("visit", args=[one.pk]) in page.content.decode() for one in (visit, other)] for page in pages]
    assert linked == [[True, False], [True, True]]


def test_a_moment_is_read_by_somebody_without_an_account(visit: Visit, client_for: ClientFor, crew: User) -> None:
    client = client_for(crew)
    assert "not read yet" in section(page_of(client, visit), "before_jacking")
    answer = read(client, visit, "before_jacking", "  Tomás   Rivas ")
    assert answer["Location"] == reverse("visit", args=[visit.pk]) + "#before_jacking"
    rows = CautionRead.objects.all()
    assert {row.code for row in rows} == {"collapse", "jack_slip", "unseen_below", "gas", "soft_ground"}
    assert {(row.reader_name, row.moment, row.language, row.author) for row in rows} == {
        ("Tomás Rivas", "before_jacking", "en", crew)
    }
    assert all(row.text_sha256 == cautions.told(row.code, "en").text_sha256 for row in rows)
    page = page_of(client, visit)
    assert "read by Tomás Rivas" in section(page, "before_jacking")
    assert "not read yet" in section(page, "before_entry")
    assert '<option value="Tomás Rivas">' in page


def test_reading_twice_keeps_one_row_a_caution(visit: Visit, client_for: ClientFor, crew: User) -> None:
    client = client_for(crew)
    for name in ("Ana", "Ana", "Bo", "Ana "):
        assert read(client, visit, "slackening", name).status_code == 302
    assert sorted(CautionRead.objects.values_list("reader_name", "code")) == [
        ("Ana", "strap_recoil"),
        ("Ana", "wind"),
        ("Bo", "strap_recoil"),
        ("Bo", "wind"),
    ]
    assert "read by Ana, Bo" in section(page_of(client, visit), "slackening")


def test_who_has_read_one_of_two_has_not_read_the_moment(visit: Visit, client_for: ClientFor, crew: User) -> None:
    CautionReadFactory(visit=visit, text_sha256=cautions.told("wind", "en").text_sha256)
    assert "not read yet" in section(page_of(client_for(crew), visit), "slackening")


def test_what_was_read_elsewhere_does_not_count_here(visit: Visit, client_for: ClientFor, crew: User) -> None:
    other = VisitFactory(siting=visit.siting, state="done")
    other.crew.add(crew)
    client = client_for(crew)
    read(client, other, "start", "Ana")
    assert "not read yet" in section(page_of(client, visit), "start")


def test_a_changed_text_is_read_anew(
    visit: Visit, client_for: ClientFor, crew: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_for(crew)
    read(client, visit, "start", "Ana")
    changed = Caution(code="occupants", hazard="-", text="Everybody out.", source="-", moments=(Moment.START,))
    monkeypatch.setitem(CAUTIONS, "occupants", changed)
    cautions.told.cache_clear()
    try:
        assert "not read yet" in section(page_of(client, visit), "start")
        read(client, visit, "start", "Ana")
        assert "read by Ana" in section(page_of(client, visit), "start")
        assert CautionRead.objects.count() == 2
    finally:
        cautions.told.cache_clear()


def test_the_first_moment_that_one_has_not_read_is_open(visit: Visit, client_for: ClientFor, crew: User) -> None:
    client = client_for(crew)

    def open_moments() -> list[str]:
        return re.findall(r'<details class="moment" id="(\w+)" open', page_of(client, visit))

    assert open_moments() == ["loading"]
    read(client, visit, "loading", str(crew))
    assert open_moments() == ["start"]


@pytest.mark.parametrize("name", ["", "   ", "x" * 81])
def test_nobody_reads_without_a_name(visit: Visit, client_for: ClientFor, crew: User, name: str) -> None:
    answer = read(client_for(crew), visit, "start", name)
    assert answer.status_code == 400
    assert 'aria-invalid="true"' in section(answer.content.decode(), "start")
    assert not CautionRead.objects.exists()


def test_a_moment_or_language_that_nobody_knows_is_refused(visit: Visit, client_for: ClientFor, crew: User) -> None:
    client = client_for(crew)
    assert read(client, visit, "whenever", "Ana").status_code == 400
    assert read(client, visit, "start", "Ana", language="fr").status_code == 400
    assert not CautionRead.objects.exists()


def test_the_office_looks_on(visit: Visit, client_for: ClientFor, office: User) -> None:
    client = client_for(office)
    assert reverse("visit-read", args=[visit.pk]) not in page_of(client, visit)
    assert read(client, visit, "start", "Ana").status_code == 403


@pytest.mark.parametrize("rows", [1, 3])
def test_it_asks_a_fixed_number_of_times(
    visit: Visit,
    client_for: ClientFor,
    crew: User,
    rows: int,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    for _ in range(rows):
        HazardFactory(home=visit.siting.home)
        CautionReadFactory(visit=visit, text_sha256=cautions.told("wind", "en").text_sha256)
        visit.crew.add(UserFactory(roles=[Role.CREW]))
    client = client_for(crew)
    # session, user, time zone; visit with home, its crew, its trucks, what was read, hazards, the last handover
    with django_assert_num_queries(11):
        page_of(client, visit)


# -- who is under the home -----------------------------------------------------------------------------------------


def under(page: str) -> str:
    found = re.search(r'<section aria-labelledby="under">.*?</section>', page, re.DOTALL)
    assert found
    return re.sub(r"\s+", " ", found[0])


def count(client: Client, visit: Visit, name: str, is_in: str, key: uuid.UUID | None = None) -> Any:
    body = {"id": str(key or uuid.uuid4()), "person_name": name, "is_in": is_in}
    return client.post(reverse("visit-head-count", args=[visit.pk]), body)


def test_who_is_under_the_home_is_counted_in_and_out_by_name(visit: Visit, client_for: ClientFor, crew: User) -> None:
    client, key = client_for(crew), uuid.uuid4()
    assert "Nobody is counted in." in under(page_of(client, visit))
    assert [count(client, visit, "Ana", "true", key).status_code for _twice in range(2)] == [302, 302]
    count(client, visit, "Bo", "true")
    assert "<strong>Ana, Bo</strong>" in under(page_of(client, visit))
    count(client, visit, "ANA", "false")
    page = under(page_of(client, visit))
    assert "<strong>Bo</strong></p>" in page
    assert re.findall(r"<li><strong>(\w+)</strong> ([\w ]+)<br>", page) == [
        ("ANA", "came out"),
        ("Bo", "went in"),
        ("Ana", "went in"),
    ]
    assert HeadCount.objects.count() == 3


def test_a_count_without_a_name_or_a_way_is_told_and_not_kept(
    visit: Visit, client_for: ClientFor, crew: User
) -> None:
    client = client_for(crew)
    for name, is_in in (("  ", "true"), ("Ana", ""), ("Ana", "up")):
        answer = count(client, visit, name, is_in)
        assert (answer.status_code, HeadCount.objects.count()) == (400, 0)
        assert 'class="error"' in under(answer.content.decode())


def test_whoever_was_not_counted_out_at_an_earlier_visit_is_under_the_home_still(
    visit: Visit, client_for: ClientFor, crew: User
) -> None:
    HeadCountFactory(visit=VisitFactory(siting=visit.siting), person_name="Ana")
    HeadCountFactory(person_name="Zoe")  # under another home
    page = under(page_of(client_for(crew), visit))
    assert "<strong>Ana</strong>" in page
    assert "Zoe" not in page
    assert "Head count" not in page  # of this visit, nobody was counted


def test_the_office_sees_the_count_and_does_not_count(visit: Visit, client_for: ClientFor, office: User) -> None:
    client = client_for(office)
    assert "<form" not in under(page_of(client, visit))
    assert count(client, visit, "Ana", "true").status_code == 403


def test_refused_entry_shows_with_its_reason(visit: Visit, client_for: ClientFor, crew: User) -> None:
    VisitReportFactory(visit=visit, state="on_site")
    VisitReportFactory(visit=visit, state="refused", reason="nobody answers <the door>")
    page = page_of(client_for(crew), visit)
    assert "<strong>Entry refused</strong>: nobody answers &lt;the door&gt;" in page
    assert "<strong>On site</strong>:" not in page
