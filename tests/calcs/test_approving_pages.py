"""Approving on a page and over the API: who may, what is said, and what is kept."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from rest_framework.test import APIClient

from calcs.approving import approve, standing_approval, why_not
from calcs.approving.refusals import nobodys
from calcs.models import Approval, PassEntry
from jobs.models import User
from surveys.models import Survey
from tests.calcs.approvable import approvable_survey, assess, plan_of
from tests.factories import NOON, CompanyFactory, RuleSetFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
ApiFor = Callable[[User], APIClient]


@pytest.fixture
def survey(db: None) -> Survey:
    return approvable_survey()


def test_a_lead_approves_on_the_page_and_takes_it_back(survey: Survey, lead: User, client_for: ClientFor) -> None:
    plan, client = plan_of(survey), client_for(lead)
    address = reverse("plan-approve", args=[plan.pk])
    page = client.get(address).content.decode()
    assert "Nothing is in the way." in page
    assert "Loosen this strap before the lift: T1." in page
    assert client.post(address).status_code == 302
    approval = Approval.objects.get()
    assert (approval.number, approval.approved_by, approval.is_by_manager, approval.reason) == (1, lead, False, "")
    page = client.get(address).content.decode()
    assert "This plan is approved: number 1" in page
    assert "Approve this plan" not in page
    home, work = reverse("home", args=[survey.siting.home_id]), reverse("approval-work", args=[approval.pk])
    assert work in client.get(home).content.decode()
    refused = client.post(reverse("approval-withdraw", args=[approval.pk]), {"why": "  "})
    assert (refused.status_code, standing_approval(survey.siting)) == (400, approval)
    assert client.post(reverse("approval-withdraw", args=[approval.pk]), {"why": "rain"}).status_code == 302
    assert "rain" in client.get(address).content.decode()
    assert work not in client.get(home).content.decode()
    assert standing_approval(survey.siting) is None


def test_what_was_typed_stays_where_it_is_refused(survey: Survey, lead: User, client_for: ClientFor) -> None:
    assess(survey.siting, has_active_leak=True)
    answer = client_for(lead).post(reverse("plan-approve", args=[plan_of(survey).pk]), {"reason": "it is dry there"})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert 'data-code="block"' in page
    assert not Approval.objects.exists()


def test_a_manager_signs_past_what_is_a_managers(
    survey: Survey, lead: User, manager: User, client_for: ClientFor
) -> None:
    _set_rules(survey, lead_most_raise_in=0.25)
    plan = plan_of(survey)
    address = reverse("plan-approve", args=[plan.pk])
    assert "Approve" not in client_for(lead).get(address).content.decode().split("In the way")[1]
    assert client_for(lead).post(address, {"reason": "please"}).status_code == 409
    assert client_for(manager).post(address, {"reason": ""}).status_code == 400
    assert client_for(manager).post(address, {"reason": "seen it"}).status_code == 302
    approval = Approval.objects.get()
    assert (approval.is_by_manager, approval.reason) == (True, "seen it")
    page = client_for(manager).get(address).content.decode()
    assert "Known against it" in page
    assert "may sign past it" not in page


def test_who_decides_is_said_and_what_nobody_goes_past_comes_first(
    survey: Survey, lead: User, manager: User, client_for: ClientFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    crew = UserFactory(roles=["crew"])
    VisitFactory(siting=survey.siting).crew.add(crew)
    address = reverse("plan-approve", args=[plan_of(survey).pk])

    def said(by: User) -> str:
        return str(client_for(by).get(address).context["who_decides"])

    assert (said(lead), said(crew)) == ("", "A crew lead or the manager approves plans.")
    _set_rules(survey, lead_most_raise_in=0.25)
    assert said(lead) == "This is more than a crew lead approves: the manager may, with a reason that is kept."
    assert said(manager) == "You may approve it all the same, with a reason that is kept."
    beyond = why_not(plan_of(survey), manager)
    monkeypatch.setattr(
        "calcs.approving_pages.why_not", lambda *_: (*beyond, nobodys("jack_rating", "too much for it"))
    )
    page = client_for(manager).get(address)
    assert page.context["who_decides"].startswith("Nobody approves this plan as it is")
    kinds = [refusal.is_for_manager for refusal in page.context["refusals"]]
    assert kinds == sorted(kinds)
    assert {True, False} == set(kinds)
    text = page.content.decode()
    assert "nobody signs past it" in text
    assert (
        text.index("Nobody approves this plan")
        < text.index("nobody signs past it")
        < text.index("the manager may sign")
    )


def _set_rules(survey: Survey, **values: float) -> None:
    CompanyFactory(rule_set=RuleSetFactory(values=values))


def test_the_page_takes_the_same_queries_however_many_approvals_there_were(
    survey: Survey, lead: User, client_for: ClientFor
) -> None:
    plan, client = plan_of(survey), client_for(lead)
    counts = []
    for more in (1, 2):
        for number in range(more):
            approval = approve(plan, lead)
            client.post(reverse("approval-withdraw", args=[approval.pk]), {"why": f"rain {number}"})
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse("plan-approve", args=[plan.pk])).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


# -- over the API ----------------------------------------------------------------------------------------------------


def test_refusals_are_told_to_whoever_asks(survey: Survey, lead: User, crew: User, api_for: ApiFor) -> None:
    VisitFactory(siting=survey.siting).crew.add(crew)
    address = f"/api/v1/plans/{plan_of(survey).pk}/approval/"
    told = api_for(lead).get(address).json()
    assert told["refusals"] == []
    assert {remark["code"] for remark in told["told"]} >= {"loosen", "paper"}
    assert (told["standing"], told["not_standing"]) == (None, None)
    assert [refusal["code"] for refusal in api_for(crew).get(address).json()["refusals"]] == ["role"]


def test_approving_replacing_and_withdrawing(survey: Survey, lead: User, api_for: ApiFor) -> None:
    api = api_for(lead)
    first, other = plan_of(survey), plan_of(survey, "flattest")
    made = api.post("/api/v1/approvals/", {"plan": str(first.pk)})
    assert (made.status_code, made.json()["number"]) == (201, 1)
    again = api.post("/api/v1/approvals/", {"plan": str(other.pk), "reason": "flatter"})
    assert (again.status_code, list(again.json()["fields"])) == (409, ["replaces"])
    unsaid = api.post("/api/v1/approvals/", {"plan": str(other.pk), "replaces": made.json()["id"]})
    assert (unsaid.status_code, list(unsaid.json()["fields"])) == (400, ["reason"])
    body = {"plan": str(other.pk), "replaces": made.json()["id"], "reason": "flatter"}
    second = api.post("/api/v1/approvals/", body).json()
    assert (second["number"], second["reason"]) == (2, "")
    old = api.get(f"/api/v1/approvals/{made.json()['id']}/").json()
    assert (old["withdrawn_by"], old["withdrawn_why"]) == (str(lead.pk), "flatter")
    assert api.post(f"/api/v1/approvals/{old['id']}/withdraw/", {"why": "x"}).status_code == 409
    assert api.post(f"/api/v1/approvals/{second['id']}/withdraw/", {}).status_code == 400
    assert api.post(f"/api/v1/approvals/{second['id']}/withdraw/", {"why": "rain"}).json()["withdrawn_why"] == "rain"
    rows = api.get(f"/api/v1/approvals/?siting={survey.siting_id}&standing=true").json()["results"]
    assert rows == []


def test_every_refusal_is_named_over_the_api(survey: Survey, lead: User, api_for: ApiFor) -> None:
    assess(survey.siting, verdict="engineer", reason="cracks")
    Survey.objects.filter(pk=survey.pk).update(revision=survey.revision + 1)
    answer = api_for(lead).post("/api/v1/approvals/", {"plan": str(plan_of_any(survey).pk)})
    assert (answer.status_code, answer.json()["code"]) == (409, "not_approvable")
    assert answer.json()["fields"].keys() == {"replaced", "block"}


def plan_of_any(survey: Survey) -> Any:
    return survey.plans.order_by("pk")[0]


# -- the phone -------------------------------------------------------------------------------------------------------


def test_a_phone_is_told_which_plan_is_approved(survey: Survey, lead: User, api_for: ApiFor) -> None:
    VisitFactory(siting=survey.siting, lead=lead)
    plan = plan_of(survey)
    (place,) = api_for(lead).get(f"/api/v1/day/?date={NOON.date()}").json()["places"]
    assert place["approval"] is None
    assert not any(each["is_approved"] for each in place["plans"])
    approval = approve(plan, lead)
    (place,) = api_for(lead).get(f"/api/v1/day/?date={NOON.date()}").json()["places"]
    assert (place["approval"]["id"], place["approval"]["plan"]) == (str(approval.pk), str(plan.pk))
    assert [each["id"] for each in place["plans"] if each["is_approved"]] == [str(plan.pk)]


def test_a_step_of_a_plan_that_nobody_approved_is_kept_and_told(survey: Survey, lead: User, api_for: ApiFor) -> None:
    plan, api = plan_of(survey), api_for(lead)
    point = survey.siting.points.get(label="A1")
    step = {"plan": str(plan.pk), "point": str(point.pk), "pass_number": 1, "noted_at": NOON.isoformat()}
    keys = [f"01a21346-50ae-71f5-bd44-9676b0681c4{number}" for number in (1, 2)]
    assert api.post("/api/v1/pass-entries/", {**step, "id": keys[0]}).json()["is_plan_approved"] is False
    entry = {"id": "01a21346-50ae-71f5-bd44-9676b0681c49", "kind": "pass", "sequence": 1, "body": step}
    entry["body"] = {name: step[name] for name in ("plan", "point", "pass_number")}
    sent = api.post("/api/v1/sync/", {"device": "phone", "entries": [{**entry, "noted_at": NOON.isoformat()}]})
    assert [(one["state"], one["code"]) for one in sent.json()["results"]] == [("taken", "not_approved")]
    assert PassEntry.objects.count() == 2
    PassEntry.objects.update(noted_at=survey.started_at)  # so that nobody has worked since the survey
    approve(plan, lead)
    assert api.post("/api/v1/pass-entries/", {**step, "id": keys[1]}).json()["is_plan_approved"] is True
    assert {row["is_plan_approved"] for row in api.get("/api/v1/pass-entries/").json()["results"]} == {True}


def test_a_stranger_to_the_home_finds_nothing(survey: Survey, client_for: ClientFor, api_for: ApiFor) -> None:
    stranger, plan = UserFactory(roles=["crew"]), plan_of(survey)
    assert client_for(stranger).get(reverse("plan-approve", args=[plan.pk])).status_code == 404
    assert api_for(stranger).get(f"/api/v1/plans/{plan.pk}/approval/").status_code == 404
