"""The page on which a plan is chosen: its columns are the plans' own checks, trials stand beside."""

import re
import uuid
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from calcs import chain
from calcs.choosing import HEADS
from calcs.engine.stacks import DEFAULT_PARTS, DEFAULT_RULES
from calcs.models import Answer, Calculation, Plan, PlanCheck
from jobs.models import Assessment, Connection, DoorsWindows, DrainNode, DrainRun, Home, Strap, Support, User
from surveys.models import Survey
from tests.calcs.test_views import shown as survey_shown
from tests.calcs.working import check, label_to_key, read_survey, standing, work_off

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]


@pytest.fixture
def survey(db: None) -> Survey:
    """A home with a drain that holds it, a run of pipe, and a plan for every option."""
    found = read_survey()
    Connection.objects.update(free_up_in=0, free_down_in=0, x_ft=2, y_ft=3, trade="plumber")
    run = DrainRun.objects.create(siting=found.siting, code="DN1", diameter_in=3)
    for at_ft, invert_in in ((0, "10"), (10, "9.9"), (20, "5")):
        DrainNode.objects.create(run=run, at_ft=at_ft, invert_in=Decimal(invert_in), x_ft=2 + at_ft, y_ft=4)
    Home.objects.filter(pk=found.siting.home_id).update(roof_live_psf=20, soil_class="4A")
    work_off(chain.ask(found.pk).new)
    return Survey.objects.select_related("siting__home").get(pk=found.pk)


def address(survey: Survey) -> str:
    return reverse("survey-plans", args=[survey.pk])


def plain(response: Any) -> str:
    """Return a page's text with fractions as they were typed and no-break spaces as spaces."""
    found: str = re.sub(r"</?(?:span|tspan)[^>]*>", "", response.content.decode())
    return found.replace("\u00a0", " ")


def shown(client: Client, survey: Survey, **query: str) -> tuple[Any, str]:
    response = client.get(address(survey), query)
    assert response.status_code == 200
    return response.context["page"], plain(response)


def cells(page: Any, option: str) -> dict[str, Any]:
    """Return an option's cells by their English heads."""
    return next(dict(column.cells) for column in page.columns if column.view.name == option)


def plan_of(survey: Survey, option: str = "least_work") -> Plan:
    return Plan.objects.current().get(survey=survey, option=option)


def names(survey: Survey) -> dict[str, str]:
    return {key: label for label, key in label_to_key(survey).items()}


# -- the columns --------------------------------------------------------------------------------------------------


def test_there_is_a_column_for_every_plan_with_a_cell_under_every_head(
    client_for: ClientFor, lead: User, survey: Survey
) -> None:
    page, text = shown(client_for(lead), survey)
    assert [column.view.name for column in page.columns] == list(
        Plan.objects.current().filter(survey=survey).order_by("pk").values_list("option", flat=True)
    )
    for column in page.columns:
        assert [head for head, _cell in column.cells] == [str(head) for head in HEADS]
        assert all(cell.lines for _head, cell in column.cells)
    assert text.count("<h2") >= 4


def test_the_style_stands_as_many_rows_on_end_as_there_are() -> None:
    css = Path(settings.BASE_DIR, "jobs/static/jobs/site.css").read_text()
    rows = re.search(r"table\.compared \{[^}]*grid-template-rows: repeat\((\d+)", css)
    assert rows is not None
    assert int(rows[1]) == len(HEADS) + 1


def test_cells_say_what_the_plan_and_its_checks_say(client_for: ClientFor, lead: User, survey: Survey) -> None:
    page, _text = shown(client_for(lead), survey)
    for column in page.columns:
        plan = plan_of(survey, column.view.name)
        said = cells(page, plan.option)
        option = next(o for o in plan.lift.result["options"] if o["name"] == plan.option)
        assert said["supports touched"].lines == (str(option["touched"]),)
        loose = [s for s in check(plan, "straps").result["straps"] if s["handling"] == "loosen_first"]
        assert said["straps to loosen"].lines[0].startswith(f"{len(loose)}:" if loose else "none")
        assert said["chance to end within tolerance"].notes == ("doors not tested",)
        passes = check(plan, "passes").result
        steps = [step for each in passes["passes"] for group in each["groups"] for step in group]
        worst = max(steps, key=lambda step: step["jack_lb"])
        line = f"{worst['jack_lb']:,.0f} lb at {names(survey)[worst['code']]}"
        assert said["hardest push of a jack"].lines[0].startswith(line)
        assert said["hardest push of a jack"].is_bad == (not all(step["jack_ok"] for step in steps))
        count = len(passes["passes"])
        assert said["passes and days"].lines[0].startswith(f"{count} pass")
        assert f"{passes['days']} day" in said["passes and days"].lines[0]
        verdicts = [each["verdict"] for each in check(plan, "supports").result["supports"]]
        for verdict, words in (("over", "over a limit"), ("engineer", "for an engineer")):
            told = [text for text in said["supports beyond limits"].lines if words in text]
            assert [text.split()[0] for text in told] == (
                [str(verdicts.count(verdict))] if verdict in verdicts else []
            )
        unknown = verdicts.count("unknown")
        assert said["supports beyond limits"].notes == ((f"{unknown} not known",) if unknown else ())


def test_the_parts_weigh_what_the_stacks_ask_for(client_for: ClientFor, lead: User, survey: Survey) -> None:
    page, _text = shown(client_for(lead), survey)
    stacks = check(plan_of(survey), "stacks")
    asked = stacks.result["totals"]
    lb = {part.code: part.lb for part in DEFAULT_PARTS} | {"shims": DEFAULT_RULES.shims_lb}
    total = sum(count * lb[code] for code, count in asked.items())
    assert cells(page, "least_work")["parts to load"].lines == (f"{total:,.0f} lb",)


def test_freed_connections_stand_by_trade_with_their_minutes(
    client_for: ClientFor, lead: User, survey: Survey
) -> None:
    page, _text = shown(client_for(lead), survey)
    freed = [column for column in page.columns if column.view.freed]
    assert freed
    for column in freed:
        lines = dict(column.cells)["to free, by whom"].lines
        assert any(line.startswith("licensed plumber: ") and "DR1 (35 min)" in line for line in lines)


def test_drains_that_fail_are_named_and_those_that_failed_before_too(
    client_for: ClientFor, lead: User, survey: Survey
) -> None:
    page, _text = shown(client_for(lead), survey)
    for column in page.columns:
        run = check(plan_of(survey, column.view.name), "drains").result["runs"][0]
        assert {part["verdict"] for part in run["segments"]} != {"ok"}  # its first stretch falls 0.01 in a foot
        cell = dict(column.cells)["drains that fail"]
        assert cell.is_bad
        assert cell.lines[0].startswith("DN1: ")
    DrainNode.objects.filter(at_ft=10).update(invert_in=Decimal("7.5"))
    Connection.objects.update(free_min=Decimal(1))
    work_off(chain.ask(survey.pk).new)
    page, _text = shown(client_for(lead), survey)
    assert cells(page, "least_work")["drains that fail"].lines == ("none fails",)


def test_a_run_that_the_plan_hangs_anew_does_not_fail(client_for: ClientFor, lead: User, survey: Survey) -> None:
    DrainNode.objects.filter(at_ft=10).update(invert_in=Decimal("7.5"))
    DrainRun.objects.update(rehang_min=Decimal(20))
    work_off(chain.ask(survey.pk).new)
    plan = plan_of(survey)
    run = DrainRun.objects.get()
    drains = check(plan, "drains")
    drains.result["runs"][0]["segments"][0]["verdict"] = "flat"
    twin = _twin(drains, "queued")
    Calculation.objects.filter(pk=twin.pk).update(state="done", result=drains.result, finished_at=drains.finished_at)
    PlanCheck.objects.filter(plan=plan, kind="drains").update(calculation=twin)
    cell = cells(shown(client_for(lead), survey)[0], "least_work")["drains that fail"]
    assert (cell.lines, cell.is_bad) == (("DN1: too flat",), True)
    lift = plan.lift.result
    next(option for option in lift["options"] if option["name"] == "least_work")["freed"] = [f"{run.pk} 0 to 10 ft"]
    other = _twin(plan.lift, "queued")
    Calculation.objects.filter(pk=other.pk).update(state="done", result=lift, finished_at=plan.lift.finished_at)
    Plan.objects.filter(lift=plan.lift).update(lift=other)
    Answer.objects.filter(kind="lift").update(calculation=other)
    said = cells(shown(client_for(lead), survey)[0], "least_work")
    assert (said["drains that fail"].lines, said["drains that fail"].is_bad) == (("none fails",), False)
    assert said["drains that fail"].notes == ("DN1: hung anew",)
    assert said["to free, by whom"].lines == ("hang anew: DN1 0 to 10 ft (20 min)",)


def test_what_is_not_recorded_is_said_to_be_so(client_for: ClientFor, lead: User) -> None:
    survey = read_survey()
    Strap.objects.filter(siting=survey.siting).archive()
    Support.objects.filter(point__siting=survey.siting).update(height_in=None)
    work_off(chain.ask(survey.pk).new)
    page, _text = shown(client_for(lead), survey)
    said = cells(page, "least_work")
    assert said["straps to loosen"].lines == ("none recorded",)
    assert said["drains that fail"].lines == ("no run recorded",)
    assert said["parts to load"].lines == ("none: no support of known height is touched",)
    assert not said["drains that fail"].is_bad


def test_a_check_that_waits_or_failed_is_told(
    client_for: ClientFor, lead: User, survey: Survey, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = plan_of(survey)
    waiting = _twin(check(plan, "passes"), "queued")
    PlanCheck.objects.filter(plan=plan, kind="passes").update(calculation=waiting)
    page, _text = shown(client_for(lead), survey)
    assert cells(page, "least_work")["passes and days"].lines == ("being computed",)
    assert cells(page, "least_work")["stops"].lines == ("being computed",)
    assert page.progress.state == "working"
    Calculation.objects.filter(pk=waiting.pk).update(state="failed", error={"code": "fault", "message": "-"})
    page, _text = shown(client_for(lead), survey)
    assert cells(page, "least_work")["hardest push of a jack"].lines == ("could not be computed",)
    assert cells(page, "least_work")["hardest push of a jack"].is_bad


def _twin(calculation: Calculation, state: str) -> Calculation:
    return Calculation.objects.create(
        kind=calculation.kind,
        survey=calculation.survey,
        input=calculation.input,
        input_sha256=uuid.uuid4().hex * 2,
        engine_version=calculation.engine_version,
        state=state,
    )


def test_jacks_that_bear_too_little_and_stops_are_told(client_for: ClientFor, lead: User, survey: Survey) -> None:
    plan = plan_of(survey)
    passes = check(plan, "passes")
    result = passes.result
    step = result["passes"][0]["groups"][0][0]
    step |= {"jack_ok": False, "jack_lb": 99999.0}
    stop = f"The jack at {step['code']} would push 99999 lb in pass 1: too much for its rating."
    result["stops"] = [{"code": step["code"], "text": stop}]
    twin = _twin(passes, "queued")
    Calculation.objects.filter(pk=twin.pk).update(state="done", result=result, finished_at=passes.finished_at)
    PlanCheck.objects.filter(plan=plan, kind="passes").update(calculation=twin)
    page, _text = shown(client_for(lead), survey)
    label = names(survey)[step["code"]]
    said = cells(page, "least_work")
    assert said["hardest push of a jack"].lines == (
        f"99,999 lb at {label}, pass 1",
        f"more than the jacks may bear: {label}",
    )
    assert said["stops"].lines == (f"The jack at {label} would push 99999 lb in pass 1: too much for its rating.",)
    assert (said["hardest push of a jack"].is_bad, said["stops"].is_bad) == (True, True)


def _with_chances(survey: Survey, chances: dict[str, float]) -> None:
    """Have the lift say other chances: as a newer calculation, for what is done never changes."""
    lift = standing(survey, "lift")
    result = lift.result
    for option in result["options"]:
        option["chance_within"] = chances[option["name"]]
    twin = _twin(lift, "queued")
    Calculation.objects.filter(pk=twin.pk).update(state="done", result=result, finished_at=lift.finished_at)
    Answer.objects.filter(survey=survey, kind="lift").update(calculation=twin)
    Plan.objects.filter(lift=lift).update(lift=twin)


def test_a_poor_chance_of_what_is_recommended_is_explained_with_what_would_be_surer(
    client_for: ClientFor, lead: User, survey: Survey
) -> None:
    client = client_for(lead)
    chances = dict.fromkeys(("least_work", "raise_only", "lower_only"), 0.16) | {"flattest": 0.84}
    _with_chances(survey, chances)
    page, text = shown(client, survey)
    meaning, surest, asking = page.chances
    assert "a chance of 16 % means that about 84 of 100 such lifts leave a pair beyond its tolerance" in meaning
    assert surest.startswith("The surest of these is “flattest”: 84 %, for ")
    assert "Or ask below for a plan" in asking
    assert all(words in text for words in page.chances)
    _with_chances(survey, dict.fromkeys(chances, 0.16))
    assert [words for words in shown(client, survey)[0].chances if "surest" in words] == []
    _with_chances(survey, dict.fromkeys(chances, 0.97))
    assert shown(client, survey)[0].chances == ()


# -- the chosen one, doors and noise ------------------------------------------------------------------------------


def test_the_chosen_option_has_its_maps_and_what_holds_it_back(
    client_for: ClientFor, lead: User, survey: Survey
) -> None:
    client = client_for(lead)
    page, text = shown(client, survey, option="flattest")
    assert page.chosen.name == "flattest"
    assert len(page.maps) == 2
    assert text.count('class="plan level-map"') == 4  # before and after, flat and turned
    assert "after “flattest”" in text
    assert page.plan == plan_of(survey, "flattest")
    page, text = shown(client, survey, option="least_work")
    assert page.chosen.binding
    assert "What holds “least work” back" in text
    assert shown(client, survey, option="no_such")[0].chosen.is_recommended


def assess(survey: Survey, doors: str) -> None:
    Assessment.objects.create(
        siting=survey.siting,
        author=User.objects.all()[0],
        cause="unknown",
        water="none",
        soil="moist",
        verdict="lift",
        doors_windows=doors,
    )


@pytest.mark.parametrize(
    ("doors", "is_told"), [(None, True), ("not_tested", True), ("work", False), ("stick", False)]
)
def test_within_lacks_doors_and_windows_until_they_are_tested(
    client_for: ClientFor, lead: User, survey: Survey, doors: str | None, is_told: bool
) -> None:
    if doors:
        assess(survey, DoorsWindows(doors))
    page, text = shown(client_for(lead), survey)
    assert bool(page.doors) == is_told
    assert ("doors not tested" in text) == is_told


def test_the_surveys_own_within_lacks_them_too(client_for: ClientFor, lead: User) -> None:
    level = read_survey({"BM1": 3.0, "BM2": 4.0, "BM3": 5.0})
    work_off(chain.ask(level.pk).new)
    page, _text = survey_shown(client_for(lead), level)
    assert page.flatness.verdict == "within"
    assert page.flatness.doors
    assess(level, DoorsWindows.WORK)
    assert not survey_shown(client_for(lead), level)[0].flatness.doors


def test_a_large_move_is_above_the_noise(client_for: ClientFor, lead: User, survey: Survey) -> None:
    page, _text = shown(client_for(lead), survey)
    cell = cells(page, "least_work")["against the noise of the readings"]
    assert (cell.lines, cell.is_bad) == (("above the noise",), False)
    assert "at A1; told apart from" in cell.notes[0]


def test_a_plan_that_may_lift_nothing_but_noise_says_so(client_for: ClientFor, lead: User) -> None:
    # 5/16 in out by readings of 1/4 in each: nothing of it is sure.
    survey = read_survey({"A1": -0.3125}, reading_sd_in=Decimal("0.25"))
    work_off(chain.ask(survey.pk).new)
    page, _text = shown(client_for(lead), survey)
    assert page.flatness.over == 0
    for column in page.columns:
        cell = dict(column.cells)["against the noise of the readings"]
        assert cell.is_bad
        assert "smaller than the noise: it may lift nothing else; read again first" in cell.lines
        assert "no pair is surely over its tolerance" in cell.lines


# -- the curve ----------------------------------------------------------------------------------------------------


def test_the_curve_stands_as_a_drawing_and_as_the_same_numbers(
    client_for: ClientFor, lead: User, survey: Survey
) -> None:
    page, text = shown(client_for(lead), survey)
    points = standing(survey, "lift_curve").result["points"]
    assert [point.minutes for point in page.curve.picture.points] == [point["minutes"] for point in points]
    assert text.count('class="curve-drawing"') == 2
    keys = {freeing["code"] for point in points for freeing in point["freeing"]}
    assert keys
    for row, point in zip(page.curve.rows, points, strict=True):
        saved = dict(row.saves)
        assert len(saved) == len(keys)
        assert sum(bool(words) for words in saved.values()) == len(point["freeing"])


# -- how often it asks the database -------------------------------------------------------------------------------


def test_it_asks_as_often_for_one_plan_as_for_four(client_for: ClientFor, lead: User, survey: Survey) -> None:
    client = client_for(lead)

    def queries() -> int:
        with CaptureQueriesContext(connection) as captured:
            client.get(address(survey))
        return len(captured)

    assert Plan.objects.count() == 4
    four = queries()
    PlanCheck.objects.exclude(plan__option="raise_only").delete()
    Plan.objects.exclude(option="raise_only").delete()
    assert Plan.objects.count() == 1
    assert queries() == four


# -- a plan that is sure ------------------------------------------------------------------------------------------


def test_a_sure_plan_is_asked_for_and_becomes_a_column(client_for: ClientFor, lead: User, survey: Survey) -> None:
    client = client_for(lead)
    button = "Plan so that it ends within tolerance"
    assert button in shown(client, survey)[1]
    response = client.post(reverse("survey-sure-plan-page", args=[survey.pk]))
    assert response["Location"] == address(survey)
    page, text = shown(client, survey)
    assert (page.progress.state, button in text) == ("working", False)
    work_off([Answer.objects.get(survey=survey, kind="sure").calculation_id])
    page, _text = shown(client, survey, option="sure")
    assert [column.view.name for column in page.columns][-1] == "sure"
    assert page.chosen.name == "sure"
    chance = plan_of(survey, "sure").lift.result["options"][0]["chance_within"]
    assert chance >= 0.95
    told = "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
    assert cells(page, "sure")["chance to end within tolerance"].lines == (told,)
    assert survey_shown(client, survey, option="sure")[0].chosen.chance == told  # on the survey's own page too


def test_a_sure_plan_without_heights_is_refused_plainly(client_for: ClientFor, lead: User) -> None:
    survey = read_survey()
    response = client_for(lead).post(reverse("survey-sure-plan-page", args=[survey.pk]))
    assert response.status_code == 409
    assert "There are no heights of the newest readings yet" in plain(response)


# -- before there is anything, and for whom -----------------------------------------------------------------------


def test_before_there_are_heights_the_page_says_so(client_for: ClientFor, lead: User) -> None:
    page, text = shown(client_for(lead), read_survey())
    assert (page.columns, page.curve, page.plan) == ((), None, None)
    assert "Try it" not in text
    assert "Plan so that it ends within tolerance" not in text


@pytest.mark.parametrize("name", ["survey-plans", "survey-plans-progress"])
def test_signed_out_and_unknown(client: Client, client_for: ClientFor, lead: User, name: str) -> None:
    unknown = reverse(name, args=[uuid.uuid4()])
    assert client.get(unknown)["Location"].startswith(reverse("sign-in"))
    assert client_for(lead).get(unknown).status_code == 404


def test_the_survey_page_leads_here_and_tells_the_chance(client_for: ClientFor, lead: User, survey: Survey) -> None:
    page, text = survey_shown(client_for(lead), survey, option="flattest")
    assert f'href="{address(survey)}?option=flattest"' in text
    options = {option["name"]: option for option in standing(survey, "lift").result["options"]}
    for view in page.options:
        chance = options[view.name]["chance_within"]
        expected = "over 99 %" if chance > 0.99 else "under 1 %" if chance < 0.01 else f"{round(100 * chance)} %"
        assert view.chance == expected
        assert f">{expected}</td>" in text
