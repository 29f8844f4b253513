"""What is in the way of approving a plan: each reason by itself, who may sign past it, and what approving keeps."""

import datetime
import re
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from calcs import approving
from calcs.approving import approve, standing_approval, why_not_standing, why_not_start, withdraw
from calcs.models import Answer, Approval, PassEntry, Plan
from jobs.assessing import override_block
from jobs.errors import DomainError
from jobs.models import Connection, Finding, Home, Paper, Siting, Support, User
from surveys.models import Setup, Survey
from tests.calcs.approvable import (
    MANAGERS,
    NOBODYS,
    approvable_survey,
    assess,
    codes,
    fresh,
    plan_of,
    read_with_noise,
    recomputed,
)
from tests.calcs.working import label_to_key, submit
from tests.factories import (
    NOON,
    CompanyFactory,
    RuleSetFactory,
    SetupFactory,
    SurveyFactory,
    UserFactory,
    make_reading,
)
from tests.jobs.test_two_at_once import at_the_same_time

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    return approvable_survey()


@pytest.fixture
def people(lead: User, manager: User) -> tuple[User, User]:
    return lead, manager


def test_a_plan_with_nothing_in_the_way_is_a_leads(survey: Survey, lead: User, manager: User) -> None:
    assert codes(plan_of(survey), lead) == codes(plan_of(survey), manager) == set()


def test_the_table_of_refusals_is_that_of_the_code() -> None:
    source = "".join(path.read_text() for path in Path(approving.__file__).parent.glob("of_*.py"))
    source += (Path(approving.__file__).parent / "since.py").read_text()
    rows = re.findall(r"^    ([a-z_, ]+?)  +\S", approving.__doc__ or "", re.MULTILINE)
    listed = {code for row in rows for code in row.split(", ")} - {"code", " "}
    assert sorted(code for code in listed if f'"{code}"' not in source) == []
    assert set(re.findall(r'(?:nobodys|managers|make)\("(\w+)"', source)) - listed == set()


# -- the home and the record -----------------------------------------------------------------------------------------


def _archive(survey: Survey) -> None:
    Home.objects.update(archived_at=timezone.now())


def _move_away(survey: Survey) -> None:
    Siting.objects.update(to_on=datetime.date(2026, 6, 1))


def _late_reading(survey: Survey) -> None:
    submit(survey)


def _travel(survey: Survey) -> None:
    Connection.objects.update(free_up_in="0.125")


def _reopen(survey: Survey) -> None:
    Survey.objects.update(state="open", submitted_at=None, revision=0)
    Answer.objects.update(revision=0)


def _read_later(survey: Survey) -> None:
    later = SurveyFactory(
        siting=survey.siting,
        started_at=NOON + datetime.timedelta(days=1),
        state="submitted",
        submitted_at=timezone.now(),
        revision=1,
    )
    make_reading(setup=SetupFactory(survey=later), point=survey.siting.points.get(label="A1"))


def _work(survey: Survey) -> None:
    noted_at = survey.started_at + datetime.timedelta(hours=5)
    point = survey.siting.points.get(label="A1")
    PassEntry.objects.create(
        plan=plan_of(survey), point=point, pass_number=1, author=UserFactory(), noted_at=noted_at
    )


def _correct_twice(survey: Survey) -> None:
    reading = survey.readings.standing().filter(point__label="B1")[0]
    make_reading(
        setup=reading.setup, point=reading.point, value_in=9, replaces=reading, is_contested=True, reason="mine"
    )


def _provisional(survey: Survey) -> None:
    Plan.objects.update(is_provisional=True, provisional_points=[label_to_key(survey)["A1"]])


def _untried(survey: Survey) -> None:
    Setup.objects.filter(code="S2").update(sense_trial="not_made")


def _unassessed(survey: Survey) -> None:
    survey.siting.assessments.all().delete()


def _leak(survey: Survey) -> None:
    assess(survey.siting, has_active_leak=True)


def _engineer_first(survey: Survey) -> None:
    assess(survey.siting, verdict="engineer", reason="cracks")


def _gap_in_a_finding(survey: Survey) -> None:
    point = survey.siting.points.get(label="B2")
    Finding.objects.create(
        siting=survey.siting,
        point=point,
        grade="note",
        text="hangs",
        figures={"gap_in": "0.25"},
        author=UserFactory(),
        noted_at=NOON,
    )


def _unfinished(survey: Survey) -> None:
    check = plan_of(survey).checks.get(kind="supports")
    check.delete()


@pytest.mark.parametrize("by", ["lead", "manager"])
def test_what_needs_no_new_calculation(survey: Survey, by: str, request: pytest.FixtureRequest) -> None:
    person = request.getfixturevalue(by)
    expected: dict[Callable[[Survey], None], tuple[str, bool]] = {
        _archive: ("archived", NOBODYS),
        _move_away: ("siting_over", NOBODYS),
        _late_reading: ("replaced", NOBODYS),
        _travel: ("stale_record", NOBODYS),
        _reopen: ("not_handed_in", NOBODYS),
        _read_later: ("newer_survey", NOBODYS),
        _work: ("worked_on", NOBODYS),
        _correct_twice: ("contested", NOBODYS),
        _provisional: ("provisional", NOBODYS),
        _untried: ("sense_not_tried", NOBODYS),
        _unassessed: ("no_assessment", NOBODYS),
        _leak: ("block", NOBODYS),  # signed past on the assessment, not here
        _engineer_first: ("block", NOBODYS),
        _gap_in_a_finding: ("not_recorded", MANAGERS),
        _unfinished: ("checks_waiting", NOBODYS),
    }
    plan = plan_of(survey)
    for change, (code, is_for_manager) in expected.items():
        with transaction.atomic():
            change(fresh(survey))
            again = Plan.objects.select_related("survey__siting__home", "lift").get(pk=plan.pk)
            assert codes(again, person) == {(code, is_for_manager)}, change.__name__
            with pytest.raises(DomainError) as refused:
                approve(again, person)
            assert refused.value.fields.keys() >= ({"reason"} if is_for_manager and by == "manager" else {code})
            if is_for_manager and by == "manager":
                assert approve(again, person, "seen").is_by_manager
            transaction.set_rollback(True)


def test_a_signed_block_is_no_block_any_more(survey: Survey, lead: User, manager: User) -> None:
    assessment = assess(survey.siting, has_active_leak=True)
    override_block(assessment, "active_leak", manager, "the plumber comes tomorrow")
    assert codes(plan_of(survey), lead) == set()


def test_office_and_crew_approve_nothing(survey: Survey, office: User, crew: User) -> None:
    for person in (office, crew):
        assert codes(plan_of(survey), person) == {("role", NOBODYS)}
        with pytest.raises(DomainError) as refused:
            approve(plan_of(survey), person)
        assert refused.value.status == 403


# -- limits of a lead, and an engineer's matters ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "values"),
    [
        ("raise", {"lead_most_raise_in": 0.25}),
        ("touched", {"lead_most_touched": 0}),
        ("chance", {"lead_least_chance": 0.9, "seating_sd_in": 0.2}),
        ("jump", {"most_jump_in": 0.25}),
        ("jack_factor", {"jack_factor": 10, "jack_rated_lb": 8000}),
        ("jack_rating", {"jack_rated_lb": 500}),
    ],
)
def test_rules_say_what_a_lead_may_approve(
    survey: Survey, people: tuple[User, User], code: str, values: dict[str, float]
) -> None:
    lead, manager = people
    CompanyFactory(rule_set=RuleSetFactory(values=values))
    plan = recomputed(survey)
    # 29 CFR 1926.305(a)(1): no jack is loaded over its rated capacity, so nobody signs past that.
    is_for_manager = code != "jack_rating"
    assert (code, is_for_manager) in codes(plan, lead)
    if is_for_manager:
        with pytest.raises(DomainError) as refused:
            approve(plan, lead)
        assert (refused.value.code, refused.value.status) == ("for_manager", 409)
        assert approve(plan, manager, "seen it").reason == "seen it"


def test_a_move_beyond_what_walls_bear_waits_for_an_engineer(survey: Survey, manager: User) -> None:
    CompanyFactory(rule_set=RuleSetFactory(values={"engineer_over_panel_in": 0.5}))
    Support.objects.update(max_raise_in=2)  # somebody allowed more at the support
    plan = recomputed(survey)
    assert ("engineer_move", NOBODYS) in codes(plan, manager)
    with pytest.raises(DomainError):
        approve(plan, manager, "I know better")


def test_a_stack_over_67_in_is_an_engineers_where_it_is_touched(survey: Survey, manager: User) -> None:
    # 24 CFR 3285.306(a)(3): piers over 67 in high are designed by an engineer.
    a1 = Support.objects.filter(point__label="A1")
    a1.update(height_in=75, stack=None)
    plan = recomputed(survey)
    assert ("engineer_stack", NOBODYS) in codes(plan, manager)


def test_a_stack_over_67_in_that_nobody_touches_is_signed_past(survey: Survey, manager: User) -> None:
    Home.objects.update(label_number="XYZ 123456", built_on=datetime.date(1994, 5, 1), roof_live_psf=20)
    Support.objects.filter(point__label="C2").update(height_in=75, stack=None, tier="double")
    plan = recomputed(survey)
    assert label_to_key(survey)["C2"] not in {m["code"] for m in _moved(plan)}
    found = codes(plan, manager)
    assert ("stands_engineer", MANAGERS) in found
    assert not {code for code, is_for_manager in found if not is_for_manager}


def _moved(plan: Plan) -> list[dict[str, Any]]:
    options = plan.lift.result["options"] if plan.lift.result else []
    return [m for o in options if o["name"] == plan.option for m in o["moves"] if m["support_change_in"]]


def test_a_plan_that_does_nothing_is_not_approved(lead: User, survey: Survey) -> None:
    Survey.objects.filter(pk=survey.pk).update(started_at=NOON - datetime.timedelta(days=1))
    flat: Survey = SurveyFactory(siting=survey.siting, reading_sd_in="0.02")
    read_with_noise(flat, sd_in=0.005, BM1=3.0, BM2=4.0, BM3=5.0)
    assert ("nothing_to_do", NOBODYS) in codes(recomputed(flat), lead)


# -- approving, replacing, withdrawing -------------------------------------------------------------------------------


def test_numbers_grow_and_one_stands(survey: Survey, lead: User) -> None:
    first = approve(plan_of(survey), lead)
    with pytest.raises(DomainError) as again:
        approve(plan_of(survey), lead, "once more", replaces=first)
    assert again.value.code == "approved"
    second = approve(plan_of(survey, "flattest"), lead, "flatter", replaces=first)
    first.refresh_from_db()
    assert (first.number, first.withdrawn_by, first.withdrawn_why) == (1, lead, "flatter")
    assert (second.number, second.assessment, standing_approval(survey.siting)) == (2, first.assessment, second)
    withdraw(second, lead, "rain")
    assert standing_approval(survey.siting) is None
    assert approve(plan_of(survey), lead).number == 3


def test_the_database_lets_one_stand(survey: Survey, lead: User) -> None:
    first = approve(plan_of(survey), lead)
    first.pk, first._state.adding = None, True
    for number in (1, 2):
        first.number = number
        with pytest.raises(IntegrityError), transaction.atomic():
            Approval.objects.bulk_create([first])


def test_an_approval_holds_until_readings_record_or_assessment_change(survey: Survey, lead: User) -> None:
    approval = approve(plan_of(survey), lead)

    def why() -> str | None:
        return why_not_standing(standing_approval(survey.siting) or approval)

    assert why() is None
    changes: dict[Callable[[Survey], Any], str] = {
        _late_reading: "Readings have come in",
        _travel: "The layout, the home's record or the rules",
        _leak: "A newer assessment counts",
        lambda s: s.siting.assessments.get().save(): "The assessment was changed since",
        lambda s: Home.objects.update(has_foundation_letter=True): "a foundation letter is on file",
    }
    for change, words in changes.items():
        with transaction.atomic():
            change(fresh(survey))
            assert words in (why() or ""), words
            transaction.set_rollback(True)
    withdraw(approval, lead, "rain")
    approval.refresh_from_db()
    assert why_not_standing(approval) == "This approval is withdrawn."


def test_missing_papers_keep_from_starting_not_from_approving(survey: Survey, lead: User) -> None:
    today = timezone.localdate()
    approval = approve(plan_of(survey), lead)
    assert {refusal.code for refusal in why_not_start(approval, today)} == {
        *("paper_licence", "paper_insurance", "paper_jacks")
    }
    for kind in ("licence", "insurance", "jacks"):
        Paper.objects.create(kind=kind, number="7", issued_on=today, expires_on=today + datetime.timedelta(days=30))
    assert why_not_start(approval, today) == ()
    _late_reading(fresh(survey))
    assert [refusal.code for refusal in why_not_start(approval, today)] == ["not_standing"]


@pytest.mark.django_db(transaction=True)
def test_of_two_who_approve_at_once_one_stands_and_the_other_is_told() -> None:
    survey, leads = approvable_survey(), [UserFactory(roles=["crew_lead"]) for _ in range(2)]
    plans = [plan_of(survey), plan_of(survey, "flattest")]
    works = [partial(approve, plan, lead) for plan, lead in zip(plans, leads, strict=True)]
    answers = at_the_same_time(*works)
    (approval,) = [answer for answer in answers if isinstance(answer, Approval)]
    (refused,) = [answer for answer in answers if isinstance(answer, DomainError)]
    assert (refused.status, list(refused.fields)) == (409, ["replaces"])
    assert list(Approval.objects.all()) == [approval]


@pytest.mark.django_db(transaction=True)
def test_of_two_who_replace_an_approval_at_once_one_does() -> None:
    survey, lead = approvable_survey(), UserFactory(roles=["crew_lead"])
    first = approve(plan_of(survey), lead)
    works = [partial(approve, plan_of(survey, "flattest"), lead, "flatter", replaces=first) for _ in range(2)]
    answers = at_the_same_time(*works)
    assert sorted(type(answer).__name__ for answer in answers) == ["Approval", "DomainError"]
    assert list(Approval.objects.order_by("number").values_list("number", flat=True)) == [1, 2]
    assert Approval.objects.standing().count() == 1
