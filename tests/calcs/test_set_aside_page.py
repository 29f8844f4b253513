"""The page of entries that were set aside: who sees which, and what it says of them."""

import uuid
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from calcs.api.sync.wire import KINDS
from calcs.set_aside_page import KIND_WORDS
from jobs.models import Siting, User
from surveys.models import SyncEntry
from surveys.set_aside import leave_out
from tests.calcs.api.syncing import Phone, outdoors
from tests.factories import SetupFactory, SurveyFactory, lay_out_home

pytestmark = pytest.mark.django_db


@pytest.fixture
def siting(crew: User) -> Siting:
    siting = lay_out_home()
    outdoors(crew, siting)
    return siting


def send_a_bad_one(client: Any, siting: Siting) -> None:
    setup = SetupFactory(survey=SurveyFactory(siting=siting), code="S1")
    phone = Phone(client)
    assert phone.states(phone.reading(setup, siting.points.get(label="A1"), "3 5/7")) == ["set_aside invalid"]


def text_of(client: Any, address: str = "/set-aside/") -> str:
    response = client.get(address)
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def test_it_says_what_where_who_and_why(siting: Siting, crew: User, client_for: Any, api_for: Any) -> None:
    client = client_for(crew)
    assert "None of yours: everything that you sent was taken" in text_of(client)
    send_a_bad_one(api_for(crew), siting)
    text = text_of(client)
    for words in ("reading, A1, S1", str(siting.home), "3 5/7", "crew, truck 2 phone", "2, 4, 8, 16, 32 or 64"):
        assert words in text
    for address in (f"/homes/{siting.home_id}/", f"/surveys/{siting.surveys.get().pk}/"):
        assert "1 entry from a phone is set aside" in text_of(client, address)


def test_every_kind_of_entry_has_words() -> None:
    assert KIND_WORDS.keys() - {""} == set(KINDS)


def test_one_s_own_and_everybody_s_for_the_office(
    siting: Siting, lead: User, office: User, client_for: Any, api_for: Any
) -> None:
    crew = User.objects.get(username="crew")
    send_a_bad_one(api_for(crew), siting)
    assert "None: everything that phones sent was taken" not in text_of(client_for(office))
    assert "3 5/7" in text_of(client_for(office))
    assert "3 5/7" not in text_of(client_for(lead))
    phone = Phone(api_for(lead))
    body = {"setup": str(uuid.uuid4()), "point": str(siting.points.get(label="A1").pk), "value": "1 2/3"}
    phone.send(phone.entry("reading", body, author=str(crew.pk)), "no entry at all")
    text = text_of(client_for(crew))
    assert "(sent by lead)" in text
    assert "entry that can&#x27;t be read" in text_of(client_for(lead))
    assert "entry that can&#x27;t be read" not in text


def test_what_a_phone_sent_is_shown_as_text(siting: Siting, crew: User, client_for: Any, api_for: Any) -> None:
    phone = Phone(api_for(crew))
    sent = {"siting": str(siting.pk), "grade": "<script>alert(1)</script>", "<b>": "<i>"}
    phone.send(phone.entry("finding", sent))
    text = text_of(client_for(crew))
    assert "&lt;script&gt;alert(1)" in text
    assert "<i>" not in text


def test_as_many_queries_for_three_entries_as_for_one(
    siting: Siting, crew: User, client_for: Any, api_for: Any
) -> None:
    client = client_for(crew)
    counts = []
    for more in (1, 2):
        for _ in range(more):
            send_a_bad_one(api_for(crew), siting)
        with CaptureQueriesContext(connection) as queries:
            client.get("/set-aside/")
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert counts[0] <= 13


class TestLeavingOut:
    @pytest.fixture
    def entry(self, siting: Siting, crew: User, api_for: Any) -> SyncEntry:
        send_a_bad_one(api_for(crew), siting)
        return SyncEntry.objects.get()

    def test_it_leaves_the_list_with_who_and_why_and_stays_kept(
        self, entry: SyncEntry, crew: User, client_for: Any
    ) -> None:
        client = client_for(crew)
        answer = client.post(f"/set-aside/{entry.entry}/leave-out/", {"why": "a slip of the thumb"}, follow=True)
        assert "Left out." in answer.content.decode()
        assert "3 5/7" not in text_of(client)
        entry.refresh_from_db()
        assert (entry.state, entry.left_out_by, entry.left_out_why) == ("left_out", crew, "a slip of the thumb")
        assert client.post(f"/set-aside/{entry.entry}/leave-out/", {"why": "again"}).status_code == 409

    @pytest.mark.parametrize("why", ["", "   ", "x" * 201])
    def test_a_reason_is_needed(self, entry: SyncEntry, why: str, crew: User, client_for: Any, api_for: Any) -> None:
        answer = client_for(crew).post(f"/set-aside/{entry.entry}/leave-out/", {"why": why})
        assert answer.status_code == 400
        assert "Say why" in answer.content.decode()
        told = api_for(crew).post(f"/api/v1/sync/{entry.entry}/leave-out/", {"why": why})
        assert (told.status_code, list(told.json()["fields"])) == (400, ["why"])
        entry.refresh_from_db()
        assert entry.state == "set_aside"

    def test_over_the_api_by_the_office_and_by_nobody_else(
        self, entry: SyncEntry, lead: User, office: User, api_for: Any
    ) -> None:
        address = f"/api/v1/sync/{entry.entry}/leave-out/"
        assert api_for(lead).post(address, {"why": "not mine"}).status_code == 404
        assert api_for(office).post(address, {"why": "measured again"}).status_code == 204
        told = api_for(office).get("/api/v1/sync/?state=left_out").json()["results"]
        assert [(one["left_out_by"], one["left_out_why"]) for one in told] == [(str(office.pk), "measured again")]

    def test_sent_again_it_stays_left_out_until_it_can_be_taken(
        self, siting: Siting, crew: User, client_for: Any, api_for: Any
    ) -> None:
        phone = Phone(api_for(crew))
        setup = SetupFactory.build(survey=SurveyFactory(siting=siting), code="S1")
        entry = phone.reading(setup, siting.points.get(label="A1"), "3 5/8")
        assert phone.states(entry) == ["set_aside invalid"]  # its setup isn't there yet
        leave_out(entry=uuid.UUID(entry["id"]), by=crew, why="lost its setup")
        assert phone.states(entry) == ["set_aside invalid"]
        assert SyncEntry.objects.get().state == "left_out"
        setup.save()
        assert phone.states(entry) == ["taken"]
        assert SyncEntry.objects.get().state == "taken"
