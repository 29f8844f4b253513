"""Plans of visits over the API: asked for, read, planned again with locks, booked from."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from calcs.models import RoutePlan
from jobs.models import Company, User, Visit
from tests.calcs.routes.conftest import Planned
from tests.calcs.routes.town import MONDAY, Town, make_due

ApiFor = Callable[[User], APIClient]
ADDRESS = "/api/v1/route-plans/"


def test_asked_searched_and_read(town: Town, api_for: ApiFor, django_capture_on_commit_callbacks: Any) -> None:
    client, due = api_for(town.office), make_due(10, 0)
    with django_capture_on_commit_callbacks(execute=True):
        sent = client.post(ADDRESS, town.body(due))
    assert (sent.status_code, sent.json()["state"]) == (201, "queued")
    read = client.get(f"{ADDRESS}{sent.json()['id']}/").json()
    assert read["state"] == "done"
    (route,) = read["result"]["routes"]
    (call,) = route["calls"]
    assert (call["code"], call["to_min"] - call["from_min"]) == (str(due.siting_id), 90)
    assert read["result"]["figures"]["visits"] == read["result"]["hand"]["visits"] == 1
    assert read["result"]["is_proven"] is True
    assert read["asked"]["homes"] == [
        {"siting": str(due.siting_id), "kind": "recheck", "minutes": None, "needs": None}
    ]
    (listed,) = client.get(ADDRESS).json()["results"]
    assert listed["id"] == read["id"]
    assert "result" not in listed


def test_planned_again_with_a_lock_and_booked(
    town: Town, api_for: ApiFor, planned: Planned, django_capture_on_commit_callbacks: Any
) -> None:
    client, due = api_for(town.office), make_due(10, 0)
    plan = planned(due, make_due(12, 0))
    lock = {"siting": str(due.siting_id), "lead": str(town.bo.pk), "on": MONDAY.isoformat()}
    with django_capture_on_commit_callbacks(execute=True):
        again = client.post(f"{ADDRESS}{plan.pk}/again/", {"locks": [lock]})
    assert (again.status_code, again.json()["replaces"]) == (201, str(plan.pk))
    address = f"{ADDRESS}{again.json()['id']}/"
    routes = client.get(address).json()["result"]["routes"]
    by_bo = {call["code"] for route in routes if route["crew"] == str(town.bo.pk) for call in route["calls"]}
    assert str(due.siting_id) in by_bo
    one = client.post(f"{address}book/", {"sitings": [str(due.siting_id)]})
    assert (one.status_code, len(one.json()["visits"]), one.json()["refused"]) == (200, 1, {})
    rest = client.post(f"{address}book/", {})
    assert len(rest.json()["visits"]) == 1
    assert Visit.objects.count() == 2
    assert client.get(address).json()["booked"][str(due.siting_id)] == one.json()["visits"][0]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"homes": []}, "homes"),
        ({"crew": []}, "crew"),
        ({"homes": [{"siting": "x"}]}, "homes"),
        ({"weekdays": [9]}, "weekdays"),
        ({"from_on": "2026-03-01"}, "from_on"),
        ({"to_on": "soon"}, "to_on"),
    ],
)
def test_wrong_body_is_refused_at_its_field(town: Town, api_for: ApiFor, change: dict[str, Any], field: str) -> None:
    answer = api_for(town.office).post(ADDRESS, town.body(make_due(5, 0), **change))
    assert answer.status_code == 400
    assert next(iter(answer.json()["fields"])).startswith(field)
    assert RoutePlan.objects.count() == 0


def test_company_without_a_place_is_told(town: Town, api_for: ApiFor) -> None:
    Company.objects.update(latitude_deg=None, longitude_deg=None)
    answer = api_for(town.office).post(ADDRESS, town.body(make_due(5, 0)))
    assert (answer.status_code, answer.json()["code"]) == (409, "no_place")


def test_what_is_booked_before_the_plan_is_done_is_refused(town: Town, api_for: ApiFor) -> None:
    client = api_for(town.office)
    waiting = client.post(ADDRESS, town.body(make_due(5, 0))).json()
    answer = client.post(f"{ADDRESS}{waiting['id']}/book/", {})
    assert (answer.status_code, answer.json()["code"]) == (409, "not_done")


def test_leads_see_no_plans(town: Town, api_for: ApiFor, planned: Planned) -> None:
    plan = planned(make_due(5, 0))
    assert api_for(town.ann).get(f"{ADDRESS}{plan.pk}/").status_code == 403
