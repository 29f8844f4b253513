"""Booking on pages: the form, what booking refuses at its fields, two editors, states with their reasons."""

import datetime
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from rest_framework.test import APIClient

from jobs.models import Role, Skill, User, Visit
from tests.factories import (
    CompanyFactory,
    CustomerFactory,
    HomeContactFactory,
    HomeFactory,
    JobFactory,
    SitingFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("America/Chicago")
SignIn = Callable[[User], Client]
HOURS = {"day": "2026-03-03", "from_time": "08:00", "to_time": "12:00", "kind": "recheck"}


@pytest.fixture(autouse=True)
def _company(db: None) -> None:
    CompanyFactory(time_zone="America/Chicago")


@pytest.fixture
def desk(office: User, client_for: SignIn) -> Client:
    return client_for(office)


def at(day: int, hour: int, month: int = 3) -> datetime.datetime:
    return datetime.datetime(2026, month, day, hour, tzinfo=ZONE)


def errors_of(answer: Any) -> dict[str, Any]:
    return {name: list(errors) for name, errors in answer.context["form"].errors.items()}


def test_the_home_is_looked_for_first(desk: Client) -> None:
    siting = SitingFactory(home=HomeFactory(code="H-12"), address="4 Alder Lane")
    HomeContactFactory(home=siting.home, customer=CustomerFactory(name="Orla Vant"))
    for query in ("h-12", "alder l", "orla"):
        page = desk.get("/visits/new/", {"q": query, "day": "2026-03-03"}).content.decode()
        assert f"siting={siting.pk}" in page, query
        assert "day=2026-03-03" in page
    assert "No home that stands contains" in desk.get("/visits/new/?q=elsewhere").content.decode()


def test_a_link_fills_the_form(desk: Client) -> None:
    siting, lead = SitingFactory(), UserFactory(roles=[Role.CREW_LEAD])
    job = JobFactory(home=siting.home)
    given = {"siting": siting.pk, "day": "2026-03-03", "lead": lead.pk, "kind": "recheck", "why": "the edge sinks"}
    form = desk.get("/visits/new/", {**given, "job": job.pk}).context["form"]
    by_home = desk.get("/visits/new/", {"home": siting.home_id, "job": job.pk})
    assert by_home.context["siting"] == siting
    assert str(by_home.context["form"]["job"].value()) == str(job.pk)
    shown = {name: str(form[name].value()) for name in ("day", "lead", "kind", "job", "booked_why")}
    assert shown == {
        "day": "2026-03-03",
        "lead": str(lead.pk),
        "kind": "recheck",
        "job": str(job.pk),
        "booked_why": "the edge sinks",
    }


def test_a_visit_is_booked_in_the_companys_hours(desk: Client) -> None:
    siting, lead = SitingFactory(), UserFactory(roles=[Role.CREW_LEAD], skills=[Skill.LEVEL])
    helper, truck = UserFactory(roles=[Role.CREW]), TruckFactory()
    who = {"lead": lead.pk, "crew": [helper.pk], "trucks": [truck.pk], "needs": ["level"]}
    given = HOURS | who | {"last_day": "2026-03-04", "booked_why": "it sinks", "note": "call first"}
    answer = desk.post(f"/visits/new/?siting={siting.pk}", given)
    visit = Visit.objects.get()
    assert answer["Location"] == f"/week/?day=2026-03-03#visit-{visit.pk}"
    assert (visit.siting, visit.starts_at, visit.ends_at) == (siting, at(3, 8), at(4, 12))
    assert (visit.lead, list(visit.crew.all()), list(visit.trucks.all())) == (lead, [helper], [truck])
    assert (visit.needs, visit.booked_why, visit.note) == (["level"], "it sinks", "call first")


def test_who_is_taken_is_told_at_the_field_with_a_way_there(desk: Client) -> None:
    lead = UserFactory(first_name="Ann", last_name="Ash", roles=[Role.CREW_LEAD])
    taken = VisitFactory(lead=lead, starts_at=at(3, 11), ends_at=at(3, 14))
    answer = desk.post(f"/visits/new/?siting={SitingFactory().pk}", HOURS | {"lead": lead.pk})
    assert answer.status_code == 409
    (words,) = errors_of(answer)["lead"]
    assert words == f"Ann Ash is at {taken.siting.home} then: inspection, Tue 3 Mar 2026, 11:00 to 14:00."
    page = answer.content.decode()
    assert f'href="/visits/{taken.pk}/"' in page
    assert "Ann Ash (taken on 3 Mar: 11:00 to 14:00)" in page  # beside the name, so that another is chosen
    assert list(Visit.objects.all()) == [taken]


def test_who_is_off_that_day_is_told_beside_the_name(desk: Client) -> None:
    off = UserFactory(first_name="Ann", last_name="Ash", roles=[Role.CREW_LEAD])
    TimeOffFactory(person=off, from_on="2026-03-03", to_on="2026-03-03")
    page = desk.get(f"/visits/new/?siting={SitingFactory().pk}&day=2026-03-03").content.decode()
    assert "Ann Ash (taken on 3 Mar: off)" in page


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        ({"to_time": "08:00"}, "to_time"),
        ({"last_day": "2026-03-02"}, "last_day"),
        ({"last_day": "2026-04-04"}, "last_day"),
        ({"day": "2099-03-03"}, "day"),
        ({"day": "2026-03-08", "from_time": "02:30"}, "from_time"),  # the clock is put forward from two to three
        ({"day": "2026-02-31"}, "day"),
        ({"from_time": "25:00"}, "from_time"),
        ({"kind": "party"}, "kind"),
        ({"needs": ["magic"]}, "needs"),
    ],
)
def test_what_can_not_be_is_told_at_its_field(desk: Client, typed: dict[str, Any], field: str) -> None:
    answer = desk.post(f"/visits/new/?siting={SitingFactory().pk}", HOURS | typed)
    assert (answer.status_code, list(errors_of(answer))) == (400, [field])
    assert not Visit.objects.exists()


def test_what_speaks_against_the_day_is_asked_with_the_form_kept(desk: Client) -> None:
    TimeOffFactory(from_on="2026-03-03", to_on="2026-03-03", why="Founders' day")
    siting = SitingFactory()
    there = VisitFactory(siting=siting, starts_at=at(3, 11), ends_at=at(3, 14))
    address, typed = f"/visits/new/?siting={siting.pk}", HOURS | {"note": "call first"}
    assert "all the same" not in desk.get(address).content.decode()
    asked = desk.post(address, typed)
    assert errors_of(asked) == {"day": ["The company is off then: Founders' day, 3 Mar 2026."]}
    page = asked.content.decode()
    assert "Book it all the same" in page
    assert 'name="despite" value="holiday"' in page
    assert 'value="same_home"' not in page
    assert "call first" in page
    asked = desk.post(address, typed | {"despite": ["holiday"]})
    assert list(errors_of(asked)) == ["day"]
    assert [str(value) for value, _words in asked.context["form"].fields["despite"].choices] == [
        "holiday",
        "same_home",
    ]
    assert desk.post(address, typed | {"despite": ["holiday", "same_home"]}).status_code == 302
    made = Visit.objects.exclude(pk=there.pk).get()
    changed = HOURS | {"version": made.version, "to_time": "13:00"}
    assert list(errors_of(desk.post(f"/visits/{made.pk}/change/", changed))) == ["day"]
    answer = desk.post(f"/visits/{made.pk}/change/", changed | {"despite": ["holiday", "same_home"]})
    assert answer.status_code == 302


def test_the_api_asks_what_speaks_against_the_day(office: User, api_for: Callable[[User], APIClient]) -> None:
    TimeOffFactory(from_on="2026-03-03", to_on="2026-03-03", why="Founders' day")
    api = api_for(office)
    times = {"starts_at": at(3, 8).isoformat(), "ends_at": at(3, 12).isoformat()}
    body = {"siting": str(SitingFactory().pk), "kind": "recheck", **times}
    asked = api.post("/api/v1/visits/", body, format="json")
    assert asked.status_code == 409
    assert "holiday" in asked.content.decode()
    made = api.post("/api/v1/visits/", body | {"despite": ["holiday"]}, format="json")
    assert made.status_code == 201, made.content
    assert "despite" not in made.json()
    wrong = api.post("/api/v1/visits/", body | {"despite": ["weather"]}, format="json")
    assert wrong.status_code == 400


def test_a_visit_in_the_hour_that_comes_twice_is_in_its_first(desk: Client) -> None:
    given = HOURS | {"day": "2026-11-01", "from_time": "01:30", "to_time": "03:30"}
    desk.post(f"/visits/new/?siting={SitingFactory().pk}", given)
    visit = Visit.objects.get()
    assert visit.ends_at - visit.starts_at == datetime.timedelta(hours=3)


def test_a_visit_is_changed_and_moved_with_a_reason(desk: Client) -> None:
    visit = VisitFactory(starts_at=at(3, 8), ends_at=at(3, 12))
    address = f"/visits/{visit.pk}/change/"
    form = desk.get(address).context["form"]
    assert (str(form["from_time"].value()), str(form["to_time"].value())) == ("08:00:00", "12:00:00")
    given = HOURS | {"version": visit.version, "from_time": "09:00", "reason": "rain"}
    assert desk.post(address, given).status_code == 302
    visit.refresh_from_db()
    assert (visit.starts_at, visit.kind, visit.state_reason) == (at(3, 9), "recheck", "rain")


def test_two_who_change_a_visit_are_told_of_each_other(desk: Client) -> None:
    visit = VisitFactory(starts_at=at(3, 8), ends_at=at(3, 12))
    other = Visit.objects.get(pk=visit.pk)
    other.note = "by the other"
    other.save()
    answer = desk.post(f"/visits/{visit.pk}/change/", HOURS | {"version": visit.version, "note": "mine"})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "by the other" in page
    assert "Save mine over it" in page
    assert Visit.objects.get(pk=visit.pk).note == "by the other"
    again = desk.post(f"/visits/{visit.pk}/change/", HOURS | {"version": other.version, "note": "mine"})
    assert (again.status_code, Visit.objects.get(pk=visit.pk).note) == (302, "mine")


@pytest.mark.parametrize("role", [Role.CREW_LEAD, Role.CREW])
def test_who_does_not_book_gets_no_form(client_for: SignIn, role: Role) -> None:
    person = UserFactory(roles=[role])
    visit = VisitFactory(lead=person)
    client = client_for(person)
    assert client.get("/visits/new/").status_code == 403
    assert client.get(f"/visits/{visit.pk}/change/").status_code == 403
    assert client.post(f"/visits/{visit.pk}/change/", HOURS | {"version": 1}).status_code == 403


def test_a_lead_says_on_the_page_how_his_visit_stands(client_for: SignIn, lead: User) -> None:
    visit, client = VisitFactory(lead=lead), client_for(lead)
    assert "Say how the visit stands" in client.get(f"/visits/{visit.pk}/").content.decode()
    given = {"version": visit.version, "state": "refused"}
    refused = client.post(f"/visits/{visit.pk}/state/", given)
    assert (refused.status_code, errors_of(refused)) == (400, {"state_reason": ["Say why."]})
    taken = client.post(f"/visits/{visit.pk}/state/", given | {"state_reason": "nobody home"})
    assert taken["Location"] == f"/visits/{visit.pk}/"
    page = client.get(f"/visits/{visit.pk}/").content.decode()
    assert "entry refused: nobody home" in page
    assert "Say how the visit stands" not in page  # it is over: only the office opens it again


def test_the_state_of_anothers_visit_and_an_old_page_are_refused(
    client_for: SignIn, lead: User, desk: Client
) -> None:
    visit = VisitFactory()
    given = {"version": visit.version, "state": "done"}
    assert client_for(lead).post(f"/visits/{visit.pk}/state/", given).status_code == 403
    visit.save()
    assert desk.post(f"/visits/{visit.pk}/state/", given).status_code == 400
    assert Visit.objects.get(pk=visit.pk).state == "booked"


def test_two_who_move_a_visit_are_told_both_hours(desk: Client) -> None:
    visit = VisitFactory(starts_at=at(3, 8), ends_at=at(3, 12))
    other = Visit.objects.get(pk=visit.pk)
    other.starts_at, other.ends_at = at(4, 9), at(4, 11)
    other.save()
    answer = desk.post(f"/visits/{visit.pk}/change/", HOURS | {"version": visit.version, "day": "2026-03-05"})
    form = answer.context["form"]
    both = {clash.theirs.field: (clash.theirs.after, clash.typed) for clash in form.clashes}
    assert both["starts_at"] == ("4 Mar 2026, 09:00", "5 Mar 2026, 08:00")
    assert both["ends_at"] == ("4 Mar 2026, 11:00", "5 Mar 2026, 12:00")


def test_what_became_of_a_visit_meanwhile_is_told_where_its_state_is_said(office: User, desk: Client) -> None:
    visit = VisitFactory()
    address, given = f"/visits/{visit.pk}/state/", {"version": visit.version, "state": "done"}
    desk.post(address, {"version": visit.version, "state": "cancelled", "state_reason": "rain"})
    answer = desk.post(address, given)
    (sentence,) = errors_of(answer)["__all__"]
    assert (answer.status_code, list(errors_of(answer))) == (400, ["__all__"])
    assert sentence.startswith("Nothing was noted: the visit has changed since this page was opened.")
    assert f"booked → cancelled ({office}, " in sentence
    assert "rain" in sentence
    now = Visit.objects.get(pk=visit.pk)
    assert (now.state, answer.context["form"]["version"].value()) == ("cancelled", str(now.version))


@pytest.mark.parametrize(("length", "status"), [(2000, 302), (2001, 400)])
def test_a_note_for_the_crew_has_a_limit(length: int, status: int, desk: Client) -> None:
    answer = desk.post(f"/visits/new/?siting={SitingFactory().pk}", HOURS | {"note": "x" * length})
    assert answer.status_code == status
    assert (status == 302) == Visit.objects.exists()
