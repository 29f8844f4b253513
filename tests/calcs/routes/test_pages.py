"""The pages of planning: homes, days and crews are chosen, the plan is read, planned again, and booked."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from calcs.models import RoutePlan
from calcs.routes.services import asked_of
from jobs.models import Company, Role, User, Visit
from tests.calcs.routes.conftest import Planned
from tests.calcs.routes.town import MONDAY, Town, make_due, make_route_plan
from tests.factories import SitingFactory, TimeOffFactory, VisitFactory

ClientFor = Callable[[User], Client]
NEW = "/due/plan/"


def form_of(town: Town, *dues: Any, **fields: Any) -> dict[str, Any]:
    """Return the form as a browser sends it."""
    sitings = [str(due.siting_id) for due in dues]
    return {
        "homes": sitings,
        "shown": sitings,
        "from_on": MONDAY.isoformat(),
        "to_on": MONDAY.isoformat(),
        "weekdays": ["0", "1"],
        f"go_{town.ann.pk}": "on",
        f"crew_{town.ann.pk}": [str(town.cy.pk)],
        f"trucks_{town.ann.pk}": [str(town.truck.pk)],
        **fields,
    }


def queries(client: Client, address: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def test_dates_are_written_as_a_date_field_reads_them(town: Town, client_for: ClientFor) -> None:
    client = client_for(town.office)
    for language in ("en", "es"):
        page = client.get(NEW, headers={"Accept-Language": language}).content.decode()
        assert len(re.findall(r'<input type="date" name="(?:from|to)_on" value="\d{4}-\d\d-\d\d"', page)) == 2, (
            language
        )


def test_homes_that_are_due_are_offered_with_usual_crews(town: Town, client_for: ClientFor) -> None:
    due, nowhere, booked = make_due(5, 0), make_due(siting=SitingFactory()), make_due(6, 0)
    later = VisitFactory(siting=booked.siting)
    Visit.objects.filter(pk=later.pk).update(starts_at="2026-03-20T15:00Z", ends_at="2026-03-20T16:00Z")
    page = client_for(town.office).get(NEW)
    text = page.content.decode()
    assert page.status_code == 200
    assert f'value="{due.siting_id}" checked' in text
    assert f'value="{nowhere.siting_id}"> ' in text  # can be chosen, and is told about
    assert "no place on record" in text
    assert str(booked.siting_id) not in text
    assert [crew.lead for crew, *_ in page.context["form"].crew_fields()] == [town.ann, town.bo]
    assert page.context["form"].initial["from_on"] == MONDAY


def test_nobody_is_offered_to_go_along_with_himself(town: Town, client_for: ClientFor) -> None:
    User.objects.filter(pk=town.ann.pk).update(roles=[Role.CREW_LEAD, Role.CREW])
    make_due(5, 0)
    along = {
        crew.lead: set(field.field.queryset)
        for crew, _goes, field, _trucks in client_for(town.office).get(NEW).context["form"].crew_fields()
    }
    assert along == {town.ann: {town.cy}, town.bo: {town.ann, town.cy}}


def test_named_homes_are_ticked(town: Town, client_for: ClientFor) -> None:
    due, _other = make_due(5, 0), make_due(6, 0)
    page = client_for(town.office).get(NEW, {"siting": str(due.siting_id)})
    assert [(row[0].pk, row[1]) for row in page.context["rows"]] == [(due.pk, True)]
    assert client_for(town.office).get(NEW, {"siting": "x"}).status_code == 200


def test_asked_on_the_page_read_and_booked(
    town: Town, client_for: ClientFor, django_capture_on_commit_callbacks: Any
) -> None:
    client, due, other = client_for(town.office), make_due(10, 0), make_due(-10, 0)
    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(NEW, form_of(town, due, other, **{f"kind_{other.siting_id}": "inspection"}))
    plan = RoutePlan.objects.get()
    assert answer["Location"] == f"/due/plan/{plan.pk}/"
    asked = asked_of(plan)
    assert [(one.lead, one.crew, one.trucks) for one in asked.crews] == [
        (str(town.ann.pk), (str(town.cy.pk),), (str(town.truck.pk),))
    ]
    assert {home.siting: home.kind for home in asked.homes} == {
        str(due.siting_id): "recheck",
        str(other.siting_id): "inspection",
    }
    text = client.get(answer["Location"]).content.decode()
    for words in (
        "Monday 9 Mar 2026",
        "A: ann, cy, blue truck",
        "A1",
        "A2",
        "Proven: no plan is better",
        "hand order",
    ):
        assert words in text
    assert text.count("<svg") == 2
    one = client.post(f"{answer['Location']}book/", {"which": "ticked", "book": [str(due.siting_id)]}, follow=True)
    assert "1 visit booked." in one.content.decode()
    everything = client.post(f"{answer['Location']}book/", {"which": "all"}, follow=True)
    assert "1 visit booked." in everything.content.decode()
    assert {visit.siting_id for visit in Visit.objects.all()} == {due.siting_id, other.siting_id}
    assert "Book all" not in client.get(answer["Location"]).content.decode()


def test_what_clashes_is_told_by_home(town: Town, client_for: ClientFor, planned: Planned) -> None:
    due = make_due(5, 0)
    plan = planned(due)
    VisitFactory(siting=due.siting)
    Visit.objects.update(starts_at="2026-03-20T15:00Z", ends_at="2026-03-20T16:00Z")
    page = client_for(town.office).post(f"/due/plan/{plan.pk}/book/", {"which": "all"}, follow=True)
    assert f"Not booked, {due.siting.home}: This home is booked already" in page.content.decode()


def test_nothing_ticked_books_nothing_and_says_so(town: Town, client_for: ClientFor, planned: Planned) -> None:
    plan = planned(make_due(5, 0))
    page = client_for(town.office).post(f"/due/plan/{plan.pk}/book/", {"which": "ticked"})
    assert page.status_code == 400
    assert "Tick the visits" in page.content.decode()
    assert not Visit.objects.exists()


def test_planned_again_with_a_lock(town: Town, client_for: ClientFor, planned: Planned) -> None:
    due, client = make_due(5, 0), client_for(town.office)
    plan = planned(due, make_due(6, 0))
    place = f"{town.bo.pk} {MONDAY.isoformat()}"
    answer = client.post(f"/due/plan/{plan.pk}/again/", {f"lock_{due.siting_id}": place})
    again = RoutePlan.objects.get(replaces=plan)
    assert answer["Location"] == f"/due/plan/{again.pk}/"
    assert [(lock.siting, lock.lead) for lock in asked_of(again).locks] == [(str(due.siting_id), str(town.bo.pk))]
    wrong = client.post(f"/due/plan/{plan.pk}/again/", {f"lock_{due.siting_id}": "nobody never"})
    assert wrong.status_code == 400


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"homes": []}, "Choose the homes that are to be visited."),
        ({"weekdays": ["5"]}, "None of the days falls on these days of the week."),
        ({"from_on": "2026-03-02"}, "Plan from today on."),
        ({"from_on": ""}, "This field is required."),
    ],
)
def test_wrong_form_says_what(town: Town, client_for: ClientFor, fields: dict[str, Any], words: str) -> None:
    page = client_for(town.office).post(NEW, form_of(town, make_due(5, 0), **fields))
    assert page.status_code == 400
    assert words in page.content.decode()
    assert not RoutePlan.objects.exists()


def test_company_without_a_place_is_said_before_and_after(town: Town, client_for: ClientFor) -> None:
    Company.objects.update(latitude_deg=None, longitude_deg=None)
    client, due = client_for(town.office), make_due(5, 0)
    words = "Where the company&#x27;s trucks start is not on record"
    assert words in client.get(NEW).content.decode().replace("company's", "company&#x27;s")
    page = client.post(NEW, form_of(town, due))
    assert page.status_code == 400
    assert page.context["form"].non_field_errors()


def test_left_out_holidays_and_lateness_are_said(town: Town, client_for: ClientFor, planned: Planned) -> None:
    TimeOffFactory(from_on=MONDAY, to_on=MONDAY, why="founders' day")
    nowhere = make_due(siting=SitingFactory())
    far = make_due(400, 0)
    plan = planned(make_due(5, 0), nowhere, far)
    text = client_for(town.office).get(f"/due/plan/{plan.pk}/").content.decode()
    assert f'name="lock_{far.siting_id}"' not in text  # no lock brings it nearer
    for words in (
        "Where it stands is not on record",
        "It fits into no crew&#x27;s free hours even alone",
        "Mon 9 Mar is off for the company (founders&#x27; day)",
        "8 days late.",
    ):
        assert words in text


def test_progress_is_told_while_it_waits_and_after(town: Town, client_for: ClientFor, planned: Planned) -> None:
    client = client_for(town.office)
    waiting = client.get(f"/due/plan/{make_route_plan().pk}/progress/").json()
    assert waiting == {"state": "working", "words": "Waiting for a worker.", "stamp": "queued"}
    done = client.get(f"/due/plan/{planned(make_due(5, 0)).pk}/progress/").json()
    assert done == {"state": "done", "words": "Planned.", "stamp": "done"}


def test_queries_do_not_grow(town: Town, client_for: ClientFor, planned: Planned) -> None:
    client = client_for(town.office)
    dues = [make_due(5, 0)]
    queries(client, NEW)  # the first asks for the kinds of content, once a process
    few = queries(client, NEW), queries(client, f"/due/plan/{planned(*dues).pk}/")
    dues += [make_due(number, 0) for number in (6, -7, 8)]
    many = queries(client, NEW), queries(client, f"/due/plan/{planned(*dues).pk}/")
    assert few == many


def test_leads_and_crews_plan_nothing(town: Town, client_for: ClientFor, planned: Planned) -> None:
    plan = planned(make_due(5, 0))
    for person in (town.ann, town.cy):
        for address in (NEW, f"/due/plan/{plan.pk}/"):
            assert client_for(person).get(address).status_code == 403


def test_both_times_of_driving_say_what_they_are(town: Town, planned: Planned, client_for: ClientFor) -> None:
    plan = planned(make_due(5, 0))
    page = client_for(town.office).get(f"{NEW}{plan.pk}/").content.decode()
    assert "driving, by miles and speed" in page
    assert "kept for driving, each way rounded up to 5 minutes." in page
