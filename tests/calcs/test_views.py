"""The pages of a home and a survey: what they show of the answers, to whom, and how often they ask the database."""

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
from pytest_django import DjangoAssertNumQueries

from calcs import chain
from calcs.engine.units import format_length
from calcs.models import Calculation, Plan
from jobs.models import Siting, Support, User
from surveys.models import Reading, Survey
from tests.calcs.working import HEIGHTS_IN, check, label_to_key, read_survey, standing, submit, work_off
from tests.factories import (
    NOON,
    BlockOverrideFactory,
    ConnectionFactory,
    DrainNodeFactory,
    DrainRunFactory,
    HazardFactory,
    HomeContactFactory,
    PaperFactory,
    StrapFactory,
    SurveyFactory,
    VisitFactory,
    lay_out_home,
    make_reading,
    read_home,
)

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]


@pytest.fixture
def computed(db: None) -> Survey:
    """A submitted survey with every answer: A1 is low, D3 a little high."""
    survey = read_survey()
    work_off(chain.ask(survey.pk).new)
    return survey


def shown(client: Client, survey: Survey, **query: str) -> tuple[Any, str]:
    """Return the page's read model and its text with fractions as plain as they were typed."""
    response = client.get(reverse("survey", args=[survey.pk]), query)
    assert response.status_code == 200
    plain = re.sub(r"</?(?:span|tspan)[^>]*>", "", response.content.decode())
    return response.context["page"], plain


# -- who sees them ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["survey", "survey-progress", "home", "layout", "layout-drawing", "layout-preview"])
def test_signed_out_is_sent_to_sign_in(client: Client, name: str) -> None:
    response = client.get(reverse(name, args=[uuid.uuid4()]))
    assert response.status_code == 302
    assert response["Location"].startswith(reverse("sign-in"))


def test_signed_out_can_not_ask_for_calculations(client: Client) -> None:
    survey = read_survey()
    response = client.post(reverse("survey-compute", args=[survey.pk]))
    assert response["Location"].startswith(reverse("sign-in"))
    assert not Calculation.objects.exists()


@pytest.mark.parametrize("name", ["survey", "survey-progress", "home", "layout", "layout-drawing", "layout-preview"])
def test_unknown_is_not_found(client_for: ClientFor, lead: User, name: str) -> None:
    assert client_for(lead).get(reverse(name, args=[uuid.uuid4()])).status_code == 404
    assert client_for(lead).get(f"/{name}s/no-uuid/").status_code == 404


@pytest.mark.parametrize("persona", ["manager", "office", "lead", "crew"])
def test_every_role_reads_the_pages(
    client_for: ClientFor, computed: Survey, persona: str, request: pytest.FixtureRequest
) -> None:
    person = request.getfixturevalue(persona)
    VisitFactory(siting=computed.siting).crew.add(person)
    client = client_for(person)
    for name, key in (("survey", computed.pk), ("home", computed.siting.home_id), ("layout", computed.siting_id)):
        assert client.get(reverse(name, args=[key])).status_code == 200


# -- how often they ask -------------------------------------------------------------------------------------------


def furnish(siting: Siting, rows: int) -> None:
    """Give a siting so many more of everything that its page lists."""
    for n in range(rows):
        SurveyFactory(siting=siting)
        ConnectionFactory(siting=siting, code=f"X{n}")
        StrapFactory(siting=siting, point=siting.points.get(label="B2"), code=f"Y{n}")
        DrainNodeFactory(run__siting=siting)
        HomeContactFactory(home=siting.home)
        HazardFactory(home=siting.home)
        BlockOverrideFactory(assessment__siting=siting)
        PaperFactory(siting=siting)
        VisitFactory(siting=siting)


@pytest.mark.parametrize("rows", [1, 3])
def test_home_asks_a_fixed_number_of_times(
    client_for: ClientFor, lead: User, rows: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    siting = lay_out_home()
    furnish(siting, rows)
    client = client_for(lead)
    # session, user, time zone; home, sitings, surveys, marks, connections, straps, drains, places on them, visits,
    # contacts, approvals; hazards, photos that a new one may name; assessment, findings, checks of straps,
    # hazards that block, signatures; company, papers
    with django_assert_num_queries(26):
        client.get(reverse("home", args=[siting.home_id]))


def test_a_homes_page_tells_of_its_drain_runs(client_for: ClientFor, lead: User) -> None:
    siting = lay_out_home()
    run = DrainRunFactory(siting=siting, code="D7", diameter_in=3, has_cleanout=True)
    DrainNodeFactory(run=run)
    DrainRunFactory(siting=siting, code="D8", archived_at=NOON)
    page = client_for(lead).get(reverse("home", args=[siting.home_id])).content.decode()
    told = re.sub(r"<[^>]+>|\s+", " ", page[page.index("Drain runs") : page.index("Benchmarks</h3>")])
    assert "D7, 3 in inside, clean-out at the upper end, 1 place measured" in told.replace("\N{NO-BREAK SPACE}", " ")
    assert "D8" not in told


@pytest.mark.parametrize("name", ["layout", "layout-drawing"])
def test_layout_asks_as_often_for_more_rows(client_for: ClientFor, lead: User, name: str) -> None:
    siting = lay_out_home()
    client = client_for(lead)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            client.get(reverse(name, args=[siting.pk]))
        return len(captured)

    before = queries()
    furnish(siting, 3)
    assert queries() == before


def test_survey_asks_as_often_for_more_rows(client_for: ClientFor, lead: User, computed: Survey) -> None:
    client = client_for(lead)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            client.get(reverse("survey", args=[computed.pk]))
        return len(captured)

    before = queries()
    furnish(computed.siting, 3)
    work_off(chain.ask(computed.pk).new)
    assert queries() == before


# -- the home -----------------------------------------------------------------------------------------------------


def test_home_shows_surveys_with_their_verdict(client_for: ClientFor, lead: User, computed: Survey) -> None:
    page = client_for(lead).get(reverse("home", args=[computed.siting.home_id])).content.decode()
    verdict = standing(computed, "flatness").result["verdict"]
    assert verdict == "over"
    assert f'<span class="verdict {verdict}">over</span>' in page
    assert "drain DR1" in page


# -- the survey ---------------------------------------------------------------------------------------------------


def test_answers_are_on_the_page(client_for: ClientFor, lead: User, computed: Survey) -> None:
    page, text = shown(client_for(lead), computed)
    assert page.progress.state == "done"
    assert page.flatness.verdict == "over"
    lift = standing(computed, "lift").result
    possible = [option for option in lift["options"] if option["status"] == "optimal"]
    assert [option.name for option in page.options] == [option["name"] for option in possible]
    assert [option.name for option in page.options if option.is_recommended] == [lift["recommended"]]
    for caution in page.cautions:
        assert caution.source
    assert "Local codes, the home's own manual and licensed trades govern." in text


def test_every_move_is_said_with_the_height_to_read(client_for: ClientFor, lead: User, computed: Survey) -> None:
    page, text = shown(client_for(lead), computed)
    option = next(
        option for option in standing(computed, "lift").result["options"] if option["name"] == page.chosen.name
    )
    names = {key: label for label, key in label_to_key(computed).items()}
    raised = [move for move in option["moves"] if move["move_in"] > 0]
    assert "A1" in [names[move["code"]] for move in raised]
    for move in raised:
        assert f"{names[move['code']]}: raise {format_length(move['move_in'])}".replace(" in", "\u00a0in") in text
    # A1 was read 3.75 in below BM1; what the page asks for is that plus the move.
    a1 = next(move for move in option["moves"] if names[move["code"]] == "A1")
    below = HEIGHTS_IN["BM1"] - HEIGHTS_IN["A1"] - a1["move_in"]
    work = next(work for work in page.work if work.move.label == "A1")
    assert work.move.reach == f"{format_length(below)} below BM1".replace(" in ", "\u00a0in ")


def test_stacks_and_parts_are_the_calculations(client_for: ClientFor, lead: User, computed: Survey) -> None:
    page, text = shown(client_for(lead), computed)
    stacks = check(Plan.objects.get(survey=computed, option=page.chosen.name), "stacks")
    totals = stacks.result["totals"]
    assert {part.words: part.count for part in page.parts} == {
        {
            "shims": "pair of shims",
            "block": "block",
            "cap": "4 in cap",
            "plate_2x": "2-by plate",
            "plate_1x": "1-by plate",
        }.get(code, code): n
        for code, n in totals.items()
        if n
    }
    assert len([work for work in page.work if work.stack]) == len(stacks.result["supports"])
    assert 'class="stack"' in text


def test_straps_to_loosen_come_first_with_what_they_would_carry(
    client_for: ClientFor, lead: User, computed: Survey
) -> None:
    page, text = shown(client_for(lead), computed)
    plan = Plan.objects.get(survey=computed, option=page.chosen.name)
    results = {strap["code"]: strap for strap in check(plan, "straps").result["straps"]}
    first = page.straps[0]
    assert (first.code, first.point, first.is_loosened) == ("T1", "A1", True)
    key = str(computed.siting.straps.get(code="T1").pk)
    assert f"{results[key]['tension_if_tight_lb']:,.0f} lb more than now" in text


@pytest.mark.parametrize("option", ["raise_only", "flattest", "no such option", "<script>"])
def test_reader_chooses_an_option(client_for: ClientFor, lead: User, computed: Survey, option: str) -> None:
    page, text = shown(client_for(lead), computed, option=option)
    names = [view.name for view in page.options]
    recommended = next(view.name for view in page.options if view.is_recommended)
    assert page.chosen.name == (option if option in names else recommended)
    assert "<script>" not in text


@pytest.mark.parametrize(("datum", "low"), [("lowest", 0.0), ("nonsense", 0.0), ("target", None), ("plane", None)])
def test_reader_chooses_a_datum(
    client_for: ClientFor, lead: User, computed: Survey, datum: str, low: float | None
) -> None:
    page, _ = shown(client_for(lead), computed, datum=datum)
    before, after = page.maps
    values = {point.label: point.value_in for point in before.points if point.value_in is not None}
    if low is not None:
        assert min(values.values()) == low
    else:
        assert before.is_signed
    moves = {point.label: point.move_in for point in before.points}
    planned = {point.label: point.value_in for point in after.points if point.value_in is not None}
    assert planned == pytest.approx({label: value + moves[label] for label, value in values.items()}, abs=1e-9)
    if datum == "target":
        assert set(planned.values()) == {0.0}


def test_millimetres_for_those_who_chose_them(client_for: ClientFor, lead: User, computed: Survey) -> None:
    lead.length_unit = "mm"
    lead.save()
    page, _ = shown(client_for(lead), computed)
    assert page.flatness.tolerance == "6.4\u00a0mm"  # 1/4 in
    assert all("\u00a0in" not in work.move.what for work in page.work)


def test_a_slip_is_pointed_at_and_makes_the_plan_provisional(client_for: ClientFor, lead: User) -> None:
    survey = read_survey({"A1": -0.75, "BM1": 3.0})
    wrong = survey.readings.filter(point__label="A1").last()
    slipped = float(wrong.value_in) + 0.5
    make_reading(
        setup=wrong.setup,
        point=wrong.point,
        value_in=slipped,
        round=wrong.round,
        replaces=wrong,
        reason="a test's slip",
    )
    assert Reading.objects.standing().filter(point=wrong.point).count() == 2
    work_off(chain.ask(survey.pk).new)
    page, text = shown(client_for(lead), survey)
    suspects = [doubt for doubt in page.doubts if doubt.is_suspect]
    assert len(suspects) == 1
    # Two rounds: nothing tells which of the two readings is wrong.
    assert suspects[0].do == "Read A1 a third time: that tells them apart."
    assert "A1 from S1, round 1" in suspects[0].what
    assert "A1 from S2, round 2" in suspects[0].what
    assert page.chosen.is_provisional
    assert "Provisional: it touches A1" in text
    assert [point.label for point in page.maps[0].points if point.is_suspect] == ["A1"]


def test_one_reading_a_point_is_said_to_be_unchecked(client_for: ClientFor, lead: User) -> None:
    survey = read_survey()
    keep = survey.setups.get(code="S1")
    for reading in survey.readings.exclude(setup=keep):
        make_reading(setup=reading.setup, point=reading.point, value_in=None, replaces=reading, reason="not read")
    work_off(chain.ask(survey.pk).new)
    page, _ = shown(client_for(lead), survey)
    assert any("Nothing checks the readings of A1, " in doubt.what for doubt in page.doubts)
    assert any(point.is_unchecked for point in page.maps[0].points)


def test_an_impossible_lift_says_both_ways_out(client_for: ClientFor, lead: User) -> None:
    siting = lay_out_home()
    Support.objects.filter(point__siting=siting).update(max_raise_in=0, max_lower_in=0)
    survey = SurveyFactory(siting=siting)
    read_home(survey, HEIGHTS_IN)
    work_off(chain.ask(submit(survey).pk).new)
    page, text = shown(client_for(lead), survey)
    assert page.options == ()
    assert page.impossible
    assert {len(option.ways) for option in page.impossible} == {2}
    assert "A1 might go up" in text
    assert "further apart" in text
    # The anchors are checked all the same.
    assert {strap.code for strap in page.straps} == {"T1", "T2"}
    assert "Straps as they stand" in text


def test_a_failed_calculation_is_said_in_its_place(client_for: ClientFor, lead: User, computed: Survey) -> None:
    calculation = standing(computed, "flatness")
    key = label_to_key(computed)["A1"]
    failed = Calculation.objects.create(
        kind="flatness",
        survey=computed,
        input=calculation.input,
        input_sha256="0" * 64,
        engine_version=calculation.engine_version,
        state=Calculation.State.FAILED,
        finished_at=timezone.now(),
        error={"code": "invalid_input", "message": f"{key} is paired with itself", "field": "neighbours[0]"},
    )
    calculation.answers.update(calculation=failed)
    page, text = shown(client_for(lead), computed)
    assert page.progress.state == "failed"
    assert "A1 is paired with itself" in text
    assert "Correct this in the readings or in the layout, then compute again." in text
    assert reverse("survey-compute", args=[computed.pk]) in text


def test_readings_since_make_it_stale(client_for: ClientFor, lead: User, computed: Survey) -> None:
    Survey.objects.filter(pk=computed.pk).update(revision=2)
    _, text = shown(client_for(lead), computed)
    assert "Stale: readings have come in since this was computed." in text


def test_a_change_of_the_record_makes_it_stale(client_for: ClientFor, lead: User, computed: Survey) -> None:
    assert shown(client_for(lead), computed)[0].stale == ""
    Support.objects.filter(point__siting=computed.siting).update(max_raise_in=1)
    assert shown(client_for(lead), computed)[0].stale.startswith("Stale: the layout")


def test_page_without_answers_says_why(client_for: ClientFor, lead: User) -> None:
    page, text = shown(client_for(lead), SurveyFactory(siting=lay_out_home()))
    assert page.progress.state == "open"
    assert "Not handed in yet" in text


def test_progress_tells_what_is_waited_for_and_when_something_is_new(client_for: ClientFor, lead: User) -> None:
    survey = read_survey()
    client, address = client_for(lead), reverse("survey-progress", args=[survey.pk])
    asked = chain.ask(survey.pk)
    waiting = client.get(address).json()
    assert (waiting["state"], waiting["words"]) == (
        "working",
        "0 of 2 steps done. Being computed: heights, straps. Then each plan is checked.",
    )
    assert client.get(address).json() == waiting
    work_off(asked.new)
    done = client.get(address).json()
    assert done["state"] == "done"
    assert done["stamp"] != waiting["stamp"]
    page, text = shown(client, survey)
    assert page.progress.stamp == done["stamp"]
    assert f'data-stamp="{done["stamp"]}"' in text


def test_progress_reads_no_results(client_for: ClientFor, lead: User, computed: Survey) -> None:
    with CaptureQueriesContext(connection) as captured:
        client_for(lead).get(reverse("survey-progress", args=[computed.pk]))
    columns = [query["sql"] for query in captured if "calcs_calculation" in query["sql"]]
    assert columns
    assert not any('."result"' in sql or '."input"' in sql for sql in columns)


def test_compute_asks_once_more_and_needs_a_post(client_for: ClientFor, lead: User) -> None:
    survey = read_survey()
    client, address = client_for(lead), reverse("survey-compute", args=[survey.pk])
    assert client.get(address).status_code == 405
    response = client.post(address)
    assert response["Location"] == reverse("survey", args=[survey.pk])
    assert list(survey.calculations.order_by("kind").values_list("kind", "requested_by")) == [
        ("levels", lead.pk),
        ("straps", lead.pk),
    ]


def test_wild_labels_do_not_break_the_page(client_for: ClientFor, lead: User, computed: Survey) -> None:
    computed.siting.points.filter(label="A1").update(label="<b>&")
    _, text = shown(client_for(lead), computed)
    assert "<b>&" not in text
    assert "&lt;b&gt;&amp;" in text


def test_pages_hold_no_inline_script_or_style(client_for: ClientFor, lead: User, computed: Survey) -> None:
    _, text = shown(client_for(lead), computed)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)
    assert not re.search(r"\sstyle=|<style|\son[a-z]+=|javascript:", text)


# -- the layout page ----------------------------------------------------------------------------------------------


def test_a_layout_that_was_read_is_not_drawn_anew(client_for: ClientFor, lead: User) -> None:
    siting = lay_out_home()
    client, address = client_for(lead), reverse("layout", args=[siting.pk])
    assert 'id="generate"' in client.get(address).content.decode()
    read_home(SurveyFactory(siting=siting))
    page = client.get(address).content.decode()
    assert 'id="generate"' not in page
    assert "This layout was read already (" in page
    assert "Correct it point by point below." in page


def test_preview_draws_without_keeping(client_for: ClientFor, lead: User) -> None:
    siting = lay_out_home()
    query = {"sections": 2, "width_ft": 28, "length_ft": 60, "support_spacing_ft": 8, "has_mate_line": "on"}
    page = client_for(lead).get(reverse("layout-preview", args=[siting.pk]), query).content.decode()
    assert "40 supports. Not kept yet." in page
    assert siting.points.standing().count() == 15


@pytest.mark.parametrize(
    ("field", "value"), [("width_ft", ""), ("length_ft", "nan"), ("sections", 9), ("support_spacing_ft", -1)]
)
def test_preview_names_the_wrong_field(client_for: ClientFor, lead: User, field: str, value: object) -> None:
    query = {"sections": 2, "width_ft": 28, "length_ft": 60, "support_spacing_ft": 8} | {field: value}
    response = client_for(lead).get(reverse("layout-preview", args=[lay_out_home().pk]), query)
    assert response.status_code == 400
    assert list(response.json()["fields"]) == [field]


def test_preview_says_what_the_generator_refuses(client_for: ClientFor, lead: User) -> None:
    query = {"sections": 2, "width_ft": 28, "length_ft": 60, "support_spacing_ft": 8, "beam_spacing_in": 600}
    response = client_for(lead).get(reverse("layout-preview", args=[lay_out_home().pk]), query)
    assert response.status_code == 400
    assert list(response.json()["fields"]) == ["beam_spacing_in"]
