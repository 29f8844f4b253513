"""What lies under a home is there for its crew and for those who see all, and for nobody else: over API and pages."""

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from calcs.models import Answer, Approval, Calculation, Closing, PassEntry, Plan, Trial
from jobs.models import Connection, Finding, Role, Strap, StrapCheck, User, WorkTime
from surveys.models import Reading, Survey
from tests.calcs.approved import approved
from tests.calcs.working import make_trial
from tests.factories import (
    NOON,
    AssessmentFactory,
    BlockOverrideFactory,
    CautionReadFactory,
    CustomerFactory,
    DrainNodeFactory,
    DueFactory,
    HandoverFactory,
    HazardFactory,
    HeadCountFactory,
    HomeContactFactory,
    JobFactory,
    PaperFactory,
    PhotoUploadFactory,
    SetupFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
    VisitReportFactory,
    lay_out_home,
    make_reading,
)

pytestmark = pytest.mark.django_db
NOTHING: list[Any] = []
OPTION = {
    **{"name": "least_work", "status": "optimal", "minutes": 0.0, "touched": 0},
    **dict.fromkeys(("moves", "freed", "binding", "heights", "pairs"), NOTHING),
}
HIDDEN_FROM_CREW = {"customers", "due", "home-contacts", "jobs"}


@pytest.fixture
def rows() -> dict[str, Any]:
    """One row of everything under one home, by its resource; ``visit`` has a lead and a crew."""
    siting = lay_out_home()
    point = siting.points.get(label="A1")
    visit = VisitFactory(siting=siting, lead=UserFactory(roles=[Role.CREW]))
    visit.crew.add(UserFactory(username="on_it", roles=[Role.CREW]))
    survey = SurveyFactory(siting=siting)
    reading = make_reading(setup=SetupFactory(survey=survey), point=point)
    lift = Calculation.objects.create(
        survey=survey,
        kind="lift",
        input={},
        input_sha256="0" * 64,
        engine_version="1",
        state="done",
        finished_at=NOON,
        result={"options": [OPTION]},
    )
    levels = Calculation.objects.create(survey=survey, kind="levels", input={}, input_sha256="", engine_version="1")
    plan = Plan.objects.create(survey=survey, lift=lift, option="least_work")
    node = DrainNodeFactory(run__siting=siting)
    noted = {"author": UserFactory(), "noted_at": NOON}
    return {
        "answers": Answer.objects.create(survey=survey, kind="levels", calculation=levels, revision=1),
        "approvals": approved(plan),
        "assessments": (assessment := AssessmentFactory(siting=siting)),
        "block-overrides": BlockOverrideFactory(assessment=assessment),
        "papers": PaperFactory(siting=siting),
        "benchmarks": siting.points.get(label="BM1").benchmark,
        "calculations": lift,
        "caution-reads": CautionReadFactory(visit=visit),
        "closings": Closing.objects.create(approval=plan.approvals.get()),
        "connections": Connection.objects.get(),
        "customers": CustomerFactory(),
        "drain-nodes": node,
        "drain-runs": node.run,
        "due": DueFactory(siting=siting),
        "findings": Finding.objects.create(siting=siting, grade="ok", **noted),
        "hazards": HazardFactory(home=siting.home),
        "head-counts": HeadCountFactory(visit=visit),
        "home-contacts": HomeContactFactory(home=siting.home),
        "homes": siting.home,
        "jobs": JobFactory(home=siting.home),
        "neighbour-pairs": siting.neighbour_pairs.first(),
        "pass-entries": PassEntry.objects.create(plan=plan, point=point, pass_number=1, **noted),
        "photo-uploads": PhotoUploadFactory(siting=siting),
        "plans": plan,
        "points": point,
        "readings": reading,
        "setups": reading.setup,
        "sitings": siting,
        "strap-checks": StrapCheck.objects.create(strap=Strap.objects.first(), grade="ok", **noted),
        "straps": Strap.objects.first(),
        "supports": point.supports.get(),
        "trials": make_trial(lift, by=noted["author"]),
        "surveys": survey,
        "handovers": HandoverFactory(visit=visit),
        "visit-reports": VisitReportFactory(visit=visit),
        "visits": visit,
        "work-times": WorkTime.objects.create(
            visit=visit,
            person=visit.crew.get(),
            started_at=NOON,
            ended_at=NOON + datetime.timedelta(hours=1),
            **noted,
        ),
    }


def person(name: str) -> User:
    """Somebody who may or may not see the home."""
    if name == "on_it":
        return User.objects.get(username="on_it")
    if name == "lead_of_it":
        return User.objects.get(visits_led__isnull=False)
    if name == "off_it":  # a visit elsewhere, and a cancelled one here
        user: User = UserFactory(roles=[Role.CREW])
        VisitFactory().crew.add(user)
        VisitFactory(siting=Survey.objects.get().siting, state="cancelled").crew.add(user)
        return user
    roles = {"manager": [Role.MANAGER], "office": [Role.OFFICE], "lead": [Role.CREW_LEAD], "no_role": []}
    found: User = UserFactory(roles=roles[name])
    return found


def statuses(client: APIClient, rows: dict[str, Any]) -> dict[str, int]:
    return {name: client.get(f"/api/v1/{name}/{row.pk}/").status_code for name, row in rows.items()}


def listed(client: APIClient, name: str, row: Any) -> bool:
    found = client.get(f"/api/v1/{name}/").json().get("results", [])
    return str(row.pk) in {each["id"] for each in found}


@pytest.mark.parametrize("name", ["manager", "office", "lead"])
def test_those_who_see_all_see_every_row(
    name: str, rows: dict[str, Any], api_for: Callable[[User], APIClient]
) -> None:
    client = api_for(person(name))
    assert set(statuses(client, rows).values()) == {200}
    assert all(listed(client, resource, row) for resource, row in rows.items())


@pytest.mark.parametrize("name", ["on_it", "lead_of_it"])
def test_crew_see_what_lies_under_homes_of_their_visits(
    name: str, rows: dict[str, Any], api_for: Callable[[User], APIClient]
) -> None:
    client = api_for(person(name))
    own = {"work-times"} if name == "lead_of_it" else set()  # somebody else's time
    expected = {
        resource: 403 if resource in HIDDEN_FROM_CREW else 404 if resource in own else 200 for resource in rows
    }
    assert statuses(client, rows) == expected
    seen = {resource for resource, row in rows.items() if listed(client, resource, row)}
    assert seen == rows.keys() - HIDDEN_FROM_CREW - own


def test_to_another_crew_the_home_is_not_there(rows: dict[str, Any], api_for: Callable[[User], APIClient]) -> None:
    client = api_for(person("off_it"))
    assert statuses(client, rows) == {resource: 403 if resource in HIDDEN_FROM_CREW else 404 for resource in rows}
    assert not any(listed(client, resource, row) for resource, row in rows.items())


def test_without_a_role_nothing_is_seen(rows: dict[str, Any], api_for: Callable[[User], APIClient]) -> None:
    client = api_for(person("no_role"))
    assert set(statuses(client, rows).values()) == {403}
    assert client.get("/api/v1/users/me/").status_code == 200


def test_another_crew_cannot_add_read_or_change_here(
    rows: dict[str, Any], api_for: Callable[[User], APIClient]
) -> None:
    client = api_for(person("off_it"))
    survey, point, setup = rows["surveys"], rows["points"], rows["setups"]
    reading = {"id": "01a21346-50ae-71f5-bd44-9676b0681c47", "setup": str(setup.pk), "point": str(point.pk)}
    sent = client.post(f"/api/v1/surveys/{survey.pk}/readings/", {"readings": [reading | {"value": "3"}]})
    assert (sent.status_code, Reading.objects.count()) == (404, 1)
    assert client.post(f"/api/v1/surveys/{survey.pk}/submit/").status_code == 404
    assert client.post(f"/api/v1/surveys/{survey.pk}/calculations/").status_code == 404
    new = {"siting": str(rows["sitings"].pk), "label": "Z9", "surface": "floor", "x_ft": "1", "y_ft": "1"}
    assert client.post("/api/v1/points/", new).json()["fields"].keys() == {"siting"}


@pytest.mark.parametrize(
    ("name", "status"), [("manager", 200), ("office", 200), ("lead", 200), ("on_it", 200), ("off_it", 404)]
)
def test_pages_of_a_home(name: str, status: int, rows: dict[str, Any], client_for: Callable[[User], Client]) -> None:
    PassEntry.objects.all().delete()
    Closing.objects.all().delete()
    Approval.objects.all().delete()
    Trial.objects.all().delete()
    Plan.objects.all().delete()  # its numbers are made up, and the survey's page would show them
    client, home = client_for(person(name)), rows["homes"]
    pages = {"home": home, "survey": rows["surveys"], "layout": rows["sitings"], "home-changes": home}
    pages |= {"survey-plans": rows["surveys"]}
    pages |= {"hazards": home, "visit": rows["visits"], "visit-inspection": rows["visits"], "drains": rows["sitings"]}
    pages |= {"assessment": rows["sitings"], "siting-papers": rows["sitings"]}
    found = {page: client.get(reverse(page, args=[row.pk])).status_code for page, row in pages.items()}
    assert found == dict.fromkeys(pages, status)


def test_how_to_reach_somebody_is_for_the_office_and_that_person(
    api_for: Callable[[User], APIClient], crew: User, office: User
) -> None:
    other = UserFactory(email="ada@example.com", phone="555 0100")
    assert api_for(crew).get(f"/api/v1/users/{other.pk}/").json()["phone"] == ""
    assert api_for(office).get(f"/api/v1/users/{other.pk}/").json()["email"] == "ada@example.com"
    assert api_for(other).get("/api/v1/users/me/").json()["phone"] == "555 0100"


def test_a_lead_says_how_a_visit_stands_and_the_office_books(
    rows: dict[str, Any], api_for: Callable[[User], APIClient], lead: User
) -> None:
    visit, client = rows["visits"], api_for(lead)
    address = f"/api/v1/visits/{visit.pk}/"
    assert client.patch(address, {"state": "on_site"}).status_code == 403  # somebody else's
    visit.crew.add(lead)
    assert client.patch(address, {"state": "on_site", "note": "gate code 4"}).status_code == 200
    assert client.patch(address, {"kind": "recheck"}).status_code == 403
    assert client.patch(address, {"state": "done"}).status_code == 200
    assert client.patch(address, {"state": "on_site"}).status_code == 403  # over


def test_an_archived_home_takes_no_changes(
    rows: dict[str, Any], api_for: Callable[[User], APIClient], manager: User
) -> None:
    client, home = api_for(manager), rows["homes"]
    assert client.delete(f"/api/v1/homes/{home.pk}/").status_code == 204
    for resource, body in (("homes", {"name": "x"}), ("supports", {"note": "x"}), ("straps", {"note": "x"})):
        answer = client.patch(f"/api/v1/{resource}/{rows[resource].pk}/", body)
        assert (answer.status_code, answer.json()["code"]) == (409, "archived")
    assert client.post(f"/api/v1/homes/{home.pk}/restore/").status_code == 200
    assert client.patch(f"/api/v1/homes/{home.pk}/", {"name": "x"}).status_code == 200
