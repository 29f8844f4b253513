"""Entries from phones: each is answered by itself, kept once, and set aside with the reason where it can't be taken."""

import datetime
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection, transaction
from django.db.utils import IntegrityError

from calcs.models import Calculation, PassEntry, Plan
from jobs.models import Finding, Siting, StrapCheck, User, Visit, WorkTime
from surveys.models import Reading, Setup, Survey, SyncEntry
from tests.calcs.api.syncing import Phone, outdoors
from tests.factories import NOON, SetupFactory, SurveyFactory, UserFactory, lay_out_home, make_reading

pytestmark = pytest.mark.django_db


@pytest.fixture
def siting(crew: User) -> Siting:
    siting = lay_out_home()
    outdoors(crew, siting)
    return siting


@pytest.fixture
def points(siting: Siting) -> dict[str, Any]:
    return {point.label: point for point in siting.points.all()}


@pytest.fixture
def phone(api_for: Any, crew: User) -> Phone:
    return Phone(api_for(crew))


@pytest.fixture
def setup(siting: Siting, crew: User) -> Setup:
    return SetupFactory(survey=SurveyFactory(siting=siting, author=crew), code="S1")


def kept() -> list[tuple[str, str]]:
    """Every content of every entry with its state, in the order they came in."""
    return [(row.kind, row.state) for row in SyncEntry.objects.order_by("received_at", "sequence", "id")]


# -- a day without signal ------------------------------------------------------------------------------------


def test_a_whole_day_made_without_signal_is_taken(
    phone: Phone, siting: Siting, points: dict[str, Any], crew: User, django_capture_on_commit_callbacks: Any
) -> None:
    visit = Visit.objects.get()
    survey = phone.survey(siting, visit=str(visit.pk))
    setup = phone.setup(survey)
    first = phone.reading(setup, points["A1"], "14 3/16", round=1)
    second = phone.reading(setup, points["A2"], '14-1/8"', shot="point")
    correction = phone.correction(second, "14 1/4")
    strap = siting.straps.get(code="T1")
    finding = phone.entry(
        "finding",
        {"siting": str(siting.pk), "point": str(points["A1"].pk), "grade": "fix", "text": "the cap is cracked"},
    )
    check = phone.entry("strap", {"strap": str(strap.pk), "grade": "note", "slack_in": "0.5"})
    hours = {"visit": str(visit.pk), "started_at": NOON.isoformat(), "ended_at": "2026-03-03T15:30:00Z"}
    time = phone.entry("time", hours)
    submit = phone.entry("submit", {"survey": survey["id"]})
    day = [survey, setup, first, second, finding, correction, check, time, submit]
    with django_capture_on_commit_callbacks(execute=True):
        assert phone.states(*day) == ["taken"] * 9

    row = Survey.objects.get(pk=survey["id"])
    assert (row.author, row.visit, row.state, row.revision) == (crew, visit, "submitted", 1)
    assert row.started_at == NOON + datetime.timedelta(minutes=1)
    assert Setup.objects.get(pk=setup["id"]).survey == row
    typed = Reading.objects.standing().order_by("sequence").values_list("typed", "sequence", "device", "author")
    assert list(typed) == [("14 3/16", 3, "truck 2 phone", crew.pk), ("14 1/4", 5, "truck 2 phone", crew.pk)]
    assert Finding.objects.get(pk=finding["id"]).text == "the cap is cracked"
    assert StrapCheck.objects.get(pk=check["id"]).author == crew
    strap.refresh_from_db()
    assert strap.slack_in == Decimal("0.5")
    assert WorkTime.objects.get(pk=time["id"]).person == crew
    assert Calculation.objects.filter(survey=row, kind="levels").exists()  # handing in asked for it

    assert phone.states(*day) == ["repeated"] * 9
    assert SyncEntry.objects.count() == 9
    assert Reading.objects.count() == 3
