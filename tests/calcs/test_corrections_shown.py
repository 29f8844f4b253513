"""Corrections that wait to be settled, as the pages of a survey and of its home tell of them."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from calcs import chain
from jobs.models import User
from surveys.models import Reading
from tests.calcs.test_views import ClientFor, shown
from tests.calcs.working import read_survey, work_off
from tests.factories import UserFactory, make_reading

pytestmark = pytest.mark.django_db


def correct(reading: Reading, typed: str, by: User, **fields: Any) -> Reading:
    """Store a correction of a reading."""
    return make_reading(
        setup=reading.setup,
        point=reading.point,
        round=reading.round,
        value_in=reading.value_in,
        typed=typed,
        author=by,
        replaces=reading,
        reason="read again",
        **fields,
    )


def test_corrections_to_settle_are_said_with_what_to_do(
    client_for: ClientFor, lead: User, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    survey = read_survey()
    client = client_for(lead)
    home = reverse("home", args=[survey.siting.home_id])
    with CaptureQueriesContext(connection) as captured:
        page, text = shown(client, survey)
        before = len(captured)
    assert (page.doubts, "more than once" in text) == ((), False)
    assert "corrections to settle" not in client.get(home).content.decode()

    ana = UserFactory(first_name="Ana", last_name="Ruiz")
    wild = UserFactory(first_name="<i>Bo", last_name="Lind")
    first, other = survey.readings.filter(point__label__in=["A1", "C2"], round=1).order_by("point__label")
    between = correct(first, "22 1/8", wild)
    holds = correct(between, "22 3/16", wild)
    late = correct(first, "22 1/4", ana, is_contested=True)
    correct(other, "<b>20", wild)
    correct(other, "", ana, is_contested=True)
    with django_assert_num_queries(before):
        page, text = shown(client, survey)
    assert len(page.doubts) == Reading.objects.contested().count() == 2
    assert "A1 from S1, round 1 was corrected more than once: 22 3/16 by &lt;i&gt;Bo Lind stands" in text
    assert "Bo Lind stands; set aside: 22 1/4 by Ana Ruiz." in text
    assert "Read A1 again and say which holds: correct the reading that stands, naming the one this settles." in text
    assert "&lt;b&gt;20 by &lt;i&gt;Bo Lind stands; set aside: withdrawn by Ana Ruiz." in text
    assert "<b>20" not in text
    assert "<i>Bo" not in text
    assert client.get(home).content.decode().count("corrections to settle") == 1

    correct(holds, "22 1/4", lead, settles=late)
    page, text = shown(client, survey)
    assert ["C2" in doubt.what for doubt in page.doubts] == [True]


def test_several_corrections_set_aside_are_one_line(client_for: ClientFor, lead: User) -> None:
    survey = read_survey()
    work_off(chain.ask(survey.pk).new)
    first = survey.readings.filter(point__label="A1").first()
    for typed, is_contested in (("22", False), ("23", True), ("24", True)):
        correct(first, typed, lead, is_contested=is_contested)
    page, _ = shown(client_for(lead), survey)
    told = [doubt.what for doubt in page.doubts if "more than once" in doubt.what]
    aside = f"23 by {lead}, 24 by {lead}"
    assert told == [f"A1 from S1, round 1 was corrected more than once: 22 by {lead} stands; set aside: {aside}"]
