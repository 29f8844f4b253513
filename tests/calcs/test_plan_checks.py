"""The checks of a plan, end to end: what the record gives each, in which order they come, what changes them."""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from calcs import chain, runner, services, snapshots
from calcs.engine.levels import solve_levels
from calcs.engine.lift import LiftMove, LiftOption
from calcs.engine.passes import solve_passes
from calcs.engine.straps import solve_straps
from calcs.models import Answer, Calculation, Plan, PlanCheck
from calcs.staleness import why_stale
from jobs.errors import DomainError
from jobs.models import DrainNode, DrainRun, Home, Point, Strap, StrapCheck, Support, User
from surveys.models import Survey
from tests.calcs.working import CHECKS, check, label_to_key, leave_out, read_survey, standing, submit, work_off
from tests.factories import NOON, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    """A home of which everything is recorded that a check may ask for."""
    found = read_survey()
    home = Home.objects.get(pk=found.siting.home_id)
    Home.objects.filter(pk=home.pk).update(
        wind_zone=1, label_number="XYZ 123456", built_on=date(1994, 5, 1), roof_live_psf=20, soil_class="4A"
    )
    run = DrainRun.objects.create(siting=found.siting, code="DN1", diameter_in=3)
    for at_ft, invert_in in ((0, "10"), (10, "7.5"), (20, "5")):
        DrainNode.objects.create(run=run, at_ft=at_ft, invert_in=Decimal(invert_in), x_ft=2 + at_ft, y_ft=4)
    return Survey.objects.select_related("siting__home").get(pk=found.pk)


def plan_of(survey: Survey, option: str = "least_work") -> Plan:
    return Plan.objects.current().get(survey=survey, option=option)


def note(survey: Survey, code: str, **fields: Any) -> StrapCheck:
    strap = survey.siting.straps.get(code=code)
    noted = {"author": UserFactory(), "noted_at": timezone.now(), "grade": "ok"}
    return StrapCheck.objects.create(strap=strap, **(noted | fields))


def test_a_plan_is_checked_in_every_way_that_the_record_allows(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    plan = plan_of(survey)
    assert {row.kind for row in plan.checks.all()} == CHECKS | {"drains", "strap_spacing"}
    assert set(Calculation.objects.values_list("state", flat=True)) == {"done"}


def test_loads_and_stacks_come_before_the_supports_that_rest_on_them(survey: Survey) -> None:
    done = work_off(chain.ask(survey.pk).new)
    kinds = {str(row.pk): row.kind for row in Calculation.objects.all()}
    for plan in Plan.objects.all():
        order = [done.index(check(plan, kind).pk) for kind in ("frame", "stacks", "supports")]
        assert max(order[:2]) < order[2], [kinds[str(key)] for key in done]


@pytest.mark.parametrize(
    ("sections", "others", "together"),
    [
        (2, "", [("A", "B"), ("C", "D")]),
        (1, "C", [("A", "B", "D")]),
        (2, "AB", [("C",), ("D",)]),
        (2, "B", [("A", "C"), ("D",)]),  # no whole number of beams a section: two by two
        (1, "ABCD", []),
    ],
)
def test_the_beams_of_a_section_are_jacked_together_and_other_lines_for_themselves(
    survey: Survey, sections: int, others: str, together: list[tuple[str, ...]]
) -> None:
    Home.objects.filter(pk=survey.siting.home_id).update(sections=sections)
    Point.objects.filter(siting=survey.siting, beam__in=list(others)).update(surface="mate_line")
    record = snapshots.Record(Survey.objects.get(pk=survey.pk))
    move = LiftMove(code=label_to_key(survey)["A1"], move_in=0.25, support_change_in=0.25, from_in=0.0, to_in=0.25)
    option = LiftOption(name="least_work", status="optimal", moves=(move,))
    asked = snapshots.passes_input(record, solve_levels(snapshots.levels_input(record)), option)

    assert asked is not None
    assert list(asked.together or ()) == together
    assert solve_passes(asked).passes


@pytest.mark.parametrize("gap_in", ["0", "0.0625"])
def test_the_loads_after_the_moves_are_those_that_the_lift_planned_with(survey: Survey, gap_in: str) -> None:
    """And nothing hangs: not even by a gap that may stay where no load is told."""
    Support.objects.filter(point__siting=survey.siting, point__label="B2").update(gap_in=gap_in)
    work_off(chain.ask(survey.pk).new)
    plan = plan_of(survey)
    moves = {m["code"]: m for o in plan.lift.result["options"] if o["name"] == plan.option for m in o["moves"]}
    loads = check(plan, "frame").result["supports"]
    assert {load["code"] for load in loads} == set(moves)
    for load in loads:
        assert load["reaction_lb"] == pytest.approx(moves[load["code"]]["load_lb"], abs=0.5)
        assert load["in_contact"]
        assert load["frame_in"] == pytest.approx(moves[load["code"]]["to_in"], abs=1e-4)


def test_supports_are_held_against_the_load_by_contact(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    plan = plan_of(survey)
    loads = {load["code"]: load["reaction_lb"] for load in check(plan, "frame").result["supports"]}
    supports = check(plan, "supports").result["supports"]
    assert {entry["code"]: entry["given_lb"] for entry in supports} == pytest.approx(loads)
    # 24 CFR 3285.303 Table 1: 20 psf, 8 ft: 5,500 lb and so on; the greater of the two loads is held against limits.
    assert all(entry["load_lb"] >= entry["take_down_lb"] for entry in supports)


def test_passes_end_exactly_at_the_changes_of_the_plan(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    plan = plan_of(survey)
    wanted = {
        m["code"]: m["support_change_in"]
        for o in plan.lift.result["options"]
        if o["name"] == plan.option
        for m in o["moves"]
        if m["support_change_in"]
    }
    made: dict[str, float] = {}
    for each in check(plan, "passes").result["passes"]:
        for group in each["groups"]:
            for step in group:
                made[step["code"]] = made.get(step["code"], 0.0) + step["by_in"]
    assert made == pytest.approx(wanted)


def test_the_number_to_read_is_in_the_sense_of_the_setup_last_read_from(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    asked = check(plan_of(survey), "passes").input["setup"]
    last = max(survey.readings.standing(), key=lambda reading: (reading.round, str(reading.pk)))
    assert asked["code"] == str(last.setup_id)
    lines = {each["code"]: each["line_height_in"] for each in standing(survey, "levels").result["setups"]}
    for each in check(plan_of(survey), "passes").result["passes"]:
        for number in each["numbers"]:
            expected = number["frame_in"] - lines[asked["code"]]
            assert number["read_in"] == pytest.approx(expected if asked["sense"] == "up" else -expected)


@pytest.mark.parametrize(
    ("finish", "in_pass", "in_day"),
    # common practice, no source: 1/4 in a pass with panel walls, 1/8 in a day with plaster and brick
    [("panel", 0.25, 1.0), ("plaster", 0.125, 0.125), ("brick", 0.125, 0.125)],
)
def test_walls_limit_a_pass_and_a_day(survey: Survey, finish: str, in_pass: float, in_day: float) -> None:
    Home.objects.filter(pk=survey.siting.home_id).update(wall_finish=finish)
    work_off(chain.ask(survey.pk).new)
    plan = Plan.objects.current().filter(survey=survey).order_by("pk")[0]
    asked = check(plan, "passes").input
    assert (asked["pass_limit_in"], asked["day_limit_in"]) == (in_pass, in_day)
    by_day: dict[tuple[int, str], float] = {}
    for each in check(plan, "passes").result["passes"]:
        for step in (step for group in each["groups"] for step in group):
            assert abs(step["by_in"]) <= in_pass + 1e-9
            key = (each["day"], step["code"])
            by_day[key] = by_day.get(key, 0.0) + step["by_in"]
    assert all(abs(moved) <= in_day + 1e-9 for moved in by_day.values())


def test_plaster_goes_no_further_without_an_engineer(survey: Survey) -> None:
    Home.objects.filter(pk=survey.siting.home_id).update(wall_finish="plaster")
    work_off(chain.ask(survey.pk).new)
    assert {each["max_raise_in"] for each in standing(survey, "lift").input["supports"]} == {0.5}


def test_a_line_that_was_not_read_whole_tells_no_loads(survey: Survey) -> None:
    leave_out(survey, [label for label in label_to_key(survey) if label.startswith("A")][:1])
    work_off(chain.ask(submit(survey).pk).new)
    beams = {beam["code"] for beam in standing(survey, "lift").input["frame"]["beams"]}
    assert beams
    assert "A" not in beams


def test_two_supports_at_one_place_tell_no_loads_of_their_line_and_stop_no_plan(survey: Survey) -> None:
    """Rows along both sides of a home were given one letter, say."""
    Point.objects.filter(siting=survey.siting, label="B2").update(x_ft=2)
    work_off(chain.ask(survey.pk).new)
    assert {beam["code"] for beam in standing(survey, "frame").input["beams"]} == {"A", "C", "D"}
    assert set(Calculation.objects.values_list("state", flat=True)) == {"done"}


def test_a_drain_keeps_its_slope_or_is_hung_anew(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    run = survey.siting.drain_runs.get()
    hung = [link for link in standing(survey, "lift").input["connections"] if link["code"].startswith(str(run.pk))]
    assert len(hung) == 2
    # Each stretch falls 1/4 in a foot and needs 1/8 where a full-size clean-out is, 1/4 without: none to spare.
    assert [link["free_down_in"] for link in hung] == [pytest.approx(0.0), pytest.approx(0.0)]
    slopes = [segment["verdict"] for segment in check(plan_of(survey), "drains").result["runs"][0]["segments"]]
    assert slopes == ["ok", "ok"]


def test_a_plucked_strap_tells_its_tension_and_the_plan_reckons_with_it(survey: Survey) -> None:
    note(survey, "T1", method="pluck", frequency_hz=52, free_length_in=38)
    work_off(chain.ask(survey.pk).new)
    told = standing(survey, "strap_tension").result["readings"]
    key = str(survey.siting.straps.get(code="T1").pk)
    assert [reading["code"] for reading in told] == [key]
    for asked in (standing(survey, "straps"), check(plan_of(survey), "straps")):
        strap = next(each for each in asked.input["straps"] if each["code"] == key)
        assert strap["tension_lb"] == pytest.approx(told[0]["tension_lb"])


def test_a_strap_that_rings_is_tight_whatever_slack_was_noted(survey: Survey) -> None:
    note(survey, "T2", method="pluck", frequency_hz=38, free_length_in=45)
    asked = snapshots.straps_input(snapshots.Record(survey))
    strap = next(each for each in asked.straps if each.code == str(survey.siting.straps.get(code="T2").pk))
    assert survey.siting.straps.get(code="T2").slack_in > 0
    assert (strap.slack_in, (strap.tension_lb or 0) > 0) == (0.0, True)
    assert len(solve_straps(asked).straps) == 2


def test_a_strap_of_impossible_size_fails_its_own_answers_and_nothing_else(survey: Survey) -> None:
    """Width and thickness changed about, as a slip of the pen."""
    note(survey, "T1", method="pluck", frequency_hz=52, free_length_in=38)
    Strap.objects.filter(siting=survey.siting, code="T1").update(width_in="0.035", thickness_in="1.25")
    work_off(chain.ask(survey.pk).new)
    failed = set(Calculation.objects.exclude(state="done").values_list("kind", flat=True))
    assert failed == {"strap_tension", "straps"}
    assert standing(survey, "strap_tension").error["field"] == "readings[0].thickness_in"


def test_only_the_newest_check_of_a_strap_counts_and_a_look_tells_no_tension(survey: Survey) -> None:
    note(survey, "T1", method="gauge", tension_lb=400)
    note(survey, "T1", method="look")
    work_off(chain.ask(survey.pk).new)
    assert not Answer.objects.filter(survey=survey, kind="strap_tension").exists()
    note(survey, "T2", method="gauge", tension_lb=300)
    work_off(chain.ask(survey.pk).new)
    assert [each["tension_lb"] for each in standing(survey, "strap_tension").result["readings"]] == [300]


def test_straps_are_compared_across_the_home_and_with_the_visit_before(survey: Survey) -> None:
    left, right = survey.siting.straps.get(code="T1"), survey.siting.straps.get(code="T2")
    Point.objects.filter(pk=left.point_id).update(x_ft=10, y_ft=1)
    Point.objects.filter(pk=right.point_id).update(x_ft=12, y_ft=survey.siting.home.width_ft - 1)
    then = note(survey, "T1", method="gauge", tension_lb=900, noted_at=NOON - timedelta(days=365))
    note(survey, "T1", method="gauge", tension_lb=500, noted_at=NOON - timedelta(hours=1))
    note(survey, "T1", method="gauge", tension_lb=520, noted_at=NOON)
    note(survey, "T2", method="gauge", tension_lb=500, noted_at=NOON)
    work_off(chain.ask(survey.pk).new)
    sides, years = standing(survey, "strap_tension").result["comparisons"]
    assert (sides["first"], sides["second"]) == (str(left.pk), str(right.pk))
    assert not sides["comparison"]["differ"]
    assert years["first"] == f"{left.pk} {then.noted_at:%Y-%m-%d}"
    assert years["comparison"]["difference_lb"] == -380
    # 100 lb a reading: 1.96 x 141 = 277 lb is what chance makes of two.
    assert years["comparison"]["differ"]


@pytest.mark.parametrize(
    ("change", "kind"),
    [
        (lambda s: Support.objects.filter(point__siting=s.siting).update(has_sunk=True), "supports"),
        (lambda s: Strap.objects.filter(siting=s.siting).update(has_vertical_tie=True), "strap_spacing"),
        (lambda s: DrainNode.objects.filter(run__siting=s.siting, at_ft=20).update(invert_in=4), "drains"),
        (lambda s: Home.objects.filter(pk=s.siting.home_id).update(beam_i_in4=60), "frame"),
        (lambda s: Home.objects.filter(pk=s.siting.home_id).update(wall_finish="gypsum"), "passes"),
    ],
)  # fmt: skip
def test_what_a_check_asks_for_makes_its_plans_stale_and_is_asked_anew(
    survey: Survey, change: Any, kind: str
) -> None:
    work_off(chain.ask(survey.pk).new)
    assert why_stale(survey) is None
    before = check(plan_of(survey), kind).pk
    change(survey)
    survey = Survey.objects.select_related("siting__home").get(pk=survey.pk)
    assert why_stale(survey) == "record"
    work_off(chain.ask(survey.pk).new)
    assert why_stale(survey) is None
    assert check(plan_of(survey), kind).pk != before


def test_what_the_record_no_longer_has_is_no_longer_answered(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    Home.objects.filter(pk=survey.siting.home_id).update(wind_zone=None)
    survey.siting.drain_runs.update(archived_at=timezone.now())
    survey = Survey.objects.select_related("siting__home").get(pk=survey.pk)
    assert why_stale(survey) == "record"
    work_off(chain.ask(survey.pk).new)
    assert not Answer.objects.filter(survey=survey, kind__in=["strap_spacing", "drains"]).exists()
    assert not PlanCheck.objects.filter(
        plan__in=Plan.objects.current(), kind__in=["strap_spacing", "drains"]
    ).exists()
    assert why_stale(survey) is None


# -- a plan that is sure


def test_a_sure_plan_is_made_on_request_and_checked_like_the_others(survey: Survey) -> None:
    Survey.objects.filter(pk=survey.pk).update(reading_sd_in="0.02")
    work_off(chain.ask(survey.pk).new)
    assert not Plan.objects.filter(option="sure").exists()
    work_off(chain.ask_sure(survey.pk).new)
    plan = plan_of(survey, "sure")
    (option,) = plan.lift.result["options"]
    assert option["chance_within"] >= 0.95
    assert [each.option for each in Plan.objects.current().filter(is_recommended=True)] == ["raise_only"]
    assert {row.kind for row in plan.checks.all()} == {row.kind for row in plan_of(survey).checks.all()}
    assert why_stale(Survey.objects.select_related("siting__home").get(pk=survey.pk)) is None


def test_a_sure_plan_once_asked_for_follows_new_readings(survey: Survey) -> None:
    work_off(chain.ask(survey.pk).new)
    work_off(chain.ask_sure(survey.pk).new)
    first = standing(survey, "sure")
    leave_out(survey, ["D3"])
    work_off(chain.ask(submit(survey).pk).new)
    assert standing(survey, "sure") != first
    assert Answer.objects.get(survey=survey, kind="sure").revision == survey.revision


def test_without_heights_there_is_nothing_to_be_sure_of(survey: Survey) -> None:
    with pytest.raises(DomainError) as refused:
        services.request_sure_plan(survey)
    assert (refused.value.code, refused.value.status) == ("not_computed", 409)


# -- progress


def test_progress_counts_steps_and_never_says_done_too_early(
    survey: Survey, api_for: Callable[[User], APIClient], lead: User
) -> None:
    api = api_for(lead)
    address = f"/api/v1/surveys/{survey.pk}/calculations/"
    waiting = chain.ask(survey.pk).new
    seen = []
    while waiting:
        seen.append(api.get(address).json())
        waiting = [*waiting[1:], *runner.run(waiting[0])]
    assert {each["state"] for each in seen} == {"working"}
    assert [each["steps_done"] for each in seen] == list(range(len(seen)))
    last = api.get(address).json()
    assert (last["state"], last["steps"], last["steps_done"]) == ("done", len(seen), len(seen))
