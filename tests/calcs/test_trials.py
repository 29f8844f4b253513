"""Trials: other limits than the record's, computed to be looked at, and nothing else follows."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from calcs import chain, codec, runner, services, snapshots
from calcs.engine.levels import LevelsResult
from calcs.engine.lift import LiftInput, LiftResult, solve_lift
from calcs.models import Answer, Calculation, Plan, PlanCheck, Trial
from calcs.trials import Changes, ConnectionChange, SupportChange, changed_lift
from jobs.errors import DomainError
from jobs.models import Connection, DrainNode, DrainRun, Support, User
from surveys.models import Survey
from tests.calcs.working import label_to_key, read_survey, standing, submit, work_off

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    """A home that a drain with no travel holds down: freeing it takes 35 minutes."""
    found = read_survey()
    Connection.objects.update(free_up_in=0, free_down_in=0, x_ft=2, y_ft=3)
    work_off(chain.ask(found.pk).new)
    return found


def document(survey: Survey, changes: Changes) -> tuple[LiftInput, LiftInput]:
    """Return a survey's lift as recorded, and as changed."""
    record = snapshots.Record(survey)
    levels = codec.decode(standing(survey, "levels").result or {}, LevelsResult)
    return snapshots.lift_input(record, levels), changed_lift(record, levels, changes)


def drain(survey: Survey) -> str:
    return str(survey.siting.connections.get(code="DR1").pk)


def free(survey: Survey) -> Changes:
    return Changes(connections=(ConnectionChange(connection=drain(survey), is_free=True),))


def support(lift: LiftInput, key: str) -> Any:
    return next(each for each in lift.supports if each.code == key)


# -- what is computed ---------------------------------------------------------------------------------------------


def test_a_trial_answers_the_changed_question_and_nothing_follows_it(survey: Survey, lead: User) -> None:
    before = (Plan.objects.count(), PlanCheck.objects.count(), Answer.objects.count(), standing(survey, "lift"))
    trial = services.request_trial(survey, free(survey), by=lead)
    assert (trial.revision, trial.asked_by, trial.calculation.state) == (survey.revision, lead, "queued")
    assert work_off([trial.calculation_id]) == [trial.calculation_id]  # nothing else came of it
    after = (Plan.objects.count(), PlanCheck.objects.count(), Answer.objects.count(), standing(survey, "lift"))
    assert after == before
    trial.calculation.refresh_from_db()
    recorded, changed = document(survey, free(survey))
    assert changed.connections == (replace(recorded.connections[0], free_min=0.0),)
    tried = codec.decode(trial.calculation.result or {}, LiftResult)
    assert [option.minutes for option in tried.options] == [option.minutes for option in solve_lift(changed).options]
    least, asked = (
        next(option for option in lift.options if option.name == "least_work")
        for lift in (codec.decode(standing(survey, "lift").result or {}, LiftResult), tried)
    )
    assert least.minutes is not None
    assert asked.minutes is not None
    assert asked.minutes < least.minutes


def test_what_freeing_saves_is_what_the_plan_says_of_the_connection(survey: Survey, lead: User) -> None:
    lift = codec.decode(standing(survey, "lift").result or {}, LiftResult)
    told = {
        option.name: next(each.saves_min for each in option.binding if each.kind == "connection")
        for option in lift.options
        if any(each.kind == "connection" for each in option.binding)
    }
    assert told
    trial = services.request_trial(survey, free(survey), by=lead)
    work_off([trial.calculation_id])
    trial.calculation.refresh_from_db()
    tried = {o.name: o.minutes for o in codec.decode(trial.calculation.result or {}, LiftResult).options}
    for option in lift.options:
        if option.name in told:
            saved = (option.minutes or 0.0) - (tried[option.name] or 0.0)
            assert saved == pytest.approx(told[option.name], abs=0.01), option.name


def test_the_same_trial_twice_is_computed_once(survey: Survey, lead: User) -> None:
    first = services.request_trial(survey, free(survey), by=lead)
    second = services.request_trial(survey, free(survey), by=lead)
    assert first.calculation == second.calculation
    assert Trial.objects.count() == 2


def test_a_trial_of_what_is_recorded_finds_the_standing_lift(survey: Survey, lead: User) -> None:
    tolerance_in = document(survey, Changes(tolerance_in=0.25))[0].tolerance_in
    trial = services.request_trial(survey, Changes(tolerance_in=tolerance_in), by=lead)
    assert trial.calculation == standing(survey, "lift")


def test_what_was_tried_becomes_the_plan_once_it_is_recorded(survey: Survey, lead: User) -> None:
    changes = Changes(connections=(ConnectionChange(connection=drain(survey), free_up_in=2.0, free_down_in=2.0),))
    trial = services.request_trial(survey, changes, by=lead)
    work_off([trial.calculation_id])
    assert not Plan.objects.filter(lift=trial.calculation).exists()
    Connection.objects.filter(pk=drain(survey)).update(free_up_in=2, free_down_in=2)
    work_off(chain.ask(survey.pk).new)
    assert standing(survey, "lift") == trial.calculation
    assert Plan.objects.current().filter(lift=trial.calculation).exists()


# -- the changes --------------------------------------------------------------------------------------------------


def test_a_connections_travel_is_changed_in_one_way_and_stays_in_the_other(survey: Survey) -> None:
    recorded, changed = document(
        survey, Changes(connections=(ConnectionChange(connection=drain(survey), free_up_in=0.75),))
    )
    assert changed.connections == (replace(recorded.connections[0], free_up_in=0.75),)
    assert replace(changed, connections=recorded.connections) == recorded


def test_a_supports_limits_are_its_own(survey: Survey) -> None:
    a1 = label_to_key(survey)["A1"]
    recorded, changed = document(survey, Changes(supports=(SupportChange(point=a1, max_raise_in=0.5),)))
    assert support(changed, a1) == replace(support(recorded, a1), max_raise_in=0.5)
    assert [s for s in changed.supports if s.code != a1] == [s for s in recorded.supports if s.code != a1]
    lowered = document(survey, Changes(supports=(SupportChange(point=a1, max_lower_in=0.25),)))[1]
    assert support(lowered, a1) == replace(support(recorded, a1), max_lower_in=0.25)


def test_a_raise_for_all_leaves_the_smaller_limit_that_somebody_set(survey: Survey) -> None:
    keys = label_to_key(survey)
    Support.objects.filter(point__siting=survey.siting, point__label="B2").update(max_raise_in=Decimal("0.5"))
    one = document(survey, Changes(max_raise_in=3.0))[1]
    assert support(one, keys["B2"]).max_raise_in == 0.5
    assert {each.max_raise_in for each in one.supports if each.code != keys["B2"]} == {3.0}
    other = document(survey, Changes(max_raise_in=0.25))[1]
    assert {each.max_raise_in for each in other.supports} == {0.25}
    named = Changes(max_raise_in=0.25, supports=(SupportChange(point=keys["B2"], max_raise_in=1.0),))
    assert support(document(survey, named)[1], keys["B2"]).max_raise_in == 1.0


def test_tolerance_and_target_are_the_whole_homes(survey: Survey) -> None:
    recorded, changed = document(survey, Changes(tolerance_in=0.375, target_in=0.25))
    assert changed == replace(recorded, tolerance_in=0.375, target_in=0.25)


def test_drains_hung_anew_cost_nothing_and_connections_stay(survey: Survey) -> None:
    run = DrainRun.objects.create(siting=survey.siting, code="DN1", diameter_in=3)
    for at_ft, invert_in in ((0, "10"), (10, "7.5"), (20, "5")):
        DrainNode.objects.create(run=run, at_ft=at_ft, invert_in=Decimal(invert_in), x_ft=2 + at_ft, y_ft=4)
    recorded, changed = document(survey, Changes(rehang_drains=True))
    hung = {link.code: link.free_min for link in recorded.connections if link.code.startswith(str(run.pk))}
    assert len(hung) == 2
    assert set(hung.values()) == {None}
    now = {link.code: link.free_min for link in changed.connections}
    assert {code: now[code] for code in hung} == dict.fromkeys(hung, 0.0)
    assert now[drain(survey)] == 35.0


# -- what is refused ----------------------------------------------------------------------------------------------

NOBODY = "01999999-0000-7000-8000-000000000000"


def wrong_changes(survey: Survey) -> dict[str, Changes]:
    """Return changes that can't be, by the field that is to blame."""
    a1, one = label_to_key(survey)["A1"], drain(survey)
    bm1 = label_to_key(survey)["BM1"]

    def link(**fields: Any) -> Changes:
        return Changes(connections=(ConnectionChange(connection=one, **fields),))

    def limit(point: str = a1, **fields: Any) -> Changes:
        return Changes(supports=(SupportChange(point=point, **fields),))

    twice = ConnectionChange(connection=one, is_free=True)
    return {
        "changes": Changes(),
        "tolerance_in": Changes(tolerance_in=2.5),
        "target_in": Changes(target_in=-0.125),
        "max_raise_in": Changes(max_raise_in=float("nan")),
        "rehang_drains": Changes(rehang_drains=True),
        "connections": Changes(connections=(twice,) * 51),
        "connections[0].connection": Changes(connections=(ConnectionChange(connection=NOBODY, is_free=True),)),
        "connections[1].connection": Changes(connections=(twice, twice)),
        "connections[0].is_free": link(),
        "connections[0].is_free ": link(is_free=True, free_up_in=1.0),
        "connections[0].free_up_in": link(free_up_in=12.5),
        "connections[0].free_down_in": link(free_down_in=-1.0),
        "supports[0].point": limit(bm1, max_raise_in=1.0),
        "supports[0].max_raise_in": limit(),
        "supports[0].max_raise_in ": limit(max_raise_in=13.0),
        "supports[0].max_lower_in": limit(max_lower_in=float("inf")),
    }


def test_what_can_not_be_tried_is_told_at_its_field(survey: Survey, lead: User) -> None:
    for field, changes in wrong_changes(survey).items():
        with pytest.raises(DomainError) as refused:
            services.request_trial(survey, changes, by=lead)
        assert (refused.value.status, list(refused.value.fields)) == (400, [field.strip()])
    assert not Trial.objects.exists()


def test_an_archived_connection_and_one_of_another_home_are_not_there(survey: Survey, lead: User) -> None:
    other = read_survey()
    for key in (drain(other), drain(survey)):
        Connection.objects.filter(pk=drain(survey)).archive()
        with pytest.raises(DomainError) as refused:
            services.request_trial(
                survey, Changes(connections=(ConnectionChange(connection=key, is_free=True),)), by=lead
            )
        assert list(refused.value.fields) == ["connections[0].connection"]


def test_without_heights_of_the_newest_readings_nothing_can_be_tried(survey: Survey, lead: User) -> None:
    submit(survey)
    with pytest.raises(DomainError) as refused:
        services.request_trial(survey, free(survey), by=lead)
    assert (refused.value.code, refused.value.status) == ("not_computed", 409)


def test_heights_that_are_still_being_joined_are_no_heights_yet(survey: Survey, lead: User) -> None:
    waiting = Calculation.objects.create(
        kind="joined", survey=survey, input={}, input_sha256="0" * 64, engine_version="1"
    )
    Answer.objects.create(survey=survey, kind="joined", calculation=waiting, revision=survey.revision)
    with pytest.raises(DomainError) as refused:
        services.request_trial(survey, free(survey), by=lead)
    assert refused.value.code == "not_computed"


# -- a trial that fails -------------------------------------------------------------------------------------------


def _fails(trial: Trial, monkeypatch: pytest.MonkeyPatch) -> Calculation:
    def trip(_calculation: Calculation) -> Any:
        raise RuntimeError("made to fail")

    with monkeypatch.context() as patched:
        patched.setattr(runner, "_solve", trip)
        with pytest.raises(RuntimeError, match="made to fail"):
            runner.run(trial.calculation_id)
    trial.calculation.refresh_from_db()
    return trial.calculation


def test_a_failed_trial_is_a_dead_letter_until_it_ran_again(
    survey: Survey, lead: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    trial = services.request_trial(survey, free(survey), by=lead)
    failed = _fails(trial, monkeypatch)
    assert list(Calculation.objects.dead_letters()) == [failed]
    again = services.run_again(failed)
    trial.refresh_from_db()
    assert (trial.calculation, again.state) == (again, "queued")
    work_off([again.pk])
    assert not Calculation.objects.dead_letters().exists()


def test_a_failed_trial_of_earlier_readings_is_nobodys_letter(
    survey: Survey, lead: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    _fails(services.request_trial(survey, free(survey), by=lead), monkeypatch)
    submit(survey)
    assert not Calculation.objects.dead_letters().exists()
