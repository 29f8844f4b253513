"""The closing gate: each thing that is open is told, and alone keeps the work from being closed."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from rest_framework.test import APIClient

from calcs import chain
from calcs.closing import Open, Seen, close, closing_of, what_is_open
from calcs.closing.touched import gas_moved, straps_to_check, works_of
from calcs.models import Answer, Approval, Closing, PassEntry, Plan
from jobs.errors import DomainError, Stale
from jobs.models import Connection, HeadCount, Photo, Role, StrapCheck, User
from surveys.models import Survey
from tests.calcs.approved import approved, approved_home, withdrawn
from tests.calcs.finished import (
    ALL_CHECKED,
    LEVEL_IN,
    ago,
    check_straps,
    find_heights,
    finished,
    read_as_left,
    take_photo,
)
from tests.calcs.working import submit, work_off
from tests.factories import (
    ConnectionFactory,
    HeadCountFactory,
    SetupFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
    make_reading,
    read_home,
)

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
ApiFor = Callable[[User], APIClient]


@pytest.fixture
def closing() -> Closing:
    return finished()


def codes(closing: Closing) -> list[str]:
    return [one.code for one in what_is_open(Closing.objects.get(pk=closing.pk))]


def change(closing: Closing, **fields: Any) -> None:
    Closing.objects.filter(pk=closing.pk).update(**fields)


def compute(survey: Survey) -> None:
    find_heights(submit(survey))


# -- one thing after the other -------------------------------------------------------------------------------------


def test_nothing_is_open_of_work_that_is_finished(closing: Closing, lead: User) -> None:
    assert what_is_open(closing) == ()
    closed = close(closing=closing, by=lead)
    assert (closed.closed_by, closed.manager_reason) == (lead, "")
    assert closed.closed_at is not None


def test_what_was_not_ticked_is_open_one_by_one(closing: Closing) -> None:
    unticked = {
        "are_wedges_tapped": (False, "wedges"),
        "doors_windows": ("not_tested", "doors"),
        "are_straps_tight": (False, "straps"),
        "is_leak_checked": (False, "leaks"),
        "are_drains_checked": (False, "drains"),
        "gas": ("not_said", "gas"),
        "is_everybody_out": (False, "head_count"),
        "as_left": (None, "no_as_left"),
    }
    as_left = closing.as_left
    for field, (value, code) in unticked.items():
        change(closing, **{field: value})
        assert codes(closing) == [code], field
        change(closing, **{field: as_left if field == "as_left" else ALL_CHECKED[field]})
    change(closing, **{field: value for field, (value, _code) in unticked.items()})
    assert set(codes(closing)) == {code for _value, code in unticked.values()}


def test_doors_that_stick_are_an_exception_that_is_named(closing: Closing) -> None:
    change(closing, doors_windows="stick")
    assert codes(closing) == ["doors_stick"]
    change(closing, exceptions="bathroom door rubs")
    assert codes(closing) == []


def test_a_survey_as_left_that_is_open_or_too_early_does_not_do(closing: Closing) -> None:
    survey = SurveyFactory(siting=closing.approval.siting, stage="as_left", started_at=ago(hours=1))
    read_home(survey, LEVEL_IN)
    change(closing, as_left=survey)
    assert codes(closing) == ["not_submitted"]
    submit(survey)
    assert codes(closing) == ["not_computed"]
    find_heights(survey)
    assert codes(closing) == []
    plan, point = closing.approval.plan, survey.siting.points.get(label="A1")
    PassEntry.objects.create(
        plan=plan, point=point, pass_number=1, author=closing.approval.approved_by, noted_at=survey.submitted_at
    )
    assert "too_early" not in codes(closing)
    PassEntry.objects.update(noted_at=survey.submitted_at + timedelta(minutes=1))
    assert "too_early" in codes(closing)
    PassEntry.objects.all().delete()
    Survey.objects.filter(pk=survey.pk).update(started_at=ago(hours=9))
    assert codes(closing) == ["too_early"]


def test_a_later_correction_is_not_closed_over_until_it_is_computed(closing: Closing) -> None:
    submit(closing.as_left)
    assert codes(closing) == ["not_computed"]


def test_every_support_is_read_in_two_rounds(closing: Closing) -> None:
    second = closing.as_left.readings.get(point__label="B2", round=2)
    make_reading(setup=second.setup, point=second.point, value_in=None, replaces=second, reason="bumped", round=2)
    compute(closing.as_left)
    found = what_is_open(Closing.objects.get(pk=closing.pk))
    assert found == (Open(code="one_round", words="Not read in two rounds as left: B2."),)
    other = closing.as_left.readings.get(point__label="C3", round=2)
    make_reading(setup=other.setup, point=other.point, value_in=None, replaces=other, reason="bumped", round=2)
    compute(closing.as_left)
    assert what_is_open(closing)[0].words.endswith("B2, C3.")


def test_the_same_round_twice_is_no_second_round(closing: Closing) -> None:
    second = closing.as_left.readings.get(point__label="B2", round=2)
    make_reading(
        setup=second.setup, point=second.point, value_in=second.value_in, replaces=second, reason="round 1", round=1
    )
    compute(closing.as_left)
    assert codes(closing) == ["one_round"]


def closing_shot(closing: Closing, value_in: object) -> None:
    """Correct the closing shot of the first setup."""
    shots = closing.as_left.readings.standing().filter(shot="closing", setup__code="S1")
    last = shots.get()
    kept = {"shot": "closing", "sequence": last.sequence, "taken_at": last.taken_at}
    make_reading(setup=last.setup, point=last.point, value_in=value_in, replaces=last, reason="read again", **kept)
    compute(closing.as_left)


def test_each_setup_is_closed_on_its_reference(closing: Closing) -> None:
    closing_shot(closing, None)
    found = what_is_open(Closing.objects.get(pk=closing.pk))
    assert found == (Open(code="reference_open", words="No closing shot on the reference: setup S1."),)


@pytest.mark.parametrize(("off_in", "is_open"), [("0.25", False), ("-0.25", False), ("0.28", True), ("-0.28", True)])
def test_a_closing_shot_is_held_against_three_deviations_of_two_readings(
    closing: Closing, off_in: str, is_open: bool
) -> None:
    """3 sqrt(2) 1/16 in = 0.265 in: a difference of two readings has the variance of both."""
    closing_shot(closing, Decimal(13) + Decimal(off_in))  # BM1 stands 13 in above the first line
    assert ("misclosure" in codes(closing)) is is_open


def test_a_drifting_line_is_judged_by_its_heights_not_by_its_closing_shot(closing: Closing) -> None:
    closing_shot(closing, Decimal("13.5"))
    assert "misclosure" in codes(closing)
    closing.as_left.setups.filter(code="S1").update(has_drift=True)
    compute(closing.as_left)
    assert "misclosure" not in codes(closing)


def test_a_suspect_reading_is_read_again(closing: Closing) -> None:
    one = closing.as_left.readings.get(point__label="B2", round=1)
    setup = SetupFactory(survey=closing.as_left, code="S3", sense_trial="grew")
    for point in closing.as_left.siting.points.all():
        make_reading(setup=setup, point=point, value_in=LEVEL_IN.get(point.label, 0.0) + 11, round=3)
    mark = closing.as_left.siting.points.get(label="BM1")
    for number, shot in enumerate(("reference", "closing")):
        make_reading(setup=setup, point=mark, value_in=14, round=3, shot=shot, sequence=900 + number)
    compute(closing.as_left)
    assert codes(closing) == []
    make_reading(setup=one.setup, point=one.point, value_in="11", replaces=one, reason="as on paper")
    compute(closing.as_left)
    assert [one.words for one in what_is_open(closing) if one.code == "suspect"] == [
        "A reading as left is suspect: read again at B2."
    ]


def test_pairs_that_stay_too_far_apart_are_named(closing: Closing) -> None:
    left = read_as_left(closing.approval, LEVEL_IN | {"A1": -0.75})
    change(closing, as_left=left)
    assert codes(closing) == ["over"]
    (only,) = what_is_open(Closing.objects.get(pk=closing.pk))
    assert "A1-A2" in only.words
    assert "A1-B1" in only.words
    change(closing, exceptions="A1 and A2: drain not freed. A11, B12")
    assert "A1-B1" in what_is_open(Closing.objects.get(pk=closing.pk))[0].words
    assert "A1-A2" not in what_is_open(Closing.objects.get(pk=closing.pk))[0].words
    change(closing, exceptions="a1 to A2 and B1: drain not freed")
    assert codes(closing) == []


# -- straps and gas ------------------------------------------------------------------------------------------------


def test_every_strap_that_the_plan_loosened_is_checked_after_the_work(closing: Closing) -> None:
    (strap, *_others) = straps_to_check(works_of(closing), Seen([closing]))
    assert strap.code == "T1"  # its hook is at A1, which goes up
    StrapCheck.objects.filter(strap=strap).update(noted_at=ago(hours=6))  # before the last pass
    assert codes(closing) == ["strap_checks"]
    assert "T1" in what_is_open(closing)[0].words
    check_straps(closing.approval, UserFactory())
    assert codes(closing) == []


@pytest.mark.parametrize("found", [{"grade": "fix"}, {"grade": "ok", "slack_in": Decimal("0.25")}])
def test_a_strap_found_slack_or_broken_is_open(closing: Closing, found: dict[str, Any]) -> None:
    check_straps(closing.approval, UserFactory(), noted_at=ago(hours=1), **found)
    assert codes(closing) == ["strap_slack"]


def test_a_strap_that_the_plan_leaves_alone_needs_no_check(closing: Closing) -> None:
    left_alone = {strap.code for strap in closing.approval.siting.straps.all()} - {
        strap.code for strap in straps_to_check(works_of(closing), Seen([closing]))
    }
    StrapCheck.objects.filter(strap__code__in=left_alone).delete()
    assert codes(closing) == []


def gas_line_at(approval: Approval, label: str) -> Connection:
    point = approval.siting.points.get(label=label)
    line: Connection = ConnectionFactory(
        siting=approval.siting, code=f"G{label}", kind="gas", x_ft=point.x_ft, y_ft=point.y_ft, free_up_in=2,
        free_down_in=2, measured="tape",
    )  # fmt: skip
    return line


def test_a_gas_line_that_moved_is_checked_by_a_licensed_fitter() -> None:
    before = approved_home()
    moved, still = gas_line_at(before, "A1"), gas_line_at(before, "C2")
    work_off(chain.ask(before.plan.survey_id).new)
    withdrawn(before)
    plan = Plan.objects.current().get(survey=before.plan.survey, option="least_work")
    closing = finished(approved(plan))
    assert gas_moved([closing.approval], Seen([closing])) == [moved]
    assert codes(closing) == ["gas_moved"]
    assert moved.code in what_is_open(closing)[0].words
    assert still.code not in what_is_open(closing)[0].words
    change(closing, gas="checked", gas_checked_by="A. Fitter, licence 12")
    assert codes(closing) == []


def test_a_check_of_gas_names_who_made_it(closing: Closing) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        change(closing, gas="checked")


# -- photos, earlier approvals -------------------------------------------------------------------------------------


def test_a_photo_was_taken_since_the_approval(closing: Closing) -> None:
    Photo.objects.update(noted_at=ago(hours=9))
    assert codes(closing) == ["photos"]
    photo = take_photo(closing.approval, UserFactory())
    assert codes(closing) == []
    Photo.objects.filter(pk=photo.pk).archive()
    assert codes(closing) == ["photos"]


def test_straps_of_an_approval_that_was_worked_by_and_replaced_are_checked_too() -> None:
    first = approved_home()
    work_off(chain.ask(first.plan.survey_id).new)
    point, author = first.siting.points.get(label="A1"), UserFactory()
    PassEntry.objects.create(plan=first.plan, point=point, pass_number=1, author=author, noted_at=ago(hours=6))
    withdrawn(first)
    during = SurveyFactory(siting=first.siting, stage="as_found", started_at=ago(hours=5))
    read_home(during, LEVEL_IN | {"D3": 0.5})
    work_off(chain.ask(submit(during).pk).new)
    second = approved(Plan.objects.current().filter(survey=during).first(), approved_at=ago(hours=4))
    closing = closing_of(second)
    assert works_of(closing) == [first, second]
    assert "T1" in {strap.code for strap in straps_to_check(works_of(closing), Seen([closing]))}
    PassEntry.objects.all().delete()
    assert works_of(closing) == [second]  # nothing was done by the first


def test_work_of_an_earlier_closing_is_not_closed_twice(closing: Closing, lead: User) -> None:
    close(closing=closing, by=lead)
    later = approved(closing.approval.plan, number=2) if withdrawn(closing.approval) else None
    assert works_of(closing_of(later)) == [later]


# -- closing -------------------------------------------------------------------------------------------------------


def test_with_something_open_only_the_manager_closes_and_says_why(
    closing: Closing, lead: User, manager: User
) -> None:
    change(closing, is_leak_checked=False)
    found = Closing.objects.get(pk=closing.pk)
    with pytest.raises(DomainError, match="leaks") as told:
        close(closing=found, by=lead)
    assert (told.value.code, told.value.status) == ("open", 409)
    with pytest.raises(DomainError) as told:
        close(closing=found, by=lead, reason="water is off in the park")
    assert (told.value.code, told.value.status) == ("permission_denied", 403)
    with pytest.raises(DomainError) as told:
        close(closing=found, by=manager, reason="  ")
    assert told.value.code == "open"
    assert Closing.objects.get(pk=closing.pk).closed_at is None
    closed = close(closing=found, by=manager, reason="water is off in the park")
    assert (closed.manager_reason, closed.closed_by) == ("water is off in the park", manager)


def test_a_reason_is_kept_only_where_it_was_needed(closing: Closing, manager: User) -> None:
    assert close(closing=closing, by=manager, reason="all fine").manager_reason == ""


def test_closing_goes_by_the_version_that_was_read(closing: Closing, lead: User) -> None:
    change(closing, exceptions="a door rubs")
    with pytest.raises(Stale):
        close(closing=closing, by=lead)
    assert Closing.objects.get(pk=closing.pk).closed_at is None


def test_the_work_of_an_approval_that_was_withdrawn_is_not_closed(closing: Closing, lead: User) -> None:
    withdrawn(closing.approval)
    with pytest.raises(DomainError) as told:
        close(closing=closing, by=lead)
    assert told.value.code == "withdrawn"


@pytest.mark.parametrize("role", [Role.CREW, Role.OFFICE])
def test_crew_and_office_close_nothing(closing: Closing, role: Role) -> None:
    with pytest.raises(DomainError) as told:
        close(closing=closing, by=UserFactory(roles=[role]))
    assert told.value.status == 403


def test_what_is_closed_changes_no_more(
    closing: Closing, lead: User, manager: User, api_for: ApiFor, client_for: ClientFor
) -> None:
    close(closing=closing, by=lead)
    for by in (lead, manager):
        with pytest.raises(DomainError) as told:
            close(closing=Closing.objects.get(pk=closing.pk), by=by, reason="again")
        assert told.value.status == 403
        patched = api_for(by).patch(f"/api/v1/closings/{closing.pk}/", {"exceptions": "more"})
        assert (patched.status_code, patched.json()["message"]) == (403, "This work is closed: it changes no more.")
        page = client_for(by).post(reverse("approval-closing", args=[closing.approval_id]), {"exceptions": "more"})
        assert page.status_code == 403
    assert Closing.objects.get(pk=closing.pk).exceptions == ""


def test_no_answer_is_taken_for_an_older_revision(closing: Closing) -> None:
    Answer.objects.filter(survey=closing.as_left, kind="flatness").update(revision=0)
    assert codes(closing) == ["not_computed"]


# -- who is under the home -----------------------------------------------------------------------------------------


def count(closing: Closing, name: str, *, is_in: bool, **fields: Any) -> HeadCount:
    """Count somebody at a visit of its own to the home of a closing."""
    visit = VisitFactory(siting=closing.approval.siting)
    counted: HeadCount = HeadCountFactory(visit=visit, person_name=name, is_in=is_in, **fields)
    return counted


def test_nobody_closes_past_somebody_who_is_counted_in_and_not_out(
    closing: Closing, manager: User, client_for: ClientFor
) -> None:
    count(closing, "Ana", is_in=True, noted_at=ago(hours=3))
    count(closing, "Bo", is_in=True, noted_at=ago(hours=3))
    count(closing, "Bo", is_in=False, noted_at=ago(hours=2))
    HeadCountFactory(person_name="Zoe")  # under another home
    (only,) = what_is_open(closing)
    assert (only.code, only.is_life) == ("still_in", True)
    assert "Ana." in only.words
    with pytest.raises(DomainError) as refused:  # though everybody is said to be out, and the manager has a reason
        close(closing=closing, by=manager, reason="she went home long ago")
    assert (refused.value.status, refused.value.code) == (409, "open")
    assert "Ana" in refused.value.message
    page = client_for(manager).get(reverse("approval-closing", args=[closing.approval_id])).content.decode()
    assert "Ana" in page
    assert 'name="do" value="close"' not in page
    count(closing, "ANA", is_in=False, noted_at=ago(hours=1))
    assert what_is_open(closing) == ()
    assert close(closing=closing, by=manager).closed_at is not None


def test_heads_that_were_counted_out_do_not_tick_that_everybody_is(closing: Closing, manager: User) -> None:
    count(closing, "Ana", is_in=False)
    change(closing, is_everybody_out=False)
    (only,) = what_is_open(Closing.objects.get(pk=closing.pk))
    assert (only.code, only.is_life) == ("head_count", False)
    closed = close(closing=Closing.objects.get(pk=closing.pk), by=manager, reason="nobody was below")
    assert closed.manager_reason == "nobody was below"


def test_gates_read_together_say_what_each_says_alone() -> None:
    one, two = finished(), finished()
    count(one, "Ana", is_in=True)
    change(two, gas="not_said", are_straps_tight=False)
    StrapCheck.objects.filter(strap__siting=two.approval.siting_id).update(grade="fix")
    closings = list(Closing.objects.order_by("pk").select_related("approval", "as_left"))
    seen = Seen(closings)
    together = [what_is_open(each, seen) for each in closings]
    assert together == [what_is_open(each) for each in closings]
    assert [[each.code for each in opens] for opens in together] == [["still_in"], ["straps", "strap_slack", "gas"]]
