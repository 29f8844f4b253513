"""Assessments and papers on pages: written, corrected, signed past; two at once; as often asked for more rows."""

import datetime
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.assessing import open_blocks, standing_assessment
from jobs.models import Assessment, BlockOverride, Paper, Siting, User
from tests.factories import (
    NOON,
    AssessmentFactory,
    BlockOverrideFactory,
    CompanyFactory,
    HazardFactory,
    PaperFactory,
    SitingFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]
WRITTEN = {
    **{"assessed_on": "2026-03-03", "cause": "water", "evidence": "downspout ends at B4", "water": "not_cured"},
    **{"soil": "wet", "doors_windows": "stick", "doors_note": "bath", "land": "not_needed"},
    **{"has_active_leak": "on", "verdict": "wait", "wait_until": "2026-05-01", "reason": "first the downspout"},
}


def told(page: Any) -> str:
    """What somebody reads on a page."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.content.decode().split("<main", 1)[1]))


@pytest.fixture
def siting() -> Siting:
    place: Siting = SitingFactory()
    return place


# -- writing one ---------------------------------------------------------------------------------------------


def test_a_lead_writes_an_assessment_and_pressing_twice_keeps_one(
    siting: Siting, lead: User, client_for: ClientFor
) -> None:
    client, address = client_for(lead), reverse("assessment", args=[siting.pk])
    assert "Nobody has assessed this home here yet" in told(client.get(address))
    body = WRITTEN | {"id": str(uuid.uuid4()), "visit": str(VisitFactory(siting=siting).pk)}
    for _ in range(2):
        assert client.post(address, body)["Location"] == address
    kept = Assessment.objects.get()
    assert (str(kept.pk), kept.author, kept.siting) == (body["id"], lead, siting)
    assert (kept.water, kept.verdict, kept.wait_until) == ("not_cured", "wait", datetime.date(2026, 5, 1))
    assert (kept.has_active_leak, kept.has_bent_beam) == (True, False)
    page = told(client.get(address))
    for words in (
        "Wait , until 1 May 2026",
        "Verdict: wait the manager may go past this with a signed reason",
        "Something leaks the manager may go past this",
        "The water is not mended",
        "spring, wet",
        "water from roof, leak or runoff: downspout ends at B4",
        "tested: some rub or stick: bath",
    ):
        assert words in page


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"evidence": ""}, "evidence", "Say what shows the cause"),
        ({"reason": ""}, "reason", "Say why, where the verdict is not to lift."),
        ({"verdict": "lift"}, "wait_until", "Only a verdict to wait has a day"),
        ({"wait_until": "2026-03-03"}, "wait_until", "Wait until a day after the assessment."),
        ({"water": "none"}, "water", "The cause is water: say whether it is mended."),
        ({"assessed_on": "2126-03-03", "wait_until": ""}, "assessed_on", "This day is still to come."),
        ({"soil": ""}, "soil", "This field is required."),
        ({"cause": "luck"}, "cause", "Select a valid choice."),
    ],
)
def test_what_is_wrong_is_told_at_its_field_and_nothing_typed_is_lost(
    lead: User, client_for: ClientFor, change: dict[str, str], field: str, words: str
) -> None:
    siting = SitingFactory()
    body = WRITTEN | {"id": str(uuid.uuid4())} | change
    page = client_for(lead).post(reverse("assessment", args=[siting.pk]), body)
    assert (page.status_code, Assessment.objects.count()) == (400, 0)
    errors = page.context["form"].errors
    assert list(errors) == [field]
    assert words in errors[field][0]
    assert ">first the downspout</textarea>" in page.content.decode().replace("\n", "") or "reason" in change


def test_a_visit_to_another_home_is_none_to_choose(siting: Siting, lead: User, client_for: ClientFor) -> None:
    body = WRITTEN | {"id": str(uuid.uuid4()), "visit": str(VisitFactory().pk)}
    page = client_for(lead).post(reverse("assessment", args=[siting.pk]), body)
    assert list(page.context["form"].errors) == ["visit"]


@pytest.mark.parametrize("role", ["office", "crew"])
def test_who_measures_only_or_books_reads_it_and_writes_none(
    siting: Siting, client_for: ClientFor, role: str, request: pytest.FixtureRequest
) -> None:
    person = request.getfixturevalue(role)
    VisitFactory(siting=siting).crew.add(person)
    AssessmentFactory(siting=siting, has_active_leak=True)
    client, address = client_for(person), reverse("assessment", args=[siting.pk])
    page = client.get(address)
    assert page.status_code == 200
    assert b"<form method" not in page.content.split(b"<main", 1)[1]
    assert client.post(address, WRITTEN | {"id": str(uuid.uuid4())}).status_code == 403
    assert Assessment.objects.count() == 1


def test_an_archived_home_takes_none(lead: User, client_for: ClientFor) -> None:
    siting = SitingFactory(home__archived_at=NOON)
    standing = AssessmentFactory(siting=siting)
    client = client_for(lead)
    for name, key in (("assessment", siting.pk), ("assessment-correct", standing.pk), ("siting-papers", siting.pk)):
        assert client.post(reverse(name, args=[key]), WRITTEN).status_code == 403
    assert "Assess anew" not in told(client.get(reverse("assessment", args=[siting.pk])))


# -- correcting ------------------------------------------------------------------------------------------------


def test_the_one_that_counts_is_corrected_and_an_earlier_one_stays(
    siting: Siting, lead: User, client_for: ClientFor
) -> None:
    earlier = AssessmentFactory(
        siting=siting, assessed_on=datetime.date(2025, 3, 3), evidence="looked at from outside"
    )
    standing = AssessmentFactory(siting=siting)
    client, address = client_for(lead), reverse("assessment-correct", args=[standing.pk])
    assert standing.evidence in client.get(address).content.decode()
    assert client.post(address, WRITTEN | {"version": 1})["Location"] == reverse("assessment", args=[siting.pk])
    standing.refresh_from_db()
    assert (standing.evidence, standing.author != lead, standing.version) == ("downspout ends at B4", True, 2)
    old = reverse("assessment-correct", args=[earlier.pk])
    assert client.get(old).status_code == client.post(old, WRITTEN | {"version": 1}).status_code == 403
    assert "3 Mar 2025: lift" in told(client.get(reverse("assessment", args=[siting.pk])))


def test_two_who_correct_at_once_see_each_other(siting: Siting, lead: User, client_for: ClientFor) -> None:
    standing = AssessmentFactory(siting=siting)
    client, address = client_for(lead), reverse("assessment-correct", args=[standing.pk])
    Assessment.objects.filter(pk=standing.pk).update(soil="frozen")
    page = client.post(address, WRITTEN | {"version": 1})
    assert page.status_code == 400
    assert "soil as found: moist, as usual → frozen" in told(page)
    assert client.post(address, WRITTEN | {"version": 2}).status_code == 302
    standing.refresh_from_db()
    assert standing.soil == "wet"


# -- signing past ------------------------------------------------------------------------------------------------


def test_the_manager_signs_past_what_may_be_and_sees_no_form_for_the_rest(
    manager: User, client_for: ClientFor
) -> None:
    standing = AssessmentFactory(has_active_leak=True, has_bent_beam=True)
    HazardFactory(home=standing.siting.home, kind="gas_smell")
    client, page = client_for(manager), reverse("assessment", args=[standing.siting_id])
    shown = client.get(page)
    assert [one["block"].code for one in shown.context["forms"]] == ["active_leak"]
    assert told(shown).count("nobody goes past this: it has to be settled first") == 2
    body = {"code": "active_leak", "version": 1, "reason": "the plumber comes along"}
    address = reverse("assessment-override", args=[standing.pk])
    assert client.post(address, body)["Location"] == page
    assert "signed past by manager" in told(client.get(page))
    assert [block.code for block in open_blocks(standing)] == ["gas_smell", "bent_beam"]
    refused = client.post(address, body | {"code": "bent_beam"})
    assert (refused.status_code, BlockOverride.objects.count()) == (409, 1)


@pytest.mark.parametrize(
    ("change", "status", "words"),
    [
        ({"reason": ""}, 400, "This field is required."),
        ({"version": 7}, 412, "Somebody else has changed this meanwhile"),
    ],
)
def test_why_a_signature_was_refused_stands_at_its_block(
    manager: User, client_for: ClientFor, change: dict[str, Any], status: int, words: str
) -> None:
    standing = AssessmentFactory(has_active_leak=True)
    body = {"code": "active_leak", "version": 1, "reason": "because"} | change
    page = client_for(manager).post(reverse("assessment-override", args=[standing.pk]), body)
    assert (page.status_code, BlockOverride.objects.count()) == (status, 0)
    assert words in told(page)


@pytest.mark.parametrize("role", ["office", "lead", "crew"])
def test_nobody_else_signs(role: str, client_for: ClientFor, request: pytest.FixtureRequest) -> None:
    standing = AssessmentFactory(has_active_leak=True)
    person = request.getfixturevalue(role)
    VisitFactory(siting=standing.siting).crew.add(person)
    client = client_for(person)
    assert client.get(reverse("assessment", args=[standing.siting_id])).context["forms"] == []
    body = {"code": "active_leak", "version": 1, "reason": "because"}
    assert client.post(reverse("assessment-override", args=[standing.pk]), body).status_code == 403


# -- where it is told ----------------------------------------------------------------------------------------------


def test_home_and_visit_lead_there_and_the_home_tells_it(lead: User, client_for: ClientFor) -> None:
    visit = VisitFactory()
    siting, client = visit.siting, client_for(lead)
    address = reverse("assessment", args=[siting.pk])
    home = reverse("home", args=[siting.home_id])
    assert "Nobody has assessed this home here yet" in told(client.get(home))
    AssessmentFactory(siting=siting, has_bent_beam=True)
    PaperFactory(siting=siting, kind="hold", number="H-3")
    page = told(client.get(home))
    assert "A beam is bent: an engineer first nobody goes past this" in page
    assert "inspector's hold H-3: nobody starts until it is released" in page.replace("&#x27;", "'")
    for shown in (home, reverse("visit", args=[visit.pk])):
        assert f'href="{address}"' in client.get(shown).content.decode()


@pytest.mark.parametrize("name", ["assessment", "siting-papers", "papers"])
def test_pages_ask_as_often_for_more_rows(siting: Siting, manager: User, client_for: ClientFor, name: str) -> None:
    client = client_for(manager)
    address = reverse(name, args=[] if name == "papers" else [siting.pk])
    CompanyFactory()
    counts = []
    for more in (1, 2):
        for _ in range(more):
            standing = AssessmentFactory(siting=siting, has_active_leak=True, visit=VisitFactory(siting=siting))
            BlockOverrideFactory(assessment=standing)
            HazardFactory(home=siting.home, kind="soft_ground")
            PaperFactory(siting=siting, kind="hold")
            PaperFactory(kind="hold")
            PaperFactory(siting=None, kind="jacks", issued_on=datetime.date(2026, 3, 3))
        with CaptureQueriesContext(connection) as queries:
            assert client.get(address).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]


# -- papers ---------------------------------------------------------------------------------------------------


def soon(days: int) -> str:
    return (timezone.localdate() + datetime.timedelta(days=days)).isoformat()


def test_the_office_keeps_the_companys_papers_and_is_told_what_runs_out(office: User, client_for: ClientFor) -> None:
    CompanyFactory(licence_number="L-7")
    homes_own = PaperFactory(kind="permit", expires_on=soon(30))
    PaperFactory(kind="permit", expires_on=soon(31))
    PaperFactory(kind="permit", expires_on=soon(3), siting__home__archived_at=NOON)
    client, address = client_for(office), reverse("papers")
    assert "insurance: none is noted" in told(client.get(address))
    body = {"id": str(uuid.uuid4()), "kind": "insurance", "number": "I-4", "expires_on": soon(12)}
    for _ in range(2):
        assert client.post(address, body)["Location"] == address
    assert Paper.objects.filter(kind="insurance").count() == 1
    page = client.get(address)
    assert "Insurance I-4 : runs out on" in told(page)
    assert "Licence L-7: holds, no last day noted from the company's record" in told(page)
    assert [one.paper for one in page.context["of_homes"]] == [homes_own]


@pytest.mark.parametrize("role", ["lead", "crew"])
def test_the_companys_papers_are_the_offices(
    role: str, client_for: ClientFor, request: pytest.FixtureRequest
) -> None:
    own = PaperFactory(siting=None, kind="licence", expires_on=soon(300))
    client = client_for(request.getfixturevalue(role))
    for address in (reverse("papers"), reverse("paper", args=[own.pk])):
        assert client.get(address).status_code == client.post(address, {}).status_code == 403
    assert client.post(reverse("paper-archive", args=[own.pk])).status_code == 403


def test_a_homes_hold_is_noted_released_and_archived(siting: Siting, lead: User, client_for: ClientFor) -> None:
    client, address = client_for(lead), reverse("siting-papers", args=[siting.pk])
    wrong = client.post(address, {"id": str(uuid.uuid4()), "kind": "licence"})
    assert (wrong.status_code, list(wrong.context["form"].errors)) == (400, ["kind"])
    early = {"id": str(uuid.uuid4()), "kind": "permit", "issued_on": "2026-03-03", "expires_on": "2026-03-02"}
    assert list(client.post(address, early).context["form"].errors) == ["expires_on"]
    client.post(address, {"id": str(uuid.uuid4()), "kind": "hold", "number": "H-1"})
    hold = Paper.objects.get()
    assert "Nobody starts today:" in told(client.get(address))
    release = {"version": 1, "number": "H-1", "released_on": "2026-03-03"}
    assert client.post(reverse("paper", args=[hold.pk]), release)["Location"] == address
    hold.refresh_from_db()
    assert (hold.kind, hold.released_on) == ("hold", datetime.date(2026, 3, 3))
    stale = client.post(reverse("paper", args=[hold.pk]), release | {"number": "H-2"})
    assert "released on: \N{EN DASH} → 3 Mar 2026" in told(stale)
    assert client.post(reverse("paper-archive", args=[hold.pk])).status_code == 302
    assert "H-1" not in told(client.get(address))


def test_the_record_of_the_home_tells_who_assessed_and_noted_what(lead: User, client_for: ClientFor) -> None:
    standing = AssessmentFactory()
    PaperFactory(siting=standing.siting, number="P-77")
    page = told(client_for(lead).get(reverse("home-changes", args=[standing.siting.home_id])))
    assert "assessment 2026-03-03" in page
    assert "paper permit P-77" in page
    assert standing_assessment(standing.siting) == standing
