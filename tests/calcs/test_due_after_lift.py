"""A lift makes its home due at once, and a step that is taken back takes that back: told by the due row itself."""

import datetime
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from calcs import nightly, series
from calcs.closing import close
from calcs.models import Approval, Closing, Due, PassEntry
from calcs.work import note_pass, note_step
from jobs.clock import company_zone, on_day
from jobs.models import Point, User
from tests.calcs.approved import approved_home
from tests.factories import CompanyFactory, SurveyFactory

pytestmark = pytest.mark.django_db
READ_DAYS_AGO = datetime.timedelta(days=3)
NOON = datetime.datetime(2026, 1, 1, 12, tzinfo=datetime.UTC)
LIFTED = "It was lifted and not read since: read it."


@pytest.fixture
def approval() -> Approval:
    CompanyFactory()
    found = approved_home(started_at=timezone.now() - READ_DAYS_AGO)
    nightly.refresh(found.siting_id, nightly.today())
    return found


def reason(approval: Approval) -> str:
    return Due.objects.get(siting=approval.siting_id).reason


def step(approval: Approval, by: User, label: str = "A1", **fields: Any) -> PassEntry:
    point = Point.objects.get(siting=approval.siting, label=label)
    usual = {"noted_at": timezone.now()}
    return PassEntry(plan=approval.plan, point=point, pass_number=1, author=by, **usual | fields)


def test_the_first_step_says_at_once_that_the_home_is_due(
    approval: Approval, crew: User, django_capture_on_commit_callbacks: Any
) -> None:
    assert reason(approval) != LIFTED
    point = approval.siting.points.get(label="A1")
    with django_capture_on_commit_callbacks(execute=True):
        note_step(approval=approval, key=uuid.uuid4(), by=crew, point=point, pass_number=1, is_done=True)
    due = Due.objects.get(siting=approval.siting)
    assert (due.reason, due.basis, due.due_on) == (LIFTED, "re_read", nightly.today())


def test_a_step_over_the_api_says_so_too(
    approval: Approval, lead: User, api_for: Callable[[User], APIClient], django_capture_on_commit_callbacks: Any
) -> None:
    body = {
        "id": str(uuid.uuid4()),
        "noted_at": timezone.now().isoformat(),
        "plan": str(approval.plan_id),
        "point": str(approval.siting.points.get(label="A1").pk),
        "pass_number": 1,
    }
    with django_capture_on_commit_callbacks(execute=True):
        assert api_for(lead).post("/api/v1/pass-entries/", body).status_code == 201
    assert reason(approval) == LIFTED


def test_the_other_steps_of_the_day_compute_nothing_anew(
    approval: Approval, crew: User, django_capture_on_commit_callbacks: Any
) -> None:
    def asked(entry: PassEntry) -> int:
        with django_capture_on_commit_callbacks() as waiting:
            note_pass(entry)
        return len(waiting)

    noon = on_day(NOON, nightly.today(), company_zone())
    first = step(approval, crew, noted_at=noon)
    assert [asked(first), asked(first)] == [1, 0]  # sent again it is not new
    assert asked(step(approval, crew, "A2", noted_at=noon + datetime.timedelta(minutes=9))) == 0
    assert asked(step(approval, crew, "A3", noted_at=noon + datetime.timedelta(days=1))) == 1
    SurveyFactory(siting=approval.siting, started_at=noon + datetime.timedelta(days=1, minutes=9))
    assert asked(step(approval, crew, "B1", noted_at=noon + datetime.timedelta(days=1, hours=1))) == 1


def test_a_step_that_is_taken_back_is_no_lift(
    approval: Approval, crew: User, django_capture_on_commit_callbacks: Any
) -> None:
    before, now = reason(approval), timezone.now()
    with django_capture_on_commit_callbacks(execute=True):
        note_pass(step(approval, crew, noted_at=now))
    assert len(series.of(approval.siting).lifts) == 1
    with django_capture_on_commit_callbacks(execute=True):
        note_pass(step(approval, crew, is_done=False, noted_at=now, sequence=1))
    assert series.of(approval.siting).lifts == ()
    assert reason(approval) == before
    note_pass(step(approval, crew, noted_at=now, sequence=2))
    assert len(series.of(approval.siting).lifts) == 1


def test_only_the_step_that_was_meant_is_taken_back(approval: Approval, crew: User) -> None:
    now = timezone.now()
    note_pass(step(approval, crew, noted_at=now))
    note_pass(step(approval, crew, "A2", is_done=False, noted_at=now, sequence=1))
    assert list(PassEntry.objects.done().values_list("point__label", flat=True)) == ["A1"]


def test_work_that_is_closed_unread_says_so_too(
    approval: Approval, manager: User, django_capture_on_commit_callbacks: Any
) -> None:
    closing = Closing.objects.create(approval=approval)
    with django_capture_on_commit_callbacks(execute=True):
        close(closing=closing, by=manager, reason="done on paper, and the level broke")
    assert reason(approval) == LIFTED
