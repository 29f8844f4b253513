"""Hazards of homes: noted by anybody, shown at every visit, cleared once, with a reason, by those who lead."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from jobs.errors import DomainError
from jobs.hazards import clear_hazard
from jobs.models import Hazard, Home, Photo, Siting, User
from tests.calcs.api.syncing import outdoors
from tests.factories import NOON, HazardFactory, SitingFactory, SurveyFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db
API = "/api/v1/hazards/"
ClientFor = Callable[[User], Client]
ApiFor = Callable[[User], APIClient]


@pytest.fixture
def siting(crew: User) -> Siting:
    siting = SitingFactory()
    outdoors(crew, siting)
    return siting


@pytest.fixture
def home(siting: Siting) -> Home:
    return siting.home


def photo_of(siting: Siting) -> Photo:
    sizes = {"size_bytes": 9, "width_px": 4, "height_px": 3}
    return Photo.objects.create(
        siting=siting,
        file="photos/1.jpg",
        media_type="image/jpeg",
        caption="the shed",
        author=UserFactory(),
        noted_at=NOON,
        **sizes,
    )


def body(home: Home, **fields: Any) -> dict[str, Any]:
    return {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "home": str(home.pk), "kind": "dog", **fields}


# -- over the API -------------------------------------------------------------------------------------------------


def test_a_crew_notes_one_once_however_often_it_is_sent(
    home: Home, siting: Siting, api_for: ApiFor, crew: User
) -> None:
    client, sent = api_for(crew), body(home, text="by the shed", photo=str(photo_of(siting).pk))
    assert [client.post(API, sent).status_code for _ in range(2)] == [201, 200]
    row = Hazard.objects.get()
    assert (row.home, row.kind, row.text, row.author, row.cleared_at) == (home, "dog", "by the shed", crew, None)
    clash = client.post(API, sent | {"text": "in the house"})
    assert (clash.status_code, clash.json()["code"]) == (409, "conflict")


def test_one_sent_again_after_it_was_cleared_is_the_same(home: Home, api_for: ApiFor, crew: User, lead: User) -> None:
    sent = body(home)
    api_for(crew).post(API, sent)
    clear_hazard(hazard=Hazard.objects.get(), by=lead, why="the dog moved away")
    assert api_for(crew).post(API, sent).status_code == 200
    assert Hazard.objects.get().cleared_why == "the dog moved away"


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"kind": "dragon"}, "kind"),
        ({"kind": "other"}, "text"),
        ({"text": "x" * 501}, "text"),
        ({"home": ""}, "home"),
    ],
)
def test_what_is_wrong_is_told_at_its_field(
    home: Home, api_for: ApiFor, crew: User, wrong: dict[str, Any], field: str
) -> None:
    answer = api_for(crew).post(API, body(home) | wrong)
    assert (answer.status_code, list(answer.json()["fields"])) == (400, [field])
    assert not Hazard.objects.exists()


def test_a_photo_is_of_the_same_home(home: Home, api_for: ApiFor, lead: User) -> None:
    answer = api_for(lead).post(API, body(home, photo=str(photo_of(SitingFactory()).pk)))
    assert answer.json()["fields"] == {"photo": "This photo is of another home."}


def test_the_list_is_cut_by_home_and_by_what_is_open(home: Home, api_for: ApiFor, lead: User) -> None:
    there = HazardFactory(home=home)
    HazardFactory()
    cleared = HazardFactory(home=home, kind="gas_smell", cleared_at=NOON, cleared_by=lead, cleared_why="valve closed")
    client = api_for(lead)

    def listed(query: str) -> set[str]:
        return {row["id"] for row in client.get(f"{API}?home={home.pk}&{query}").json()["results"]}

    assert listed("open=true") == {str(there.pk)}
    assert listed("open=false") == {str(cleared.pk)}
    assert listed("kind=gas_smell") == {str(cleared.pk)}
    assert listed("") == {str(there.pk), str(cleared.pk)}


@pytest.mark.parametrize("role", ["manager", "office", "lead"])
def test_who_leads_clears_with_a_reason_once(
    home: Home, api_for: ApiFor, role: str, request: pytest.FixtureRequest
) -> None:
    person = request.getfixturevalue(role)
    hazard = HazardFactory(home=home)
    client, address = api_for(person), f"{API}{hazard.pk}/clear/"
    for nothing in ({}, {"why": "  "}, {"why": "x" * 201}):
        answer = client.post(address, nothing)
        assert (answer.status_code, list(answer.json()["fields"])) == (400, ["why"])
    answer = client.post(address, {"why": "fenced in"})
    assert (answer.status_code, answer.json()["cleared_why"]) == (200, "fenced in")
    assert answer.json()["cleared_by"] == str(person.pk)
    again = client.post(address, {"why": "gone"})
    assert (again.status_code, again.json()["code"]) == (409, "cleared")
    hazard.refresh_from_db()
    assert (hazard.cleared_by, hazard.cleared_why) == (person, "fenced in")


def test_a_crew_does_not_clear(home: Home, api_for: ApiFor, crew: User) -> None:
    hazard = HazardFactory(home=home, author=crew)
    assert api_for(crew).post(f"{API}{hazard.pk}/clear/", {"why": "gone"}).status_code == 403
    with pytest.raises(DomainError):
        clear_hazard(hazard=hazard, by=crew, why="gone")
    for method in ("patch", "delete", "put"):
        assert getattr(api_for(crew), method)(f"{API}{hazard.pk}/", {}).status_code == 405
    hazard.refresh_from_db()
    assert hazard.cleared_at is None


def test_under_an_archived_home_nothing_is_cleared(home: Home, api_for: ApiFor, lead: User) -> None:
    hazard = HazardFactory(home=home)
    Home.objects.filter(pk=home.pk).archive()
    assert api_for(lead).post(f"{API}{hazard.pk}/clear/", {"why": "gone"}).status_code == 403


@pytest.mark.parametrize(
    "half",
    [
        {"cleared_at": NOON},
        {"cleared_why": "gone"},
        {"cleared_at": NOON, "cleared_why": "gone"},
        {"cleared_at": NOON, "has_who": True},
        {"kind": "other"},
    ],
)
def test_the_database_keeps_no_half_cleared_one(home: Home, lead: User, half: dict[str, Any]) -> None:
    who = {"cleared_by": lead} if half.pop("has_who", False) else {}
    with pytest.raises(IntegrityError), transaction.atomic():
        HazardFactory(home=home, **half, **who)


# -- on pages -----------------------------------------------------------------------------------------------------


def test_open_ones_stand_above_all_else_on_the_home_s_page(
    home: Home, siting: Siting, client_for: ClientFor, crew: User, lead: User
) -> None:
    HazardFactory(home=home, text="brown, by the shed", photo=photo_of(siting))
    HazardFactory(home=home, kind="sewage", cleared_at=NOON, cleared_by=lead, cleared_why="pumped out")
    page = client_for(crew).get(reverse("home", args=[home.pk])).content.decode()
    assert "<strong>Dog</strong>: brown, by the shed" in page
    assert page.index("brown, by the shed") < page.index("Getting in")
    assert "pumped out" not in page
    assert "1 cleared hazard<" in page
    assert "Clear it" not in page  # a crew notes, and does not clear
    assert "Clear it" in client_for(lead).get(reverse("home", args=[home.pk])).content.decode()
    every = client_for(crew).get(reverse("hazards", args=[home.pk])).content.decode()
    assert "pumped out" in every


def test_one_is_noted_on_the_page_once(home: Home, siting: Siting, client_for: ClientFor, crew: User) -> None:
    client, address = client_for(crew), reverse("hazards", args=[home.pk])
    form = client.get(address).context["hazard_form"]
    typed = {"id": str(form["id"].value()), "kind": "wiring", "text": "at B3", "photo": str(photo_of(siting).pk)}
    for _ in range(2):
        assert client.post(address, typed)["Location"] == reverse("home", args=[home.pk])
    row = Hazard.objects.get()
    assert (row.kind, row.text, row.photo, row.author) == ("wiring", "at B3", Photo.objects.get(), crew)
    clash = client.post(address, typed | {"text": "at B4"})
    assert clash.status_code == 400
    assert "stored with other content" in clash.content.decode()


@pytest.mark.parametrize(
    ("wrong", "field"), [({"kind": "dragon"}, "kind"), ({"kind": ""}, "kind"), ({"kind": "other"}, "text")]
)
def test_what_is_wrong_in_the_form_is_told_and_what_was_typed_stays(
    home: Home, client_for: ClientFor, crew: User, wrong: dict[str, str], field: str
) -> None:
    typed = {"id": str(uuid.uuid4()), "text": "", **wrong}
    answer = client_for(crew).post(reverse("hazards", args=[home.pk]), typed)
    assert answer.status_code == 400
    assert list(answer.context["hazard_form"].errors) == [field]
    assert not Hazard.objects.exists()


def test_a_photo_of_another_home_is_no_choice(home: Home, client_for: ClientFor, lead: User) -> None:
    typed = {"id": str(uuid.uuid4()), "kind": "dog", "photo": str(photo_of(SitingFactory()).pk)}
    answer = client_for(lead).post(reverse("hazards", args=[home.pk]), typed)
    assert (answer.status_code, list(answer.context["hazard_form"].errors)) == (400, ["photo"])


def test_one_is_cleared_on_the_page(home: Home, client_for: ClientFor, lead: User) -> None:
    hazard = HazardFactory(home=home)
    client, address = client_for(lead), reverse("hazard-clear", args=[hazard.pk])
    without = client.post(address, {"why": " "})
    assert without.status_code == 400
    assert "Say why, in at most 200 characters." in without.content.decode()
    assert client.post(address, {"why": "in a kennel"})["Location"] == reverse("home", args=[home.pk])
    page = client.get(reverse("home", args=[home.pk])).content.decode()
    assert "<strong>Dog</strong>" not in page
    late = client.post(address, {"why": "gone"}, follow=True)
    assert "This hazard is cleared already." in late.content.decode()
    hazard.refresh_from_db()
    assert hazard.cleared_why == "in a kennel"


def test_under_an_archived_home_there_are_no_forms(home: Home, client_for: ClientFor, lead: User) -> None:
    HazardFactory(home=home)
    Home.objects.filter(pk=home.pk).update(archived_at=timezone.now())
    page = client_for(lead).get(reverse("home", args=[home.pk])).content.decode()
    assert "<strong>Dog</strong>" in page
    assert "Clear it" not in page
    assert "Note a hazard" not in page
    refused = client_for(lead).post(reverse("hazards", args=[home.pk]), {"id": str(uuid.uuid4()), "kind": "dog"})
    assert refused.status_code == 403
    assert Hazard.objects.count() == 1


def test_a_survey_s_page_tells_open_ones_in_one_line(
    home: Home, siting: Siting, client_for: ClientFor, lead: User
) -> None:
    survey = SurveyFactory(siting=siting)
    client, address = client_for(lead), reverse("survey", args=[survey.pk])
    assert "Open hazards" not in client.get(address).content.decode()
    HazardFactory(home=home)
    HazardFactory(home=home, kind="gas_smell")
    HazardFactory(home=home, kind="sewage", cleared_at=NOON, cleared_by=lead, cleared_why="pumped out")
    page = client.get(address).content.decode()
    assert "<strong>Open hazards at this home:</strong> dog, smell of gas." in page


def test_they_stay_with_the_home_when_it_moves(home: Home, siting: Siting, client_for: ClientFor, lead: User) -> None:
    HazardFactory(home=home, text="black mold behind the tub", kind="other")
    Siting.objects.filter(pk=siting.pk).update(to_on="2025-01-01")
    later = VisitFactory(siting=SitingFactory(home=home, from_on="2025-02-01"))
    assert "black mold" in client_for(lead).get(reverse("visit", args=[later.pk])).content.decode()


@pytest.mark.parametrize("rows", [1, 3])
def test_the_page_of_hazards_asks_a_fixed_number_of_times(
    siting: Siting,
    client_for: ClientFor,
    lead: User,
    rows: int,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    home = siting.home
    for _ in range(rows):
        HazardFactory(home=home, photo=photo_of(siting))
        HazardFactory(home=home, cleared_at=NOON, cleared_by=UserFactory(), cleared_why="gone")
    client = client_for(lead)
    # session, user, time zone; home, hazards, photos that a new one may name
    with django_assert_num_queries(6):
        assert client.get(reverse("hazards", args=[home.pk])).status_code == 200
