"""Handovers: kept once, the newest of a home shown first to the crew that comes, acknowledged by name."""

import datetime
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from jobs.handovers import acknowledge, newest_handovers
from jobs.models import Handover, Role, User, Visit
from tests.calcs.api.syncing import Phone
from tests.factories import NOON, CompanyFactory, HandoverFactory, SitingFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

HOUR = datetime.timedelta(hours=1)
SignIn = Callable[[User], Client]
LEFT = {"are_straps_slack": False, "are_jacks_in": True, "is_blocked": True, "text": "go on at B4"}


@pytest.fixture
def visit(lead: User) -> Visit:
    CompanyFactory()
    return VisitFactory(lead=lead, siting=SitingFactory(), kind="releveling")


@pytest.fixture
def comes(visit: Visit) -> User:
    """Somebody of the crew that comes to the same home later."""
    person = UserFactory(first_name="Bo", last_name="Tran", roles=[Role.CREW])
    later = VisitFactory(siting=visit.siting, starts_at=NOON + 20 * HOUR, ends_at=NOON + 24 * HOUR)
    later.crew.add(person)
    return person


def test_the_newest_of_each_siting_by_when_it_was_noted(visit: Visit) -> None:
    HandoverFactory(visit=visit, noted_at=NOON)
    late = HandoverFactory(visit=visit, noted_at=NOON + HOUR)
    HandoverFactory(visit=visit, noted_at=NOON + HOUR / 2)  # came in last
    other = HandoverFactory(visit=VisitFactory())
    sitings = [visit.siting, other.visit.siting, SitingFactory()]
    assert newest_handovers(sitings) == {visit.siting_id: late, other.visit.siting_id: other}


def test_who_reads_it_first_is_kept(visit: Visit, crew: User, lead: User) -> None:
    handover = HandoverFactory(visit=visit)
    acknowledge(handover, by=crew, at=NOON)
    acknowledge(handover, by=lead)
    handover.refresh_from_db()
    assert (handover.read_by, handover.read_at) == (crew, NOON)


def test_a_crew_hands_over_on_the_page(visit: Visit, lead: User, client_for: SignIn) -> None:
    client, address = client_for(lead), f"/visits/{visit.pk}/handover/"
    typed = {
        "id": str(uuid.uuid4()),
        "are_straps_slack": "false",
        "are_jacks_in": "true",
        "is_blocked": "true",
        "text": "go on at B4",
    }
    for _press in range(2):  # twice is once
        assert client.post(address, typed)["Location"] == f"/visits/{visit.pk}/"
    handover = Handover.objects.get()
    assert {name: getattr(handover, name) for name in LEFT} == LEFT
    page = client.get(address).content.decode()
    assert "Some jack still stands under the home." in page
    assert "nobody of the crew that comes has read it yet" in page


@pytest.mark.parametrize("left_out", ["are_straps_slack", "are_jacks_in", "is_blocked"])
def test_each_question_is_answered(visit: Visit, lead: User, client_for: SignIn, left_out: str) -> None:
    typed = {"id": str(uuid.uuid4())} | {
        name: "false" for name in ("are_straps_slack", "are_jacks_in", "is_blocked") if name != left_out
    }
    answer = client_for(lead).post(f"/visits/{visit.pk}/handover/", typed)
    assert (answer.status_code, list(answer.context["form"].errors)) == (400, [left_out])
    assert not Handover.objects.exists()


def test_the_crew_that_comes_sees_it_first_and_acknowledges_by_name(
    visit: Visit, comes: User, lead: User, client_for: SignIn
) -> None:
    handover = HandoverFactory(visit=visit, author=lead, text="go on at B4")
    own = comes.visits.get()
    client = client_for(comes)
    page = client.get(f"/visits/{own.pk}/").content.decode()
    main = page[page.index("<main") :]
    assert main.index("go on at B4") < main.index("No hazard is open.")
    assert "I have read this: Bo Tran" in page
    assert "I have read this" not in client_for(lead).get(f"/visits/{visit.pk}/").content.decode()  # his own
    answer = client.post(f"/handovers/{handover.pk}/read/", {"back": own.pk})
    assert answer["Location"] == f"/visits/{own.pk}/"
    handover.refresh_from_db()
    assert (handover.read_by, handover.read_at is None) == (comes, False)
    assert "go on at B4" not in client.get(f"/visits/{own.pk}/").content.decode()
    assert "read by Bo Tran" in client.get(f"/visits/{own.pk}/handover/").content.decode()


def test_who_wrote_it_does_not_acknowledge_it(visit: Visit, lead: User, client_for: SignIn, api_for: Any) -> None:
    handover = HandoverFactory(visit=visit, author=lead)
    page = client_for(lead).post(f"/handovers/{handover.pk}/read/", follow=True).content.decode()
    assert "the crew that comes does" in page
    assert api_for(lead).post(f"/api/v1/handovers/{handover.pk}/read/").status_code == 400
    handover.refresh_from_db()
    assert handover.read_by is None


def test_the_office_reads_and_does_not_acknowledge(visit: Visit, office: User, client_for: SignIn) -> None:
    handover = HandoverFactory(visit=visit, text="go on at B4")
    client = client_for(office)
    page = client.get(f"/visits/{visit.pk}/").content.decode()
    assert "go on at B4" in page
    assert "I have read this" not in page
    assert client.post(f"/handovers/{handover.pk}/read/").status_code == 403
    assert client.post(f"/visits/{visit.pk}/handover/", {}).status_code == 403


def test_over_the_api(visit: Visit, comes: User, lead: User, api_for: Any) -> None:
    body = {"id": str(uuid.uuid4()), "visit": str(visit.pk), "noted_at": NOON.isoformat(), **LEFT}
    phone = api_for(lead)
    assert phone.post("/api/v1/handovers/", body, format="json").status_code == 201
    reader = api_for(comes)
    assert [row["id"] for row in reader.get("/api/v1/handovers/?unread=true").json()["results"]] == [body["id"]]
    told = reader.post(f"/api/v1/handovers/{body['id']}/read/").json()
    assert (told["read_by"], told["read_at"] is None) == (str(comes.pk), False)
    assert reader.get("/api/v1/handovers/?unread=true").json()["results"] == []
    assert phone.post("/api/v1/handovers/", body, format="json").status_code == 200  # sent again, read meanwhile
    other = phone.post("/api/v1/handovers/", body | {"text": "otherwise"}, format="json")
    assert other.status_code == 409
    for name in ("are_straps_slack", "are_jacks_in", "is_blocked"):
        short = {key: value for key, value in body.items() if key != name} | {"id": str(uuid.uuid4())}
        assert list(phone.post("/api/v1/handovers/", short, format="json").json()["fields"]) == [name]


def test_by_phone(visit: Visit, comes: User, lead: User, api_for: Any) -> None:
    leaves, arrives = Phone(api_for(lead)), Phone(api_for(comes))
    entry = leaves.entry("handover", {"visit": str(visit.pk), **LEFT})
    (told,) = leaves.send(entry)
    assert told["state"] == "taken"
    assert {name: getattr(Handover.objects.get(), name) for name in LEFT} == LEFT
    read = arrives.entry("takeover", {"handover": entry["id"]})
    assert [one["state"] for one in arrives.send(read, read)] == ["taken", "repeated"]
    assert Handover.objects.get().read_by == comes
    (own,) = leaves.send(leaves.entry("takeover", {"handover": entry["id"]}))
    (strange,) = arrives.send(arrives.entry("takeover", {"handover": str(uuid.uuid4())}))
    assert (own["state"], strange["state"]) == ("set_aside", "set_aside")
    (again,) = leaves.send(entry)
    assert again["state"] == "repeated"


def test_a_phones_day_has_the_last_one_of_each_home(visit: Visit, comes: User, lead: User, api_for: Any) -> None:
    visit_now = comes.visits.get()
    Visit.objects.filter(pk=visit_now.pk).update(starts_at=timezone.now(), ends_at=timezone.now() + HOUR)
    address = "/api/v1/day/"
    with CaptureQueriesContext(connection) as without:
        (place,) = api_for(comes).get(address).json()["places"]
    assert place["last_handover"] is None
    handover = HandoverFactory(visit=visit, author=lead, text="go on at B4")
    with CaptureQueriesContext(connection) as queries:
        (place,) = api_for(comes).get(address).json()["places"]
    assert len(queries) == len(without)
    told = place["last_handover"]
    assert (told["id"], told["author_name"], told["reader_name"]) == (str(handover.pk), str(lead), "")
    acknowledge(handover, by=comes)
    (place,) = api_for(comes).get(address).json()["places"]
    assert place["last_handover"]["reader_name"] == "Bo Tran"
