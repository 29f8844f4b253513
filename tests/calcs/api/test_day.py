"""One request loads a day: what is in it, for whom, and that it takes as many queries for three homes as for one."""

import datetime
import gzip
import json
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from calcs.services import request_calculations
from jobs.cautions import told
from jobs.models import Finding, Siting, User, Visit
from surveys.models import Survey
from surveys.services import submit_survey
from tests.factories import (
    NOON,
    CautionReadFactory,
    CompanyFactory,
    CustomerFactory,
    DrainNodeFactory,
    DrainRunFactory,
    HazardFactory,
    HomeContactFactory,
    RuleSetFactory,
    SetupFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
    lay_out_home,
    make_reading,
    read_home,
)

pytestmark = pytest.mark.django_db
THAT_DAY = "/api/v1/day/?date=2026-03-03"


def worked_home(crew: User) -> Siting:
    """A home with a contact, a finding, a finished survey with its plans, and one that is open."""
    siting = lay_out_home()
    visit = VisitFactory(siting=siting, in_turn=True)
    visit.crew.add(crew)
    drain = DrainRunFactory(siting=siting, code="D1")
    for at_ft, invert_in in ((20, "13.5"), (0, "18"), (10, "18.5")):  # a drain may rise: that is what is looked for
        DrainNodeFactory(run=drain, at_ft=at_ft, invert_in=invert_in)
    DrainNodeFactory(run__siting=siting, run__archived_at=NOON)
    HomeContactFactory(home=siting.home, customer=CustomerFactory(name="Ida Marsh", phone="555 0100"))
    Finding.objects.create(siting=siting, grade="fix", text="loose cap", author=crew, noted_at=NOON)
    HazardFactory(home=siting.home)
    HazardFactory(home=siting.home, cleared_at=NOON, cleared_by=crew, cleared_why="gone")
    CautionReadFactory(visit=visit, reader_name="Ana", text_sha256=told("wind", "es").text_sha256, language="es")
    CautionReadFactory(visit=visit, reader_name="Bo")  # another text
    finished = SurveyFactory(siting=siting)
    read_home(finished, {"A1": 0.9})
    submit_survey(survey=finished)
    request_calculations(finished)
    setup = SetupFactory(
        survey=SurveyFactory(siting=siting, started_at=NOON + datetime.timedelta(hours=1)), code="S1"
    )
    first = make_reading(setup=setup, point=siting.points.get(label="A1"), value_in=3)
    make_reading(setup=setup, point=first.point, value_in=4, replaces=first, reason="slip")
    return siting


@pytest.fixture
def siting(crew: User, django_capture_on_commit_callbacks: Any) -> Siting:
    CompanyFactory()
    with django_capture_on_commit_callbacks(execute=True):
        return worked_home(crew)


def test_a_day_has_everything_that_a_phone_needs(siting: Siting, crew: User, api_for: Any) -> None:
    day = api_for(crew).get(THAT_DAY).json()
    assert (day["date"], day["time_zone"], day["person"]) == ("2026-03-03", "America/Chicago", str(crew.pk))
    assert [visit["siting"] for visit in day["visits"]] == [str(siting.pk)]
    (place,) = day["places"]
    counts = {name: len(rows) for name, rows in place.items() if isinstance(rows, list)}
    assert counts == {
        "contacts": 0,  # crews don't see customers
        "points": 15,
        "supports": 12,
        "neighbour_pairs": 17,
        "benchmarks": 3,
        "connections": 1,
        "straps": 2,
        "drain_runs": 1,
        "findings": 1,
        "hazards": 1,
        "strap_checks": 0,
        "open_surveys": 1,
        "plans": len(place["plans"]),
    }
    (run,) = place["drain_runs"]
    assert (run["code"], run["diameter_in"]) == ("D1", "3.000")
    assert [node["invert_in"] for node in run["nodes"]] == ["18.0000", "18.5000", "13.5000"]
    (survey,) = place["open_surveys"]
    assert [setup["code"] for setup in survey["setups"]] == ["S1"]
    assert [reading["typed"] for reading in survey["standing_readings"]] == ["4"]
    last = Survey.objects.get(pk=place["last_survey"]["id"])
    assert (last.state, place["last_survey"]["heights_are_newest"]) == ("submitted", True)
    heights = {row["point"]: row["height_in"] for row in place["last_survey"]["heights"]}
    assert len(heights) == 15
    at = {point["label"]: heights[point["id"]] for point in place["points"]}
    assert at["A1"] - at["BM1"] == pytest.approx(0.9)
    assert at["A2"] - at["BM1"] == pytest.approx(0.0, abs=1e-9)
    recommended = [plan for plan in place["plans"] if plan["is_recommended"]]
    assert len(recommended) == 1
    moved = {move["point"]: move["move_in"] for move in recommended[0]["moves"] if move["move_in"]}
    labels = {point["id"]: point["label"] for point in place["points"]}
    assert "A1" in {labels[point] for point in moved}
    assert place["rules"]["tolerance_in"] > 0
    assert {"code", "text", "source"} == set(day["cautions"][0])
    (slackening,) = [at for at in day["visits"][0]["cautions_by_moment"] if at["moment"] == "slackening"]
    assert [one["read_by"] for one in slackening["cautions"] if one["code"] == "wind"] == [["Ana"]]


def test_a_lead_sees_whom_to_call_and_cautions_come_in_ones_language(
    siting: Siting, lead: User, api_for: Any
) -> None:
    Visit.objects.update(lead=lead)
    english = api_for(lead).get(THAT_DAY).json()
    (place,) = english["places"]
    assert place["contacts"] == [{"part": "owner", "name": "Ida Marsh", "phone": "555 0100"}]
    asked = api_for(lead).get(f"{THAT_DAY}&language=es").json()
    lead.language = "es"
    lead.save()
    spanish = api_for(lead).get(THAT_DAY).json()
    assert (english["language"], spanish["language"]) == ("en", "es")
    assert asked == spanish
    assert api_for(lead).get(f"{THAT_DAY}&language=en").json() == english
    assert list(api_for(lead).get(f"{THAT_DAY}&language=fr").json()["fields"]) == ["language"]
    codes = [caution["code"] for caution in english["cautions"]]
    assert codes == [caution["code"] for caution in spanish["cautions"]]
    assert english["cautions"][0]["text"] != spanish["cautions"][0]["text"]


def test_rules_are_the_home_s_own_or_the_company_s(siting: Siting, crew: User, api_for: Any) -> None:
    def tolerance() -> Any:
        return api_for(crew).get(THAT_DAY).json()["places"][0]["rules"]["tolerance_in"]

    usual = tolerance()
    company = CompanyFactory._meta.model.objects.get()
    company.rule_set = RuleSetFactory(values={"tolerance_in": 0.2})
    company.save()
    assert (usual != 0.2, tolerance()) == (True, 0.2)
    siting.home.rule_set = RuleSetFactory(values={"tolerance_in": 0.3})
    siting.home.save()
    assert tolerance() == 0.3


def test_only_ones_own_visits_of_the_day_that_stand(crew: User, lead: User, api_for: Any) -> None:
    CompanyFactory()  # in America/Chicago, at UTC-6 on that day
    own = VisitFactory(starts_at="2026-03-03T05:00:00Z", ends_at="2026-03-03T06:30:00Z")  # till half past midnight
    led = VisitFactory(lead=crew, starts_at="2026-03-04T05:30:00Z", ends_at="2026-03-04T06:00:00Z")  # from 23:30
    early = VisitFactory(starts_at="2026-03-03T04:00:00Z", ends_at="2026-03-03T06:00:00Z")  # till midnight
    late = VisitFactory(starts_at="2026-03-04T06:00:00Z", ends_at="2026-03-04T08:00:00Z")  # from midnight
    cancelled = VisitFactory(state="cancelled")
    other = UserFactory()  # nobody is in two places
    for visit in (own, late, cancelled):
        visit.crew.add(crew, lead)
    early.crew.add(other)
    VisitFactory(lead=lead)
    visits = api_for(crew).get(THAT_DAY).json()["visits"]
    assert [visit["id"] for visit in visits] == [str(own.pk), str(led.pk)]
    assert api_for(other).get(THAT_DAY).json()["visits"] == []


def test_today_is_by_the_company_s_clock(crew: User, api_for: Any) -> None:
    CompanyFactory()
    client = api_for(crew)
    with time_machine.travel(datetime.datetime(2026, 3, 4, 5, 59, tzinfo=datetime.UTC), tick=False):
        assert client.get("/api/v1/day/").json()["date"] == "2026-03-03"
    refused = client.get("/api/v1/day/?date=tomorrow")
    assert (refused.status_code, list(refused.json()["fields"])) == (400, ["date"])


def test_nothing_is_sent_again_until_something_changes(siting: Siting, crew: User, api_for: Any) -> None:
    client = api_for(crew)
    first = client.get(THAT_DAY)
    again = client.get(THAT_DAY, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    siting.points.filter(label="A1").update(label="A0")
    changed = client.get(THAT_DAY, headers={"If-None-Match": first.headers["ETag"]})
    assert changed.status_code == 200
    packed = client.get(THAT_DAY, headers={"Accept-Encoding": "gzip"})
    assert json.loads(gzip.decompress(packed.content)) == changed.json()
    assert len(packed.content) < len(changed.content) / 4
    tag = packed.headers["ETag"]
    assert client.get(THAT_DAY, headers={"If-None-Match": tag, "Accept-Encoding": "gzip"}).status_code == 304


def test_as_many_queries_for_three_homes_as_for_one(
    siting: Siting, crew: User, api_for: Any, django_capture_on_commit_callbacks: Any
) -> None:
    client = api_for(crew)
    with CaptureQueriesContext(connection) as one:
        client.get(THAT_DAY)
    with django_capture_on_commit_callbacks(execute=True):
        worked_home(crew)
        worked_home(crew)
    with CaptureQueriesContext(connection) as three:
        day = client.get(THAT_DAY).json()
    assert len(day["places"]) == 3
    filled = ("plans", "findings", "hazards", "open_surveys")
    assert all(place[name] for place in day["places"] for name in filled)
    assert len(one) == len(three)
    assert len(three) <= 34


def test_a_day_without_visits_is_empty(office: User, api_for: Any) -> None:
    day = api_for(office).get("/api/v1/day/").json()
    assert (day["visits"], day["places"], day["cautions"]) == ([], [], [])
    assert day["date"] == timezone.now().date().isoformat()
