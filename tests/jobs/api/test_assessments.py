"""Assessments, signatures and papers over the API."""

import datetime
from collections.abc import Callable

import pytest
from rest_framework.test import APIClient

from jobs.models import Assessment, BlockOverride, Paper, User
from tests.factories import (
    AssessmentFactory,
    BlockOverrideFactory,
    HazardFactory,
    HomeFactory,
    PaperFactory,
    RuleSetFactory,
    SitingFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], APIClient]
ASSESSED = {"cause": "unknown", "water": "none", "soil": "dry", "verdict": "lift"}
ADDRESS = "/api/v1/assessments/"


def test_a_lead_assesses_and_is_its_author(lead: User, crew: User, api_for: SignIn) -> None:
    siting = SitingFactory()
    sent = {"siting": str(siting.pk), "author": str(crew.pk), **ASSESSED}
    answer = api_for(lead).post(ADDRESS, sent)
    assert answer.status_code == 201
    row = answer.json()
    assert (row["author"], row["doors_windows"], row["version"]) == (str(lead.pk), "not_tested", 1)
    assert Assessment.objects.get().author == lead


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"cause": "clay"}, "evidence"),
        ({"verdict": "decline"}, "reason"),
        ({"wait_until": "2027-01-01"}, "wait_until"),
        ({"cause": "water", "evidence": "drips"}, "water"),
        ({"assessed_on": "2126-01-01"}, "assessed_on"),
        ({"soil": "mud"}, "soil"),
    ],
)
def test_what_is_wrong_is_told_at_its_field(change: dict[str, str], field: str, lead: User, api_for: SignIn) -> None:
    answer = api_for(lead).post(ADDRESS, {"siting": str(SitingFactory().pk), **ASSESSED, **change})
    assert (answer.status_code, list(answer.json()["fields"])) == (400, [field])
    assert not Assessment.objects.exists()


def test_a_correction_is_checked_with_what_it_leaves_alone(lead: User, api_for: SignIn) -> None:
    row = AssessmentFactory()
    client, address = api_for(lead), f"{ADDRESS}{row.pk}/"
    assert list(client.patch(address, {"cause": "water"}).json()["fields"]) == ["water"]
    assert list(client.patch(address, {"visit": str(VisitFactory().pk)}).json()["fields"]) == ["visit"]
    assert list(client.patch(address, {"siting": str(SitingFactory().pk)}).json()["fields"]) == ["siting"]
    assert client.patch(address, {"cause": "water", "water": "cured"}).json()["version"] == 2


def test_only_the_one_that_counts_is_corrected(lead: User, api_for: SignIn) -> None:
    row = AssessmentFactory()
    AssessmentFactory(siting=row.siting)
    answer = api_for(lead).patch(f"{ADDRESS}{row.pk}/", {"soil": "wet"})
    assert (answer.status_code, answer.json()["code"]) == (403, "permission_denied")


def test_blocks_are_told_with_the_signatures_past_them(lead: User, api_for: SignIn) -> None:
    row = AssessmentFactory(has_active_leak=True, has_bent_beam=True)
    signed = BlockOverrideFactory(assessment=row)
    HazardFactory(home=row.siting.home, kind="wiring")
    told = api_for(lead).get(f"{ADDRESS}{row.pk}/blocks/").json()
    assert [(one["code"], one["is_absolute"], one["override"]) for one in told] == [
        ("bare_wiring", True, None),
        ("bent_beam", True, None),
        ("active_leak", False, str(signed.pk)),
    ]
    assert told[2]["words"] == "something leaks"


def test_the_manager_signs_past_what_may_be(manager: User, lead: User, api_for: SignIn) -> None:
    row = AssessmentFactory(has_active_leak=True, has_bent_beam=True)
    sent = {"assessment": str(row.pk), "code": "active_leak", "reason": "the plumber comes along"}
    assert api_for(lead).post("/api/v1/block-overrides/", sent).status_code == 403
    client = api_for(manager)
    answer = client.post("/api/v1/block-overrides/", sent)
    assert (answer.status_code, answer.json()["signed_by"]) == (201, str(manager.pk))
    for change, status in (({"code": "bent_beam"}, 409), ({}, 409), ({"code": "luck"}, 400), ({"reason": ""}, 400)):
        refused = client.post("/api/v1/block-overrides/", sent | change)
        assert refused.status_code == status
        assert list(refused.json()["fields"]) == [next(iter(change), "code")]
    assert BlockOverride.objects.count() == 1


def test_an_assessment_is_kept(lead: User, api_for: SignIn) -> None:
    assert api_for(lead).delete(f"{ADDRESS}{AssessmentFactory().pk}/").status_code == 405


# -- papers ---------------------------------------------------------------------------------------------------


def test_papers_are_noted_changed_archived_and_found(lead: User, office: User, api_for: SignIn) -> None:
    siting = SitingFactory()
    client, address = api_for(lead), "/api/v1/papers/"
    permit = client.post(address, {"siting": str(siting.pk), "kind": "permit", "expires_on": "2026-03-03"}).json()
    own = {"kind": "licence", "number": "L-1", "expires_on": "2026-05-05"}
    assert client.post(address, own).status_code == 403
    assert api_for(office).post(address, own).status_code == 201
    for query, kinds in (
        ("of_company=true", ["licence"]),
        (f"siting={siting.pk}", ["permit"]),
        ("expires_before=2026-04-01", ["permit"]),
    ):
        assert [row["kind"] for row in client.get(f"{address}?{query}").json()["results"]] == kinds
    one = f"{address}{permit['id']}/"
    assert list(client.patch(one, {"kind": "hold"}).json()["fields"]) == ["kind"]
    assert list(client.patch(one, {"released_on": "2026-03-03"}).json()["fields"]) == ["released_on"]
    assert client.patch(one, {"number": "P-2"}).json()["version"] == 2
    assert client.delete(one).status_code == 204
    assert client.get(f"{address}?siting={siting.pk}").json()["results"] == []
    assert client.post(f"{one}restore/").json()["archived_at"] is None


def test_a_lead_changes_no_paper_of_the_companys(lead: User, api_for: SignIn) -> None:
    own = PaperFactory(siting=None, kind="insurance")
    client, address = api_for(lead), f"/api/v1/papers/{own.pk}/"
    assert client.get(address).status_code == 200
    assert client.patch(address, {"number": "x"}).status_code == client.delete(address).status_code == 403
    assert Paper.objects.standing().get() == own


def test_what_is_missing_is_told_by_the_rules_of_the_home(crew: User, lead: User, api_for: SignIn) -> None:
    off = dict.fromkeys((f"{kind}_blocks" for kind in ("locate", "hold", "licence", "insurance", "jacks")), 0)
    home = HomeFactory(rule_set=RuleSetFactory(values=off | {"permit_blocks": 1}))
    siting = SitingFactory(home=home)
    PaperFactory(siting=siting, number="P-1", expires_on=datetime.date(2026, 3, 3))
    client, address = api_for(lead), f"/api/v1/papers/missing/?siting={siting.pk}"
    assert client.get(f"{address}&on=2026-03-03").json() == []
    (block,) = client.get(f"{address}&on=2026-03-04").json()
    assert block == {
        "code": "permit",
        "words": "permit P-1: ran out on 3 Mar 2026",
        "is_absolute": True,
        "override": None,
    }
    assert list(client.get("/api/v1/papers/missing/").json()["fields"]) == ["siting"]
    assert list(client.get(f"{address}&on=soon").json()["fields"]) == ["on"]
    assert api_for(crew).get(address).status_code == 404  # no visit there
