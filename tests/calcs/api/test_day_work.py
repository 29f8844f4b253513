"""What a day says of approved work, of visits and of how a home was left: the same as the pages and papers say."""

import datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from calcs.beginning import why_not_begin
from calcs.closing import closing_of, what_is_open
from calcs.engine.flatness import FlatnessResult
from calcs.models import Approval, Closing, PassEntry
from calcs.sheet_page.known import read_known
from calcs.sheet_page.loading import loads_of
from calcs.survey_page.record import result_of
from calcs.work import progress_of_work
from jobs.models import Paper, Strap, StrapCheck, Support, User, Visit
from tests.calcs.approved import approved_home, withdrawn
from tests.calcs.finished import finished
from tests.calcs.working import check, standing
from tests.factories import CompanyFactory, HeadCountFactory, UserFactory, VisitFactory, VisitReportFactory

pytestmark = pytest.mark.django_db
TODAY = "/api/v1/day/"
HOUR = datetime.timedelta(hours=1)
SECOND = datetime.timedelta(seconds=1)


def visited(approval: Approval, crew: User) -> Visit:
    """Send somebody to an approved home now, or, who is on the way already, after the others."""
    begins = timezone.now() + Visit.objects.count() * SECOND  # short, so that it is today whenever this runs
    visit: Visit = VisitFactory(
        siting=approval.siting,
        kind="releveling",
        starts_at=begins,
        ends_at=begins + SECOND,
        lead=UserFactory(first_name="Lena", last_name="Ortiz"),
    )
    visit.crew.add(crew)
    return visit


@pytest.fixture
def approval(crew: User) -> Approval:
    CompanyFactory()
    found = approved_home()
    visited(found, crew)
    return Approval.objects.select_related("plan__lift", "plan__survey__siting__home").get(pk=found.pk)


def place_of(client: Any) -> dict[str, Any]:
    (place,) = client.get(TODAY).json()["places"]
    return dict(place)


# -- the work ------------------------------------------------------------------------------------------------------


def test_passes_are_those_of_the_work(approval: Approval, crew: User, api_for: Any) -> None:
    point = approval.siting.points.get(label="A1")
    PassEntry.objects.create(
        plan=approval.plan, point=point, pass_number=1, author=crew, noted_at=timezone.now(), typed="3", value_in=3
    )
    work, progress = place_of(api_for(crew))["work"], progress_of_work(approval)
    assert (work["approval"], work["plan"], work["number"]) == (str(approval.pk), str(approval.plan_id), 1)
    assert work["unit"] == approval.plan.survey.unit
    assert (work["days"], work["sd_in"]) == (progress.days, pytest.approx(progress.sd_in))
    assert [each["number"] for each in work["passes"]] == [each.number for each in progress.passes]
    told = [step for each in work["passes"] for group in each["groups"] for step in group]
    asked = [step for each in progress.passes for group in each.groups for step in group]
    assert [(step["point"], step["by_in"], step["read_in"]) for step in told] == [
        (step.point, step.by_in, step.read_in) for step in asked
    ]
    stored = check(approval.plan, "passes").result
    jacks = [step["jack_lb"] for each in stored["passes"] for group in each["groups"] for step in group]
    assert [step["jack_lb"] for step in told] == jacks
    assert all(jack_lb > 0 for jack_lb in jacks)
    beside = [[one["point"] for one in each["beside"]] for each in work["passes"]]
    assert beside == [[step.point for step in each.beside] for each in progress.passes]
    assert any(beside)
    changes = {row["point"]: row["change_in"] for row in work["supports"]}
    assert changes == {row.point: row.change_in for row in progress.supports}
    assert work["setup"]["id"] == progress.setup
    assert [(entry["typed"], entry["is_plan_approved"]) for entry in work["entries"]] == [("3", True)]
    hanging = [
        (hang["code"], each["number"], hang["advice"]) for each in stored["passes"] for hang in each["hanging_advice"]
    ]
    assert [(hang["point"], hang["pass"], hang["advice"]) for hang in work["hanging"]] == hanging


def test_loads_straps_and_stacks_are_those_of_the_sheet(approval: Approval, crew: User, api_for: Any) -> None:
    work = place_of(api_for(crew))["work"]
    loads = loads_of(read_known(approval.plan, unit="in"))
    assert [(row["words"], row["count"], row["lb"]) for row in work["loading"]] == [
        (load.words, load.count, load.lb) for load in loads
    ]
    assert work["loading_lb"] == pytest.approx(sum(load.lb for load in loads))
    people = next(row for row in work["loading"] if row["part"] == "people")
    assert people["count"] == 2  # the lead and one more
    stacks = check(approval.plan, "stacks").result
    assert {row["part"] for row in work["loading"]} > {part for part, count in stacks["totals"].items() if count}
    assert [stack["point"] for stack in work["stacks"]] == [stack["code"] for stack in stacks["supports"]]
    assert all("shims" in stack["words"] for stack in work["stacks"])
    straps = {strap["code"]: strap for strap in check(approval.plan, "straps").result["straps"]}
    assert {strap["strap"]: strap["handling"] for strap in work["straps"]} == {
        code: strap["handling"] for code, strap in straps.items()
    }
    assert all("angle" in strap["words"] for strap in work["straps"])


def test_words_come_in_the_language_that_is_asked_for(approval: Approval, crew: User, api_for: Any) -> None:
    spanish = api_for(crew).get(f"{TODAY}?language=es").json()["places"][0]
    assert spanish["work"]["loading"][0]["words"] == "personas"
    english = place_of(api_for(crew))
    assert spanish["closing"]["open"][0]["code"] == english["closing"]["open"][0]["code"]
    assert spanish["closing"]["open"][0]["words"] != english["closing"]["open"][0]["words"]


def test_without_an_order_of_jacking_there_is_work_all_the_same(approval: Approval, crew: User, api_for: Any) -> None:
    approval.plan.checks.all().delete()
    work = place_of(api_for(crew))["work"]
    assert (work["passes"], work["days"], work["setup"], work["straps"], work["stacks"]) == ([], 0, None, [], [])
    assert [row["point"] for row in work["supports"]] == [row.point for row in progress_of_work(approval).supports]


def test_what_keeps_from_beginning_is_told_until_work_has_begun(approval: Approval, crew: User, api_for: Any) -> None:
    client, today = api_for(crew), timezone.localdate()
    told = place_of(client)["work"]["not_to_begin"]
    assert any("licence" in words for words in told)
    assert list(why_not_begin(approval, progress_of_work(approval), today)) == told
    for kind in ("licence", "insurance", "jacks"):
        Paper.objects.create(kind=kind, number="7", issued_on=today, expires_on=today)
    assert place_of(client)["work"]["not_to_begin"] == []
    Support.objects.filter(point__siting=approval.siting, point__label="A1").update(max_raise_in=0)
    (words,) = place_of(client)["work"]["not_to_begin"]
    assert "have changed since this plan was approved" in words
    step = progress_of_work(approval).steps[0]
    PassEntry.objects.create(
        plan=approval.plan,
        point=approval.siting.points.get(pk=step.point),
        pass_number=step.pass_number,
        author=crew,
        noted_at=timezone.now(),
        is_done=True,
    )
    assert place_of(client)["work"]["not_to_begin"] == []


def test_what_is_not_approved_is_no_work(approval: Approval, crew: User, api_for: Any) -> None:
    withdrawn(approval)
    place = place_of(api_for(crew))
    assert (place["work"], place["closing"], place["last_as_left"]) == (None, None, None)


# -- its end -------------------------------------------------------------------------------------------------------


def test_the_closing_gate_is_that_of_the_page(approval: Approval, crew: User, api_for: Any) -> None:
    client = api_for(crew)
    closing = place_of(client)["closing"]
    assert (closing["id"], closing["is_closed"], closing["are_wedges_tapped"]) == (None, False, False)
    assert [one["code"] for one in closing["open"]] == [one.code for one in what_is_open(closing_of(approval))]
    HeadCountFactory(visit=Visit.objects.get(siting=approval.siting), person_name="Ana")
    Closing.objects.create(approval=approval, are_wedges_tapped=True)
    begun = place_of(client)["closing"]
    assert (begun["version"], begun["are_wedges_tapped"]) == (1, True)
    assert "wedges" not in {one["code"] for one in begun["open"]}
    assert [one["code"] for one in begun["open"] if one["is_life"]] == ["still_in"]
    Closing.objects.update(closed_at=timezone.now(), closed_by=crew)
    done = place_of(client)["closing"]
    assert (done["is_closed"], done["open"]) == (True, [])


def test_how_the_home_was_left_last(approval: Approval, crew: User, api_for: Any) -> None:
    as_left = finished(approval).as_left
    left = place_of(api_for(crew))["last_as_left"]
    flatness = result_of(standing(as_left, "flatness"), FlatnessResult)
    assert flatness is not None
    worst_in = max(abs(pair.difference_in) for pair in flatness.pairs)
    assert (left["survey"], left["worst"]["by_in"]) == (str(as_left.pk), pytest.approx(worst_in))
    pair = next(p for p in flatness.pairs if (p.a, p.b) == (left["worst"]["a"], left["worst"]["b"]))
    assert (abs(pair.difference_in), pair.verdict) == (pytest.approx(worst_in), left["worst"]["verdict"])
    assert len(left["heights"]) == 15


def test_the_newest_check_of_each_strap(approval: Approval, crew: User, api_for: Any) -> None:
    strap = Strap.objects.filter(siting=approval.siting).order_by("code")[0]
    for minute, slack_in in ((2, 1), (9, 0), (5, 2)):
        at = timezone.now() - datetime.timedelta(minutes=60 - minute)
        StrapCheck.objects.create(strap=strap, grade="ok", slack_in=slack_in, author=crew, noted_at=at)
    (newest,) = place_of(api_for(crew))["strap_checks"]
    assert (newest["strap"], newest["slack_in"]) == (str(strap.pk), "0.0000")


def test_noise_of_a_reading_by_method(approval: Approval, crew: User, api_for: Any) -> None:
    place = place_of(api_for(crew))
    rules, noise = place["rules"], place["reading_sd_in"]
    assert noise["water_level"] == rules["reading_sd_water_level_in"]
    # Two columns read by eye, each with the noise of one: the variances add.
    assert noise["plain_tube"] ** 2 == pytest.approx(2 * rules["reading_sd_water_level_in"] ** 2)
    assert (noise["hydrostatic"], noise["laser"]) == (
        rules["reading_sd_hydrostatic_in"],
        rules["reading_sd_laser_in"],
    )


# -- the visit -----------------------------------------------------------------------------------------------------


def test_a_visit_says_who_is_on_it_who_is_below_and_how_it_stands(
    approval: Approval, crew: User, api_for: Any
) -> None:
    visit = Visit.objects.get(siting=approval.siting)
    noon = timezone.now()
    HeadCountFactory(visit=visit, person_name="Bo", is_in=False, noted_at=noon)
    HeadCountFactory(visit=visit, person_name="Bo", noted_at=noon - HOUR)
    HeadCountFactory(visit=VisitFactory(siting=approval.siting), person_name="Zoe")
    VisitReportFactory(visit=visit, state="on_site")
    (told,) = api_for(crew).get(TODAY).json()["visits"]
    assert told["people"] == [
        {"id": str(visit.lead_id), "name": "Lena Ortiz"},
        {"id": str(crew.pk), "name": str(crew)},
    ]
    assert [(each["person_name"], each["is_in"]) for each in told["head_counts"]] == [("Bo", True), ("Bo", False)]
    assert [each["state"] for each in told["reports"]] == ["on_site"]


def test_as_many_queries_for_three_worked_homes_as_for_one(approval: Approval, crew: User, api_for: Any) -> None:
    client = api_for(crew)
    finished(approval)
    with CaptureQueriesContext(connection) as one:
        client.get(TODAY)
    for _more in range(2):
        more = approved_home()
        visited(more, crew)
        finished(more)
    with CaptureQueriesContext(connection) as three:
        day = client.get(TODAY).json()
    assert len(day["places"]) == 3
    assert all(
        place["work"]["entries"] and place["last_as_left"] and place["strap_checks"] for place in day["places"]
    )
    assert all(place["closing"]["open"] == [] for place in day["places"])
    assert len(one) == len(three)
    assert len(three) <= 55
