"""What readings say against approving a plan, and what must be known of it though nothing is in the way."""

import datetime
from collections.abc import Callable

import pytest

from calcs.approving import told
from jobs.models import Connection, Finding, Strap, Support, User
from surveys.models import Reading, Survey
from tests.calcs.approvable import (
    MANAGERS,
    NOBODYS,
    approvable_survey,
    codes,
    plan_of,
    read_with_noise,
    recomputed,
    withdraw_readings,
)
from tests.calcs.working import HEIGHTS_IN, label_to_key, submit
from tests.factories import NOON, DrainRunFactory, SurveyFactory, make_reading

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    return approvable_survey()


def test_a_missing_closing_shot_is_a_managers_while_the_readings_are_checked(survey: Survey, lead: User) -> None:
    withdraw_readings(survey.readings.standing().filter(shot=Reading.Shot.CLOSING, setup__code="S2"))
    assert codes(recomputed(submit(survey)), lead) == {("not_closed", MANAGERS)}


def test_one_round_without_closing_shot_is_nobodys(survey: Survey, lead: User) -> None:
    withdraw_readings(survey.readings.standing().filter(setup__code="S2"))
    withdraw_readings(survey.readings.standing().filter(shot=Reading.Shot.CLOSING))
    found = codes(recomputed(submit(survey)), lead)
    assert {("not_closed", NOBODYS), ("provisional", NOBODYS)} <= found


def test_one_round_is_provisional_and_the_rest_unchecked(survey: Survey, lead: User) -> None:
    withdraw_readings(survey.readings.standing().filter(setup__code="S2"))
    found = codes(recomputed(submit(survey)), lead)
    assert {("provisional", NOBODYS), ("unchecked", MANAGERS)} <= found


def test_a_closing_shot_that_is_off_is_told(survey: Survey, lead: User) -> None:
    closing = survey.readings.standing().get(shot=Reading.Shot.CLOSING, setup__code="S2")
    off = float(closing.value_in) + 0.25  # 3 sqrt(2) 0.02 in is 0.085 in
    make_reading(
        setup=closing.setup,
        point=closing.point,
        shot=closing.shot,
        sequence=closing.sequence,
        value_in=off,
        replaces=closing,
        reason="slip",
    )
    assert ("misclosure", MANAGERS) in codes(recomputed(submit(survey)), lead)


@pytest.mark.parametrize(("sd_in", "code"), [(0.06, "noisy"), (0.0005, "copied")])
def test_readings_that_scatter_other_than_the_method_are_told(
    survey: Survey, lead: User, sd_in: float, code: str
) -> None:
    Survey.objects.filter(pk=survey.pk).update(started_at=NOON - datetime.timedelta(days=1))
    other: Survey = SurveyFactory(siting=survey.siting, reading_sd_in="0.02")
    read_with_noise(other, sd_in=sd_in)
    assert (code, MANAGERS) in codes(recomputed(other), lead)


@pytest.mark.parametrize("turn", [lambda height: -height, lambda height: height / 25.4], ids=["turned", "scaled"])
def test_marks_show_a_turned_or_scaled_survey_against_the_one_before(
    survey: Survey, lead: User, turn: Callable[[float], float]
) -> None:
    Survey.objects.filter(pk=survey.pk).update(started_at=NOON - datetime.timedelta(days=300))
    other: Survey = SurveyFactory(siting=survey.siting, reading_sd_in="0.02")
    read_with_noise(other, seed=2, **{label: turn(height) for label, height in HEIGHTS_IN.items()})
    assert ("marks_jump", MANAGERS) in codes(recomputed(other), lead)


def test_a_home_that_moved_far_against_its_marks_is_told(survey: Survey, lead: User) -> None:
    Survey.objects.filter(pk=survey.pk).update(started_at=NOON - datetime.timedelta(days=300))
    other: Survey = SurveyFactory(siting=survey.siting, reading_sd_in="0.02")
    labels = [label for label in label_to_key(survey) if not label.startswith("BM")]
    moved = {label: HEIGHTS_IN.get(label, 0.0) + 3 for label in labels}
    read_with_noise(other, seed=2, **HEIGHTS_IN | moved)
    assert ("marks_jump", MANAGERS) in codes(recomputed(other), lead)


# -- what is told ----------------------------------------------------------------------------------------------------


def test_what_must_be_known_is_told(survey: Survey, lead: User) -> None:
    assert {remark.code for remark in told(plan_of(survey), lead)} == {"loosen", "paper"}
    Connection.objects.update(measured="not_measured", free_up_in=None, free_down_in=None, x_ft=2, y_ft=3)
    run = DrainRunFactory(siting=survey.siting)
    Strap.objects.update(slack_in=2)
    Finding.objects.filter(point__label="B1").delete()
    Support.objects.filter(point__label="A1").update(height_in=None)
    remarks = {remark.code: remark.words for remark in told(recomputed(survey), lead)}
    assert remarks.keys() == {"unmeasured_moved", "drain_unmeasured", "not_looked_at", "no_height", "paper"}
    assert run.code in remarks["drain_unmeasured"]
    assert "B1" in remarks["not_looked_at"]
