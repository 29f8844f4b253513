"""The demo's season: on whatever day it starts there is work behind and ahead, and starting again adds nothing."""

import datetime

import pytest

from calcs import nightly
from calcs.demo import people, season
from calcs.demo.scenario import DOUBLE, SMALL
from calcs.demo.season import weeks
from calcs.demo.season.staff import at, monday_of
from calcs.demo.years import lighter
from calcs.demo.years.books import started_at
from calcs.demo.years.homes import LIFTED
from jobs.models import Job, Mail, Siting, TimeOff, Truck, Visit
from tests.calcs.demo_homes import TODAY, brought_in
from tests.factories import DueFactory, HomeFactory, SitingFactory, VisitFactory

HOMES = [LIFTED, *lighter.homes(7)]
KEPT = (Job, Mail, TimeOff, Truck, Visit)
pytestmark = pytest.mark.django_db


@pytest.fixture
def _homes() -> None:
    brought_in(HOMES)
    for home in (DOUBLE, SMALL):
        SitingFactory(home=HomeFactory(code=home.code))


def in_week(today: datetime.date, week: int) -> set[Visit]:
    monday = monday_of(today) + datetime.timedelta(weeks=week)
    span = (at(monday, 0), at(monday + datetime.timedelta(days=7), 0))
    return set(Visit.objects.filter(starts_at__range=span).select_related("lead"))


@pytest.mark.usefixtures("_homes")
@pytest.mark.parametrize("ahead", [0, 2, 4], ids=["Wednesday", "Friday", "Sunday"])
def test_every_crew_has_work_whatever_day_it_is(ahead: int) -> None:
    today = TODAY + datetime.timedelta(days=ahead)
    season.enter(HOMES, today)
    leads = {crew.lead for crew in people.CREWS}
    for week in weeks.WEEKS:
        assert {visit.lead.username for visit in in_week(today, week) if visit.lead} == leads
    past = Visit.objects.filter(ends_at__lt=at(today, 0))
    assert not past.filter(state__in=Visit.UNDER_WAY).exists()
    assert {"done", "refused"} <= set(past.values_list("state", flat=True))
    assert {"booked", "cancelled"} <= set(
        Visit.objects.filter(starts_at__gt=at(today, 23)).values_list("state", flat=True)
    )
    assert set(Job.objects.values_list("state", flat=True)) == set(Job.State.values)
    assert Job.objects.call_backs().filter(is_inside_warranty=True).count() == 2
    holiday = TimeOff.objects.get(person=None, truck=None).from_on
    assert not Visit.objects.filter(starts_at__range=(at(holiday, 0), at(holiday, 23))).exists()


@pytest.mark.usefixtures("_homes")
def test_starting_again_adds_nothing_and_a_week_later_only_the_week_that_came() -> None:
    season.enter(HOMES, TODAY)
    rows = [model.objects.count() for model in KEPT]
    season.enter(HOMES, TODAY)
    assert rows == [model.objects.count() for model in KEPT]
    later = TODAY + datetime.timedelta(weeks=1)
    before = in_week(later, 1)
    season.enter(HOMES, later)
    assert len(in_week(later, 1)) > len(before)
    assert Job.objects.count() == rows[0]


@pytest.mark.usefixtures("_homes")
def test_a_week_later_the_visits_of_the_week_before_are_over() -> None:
    season.enter(HOMES, TODAY)
    later = TODAY + datetime.timedelta(weeks=1)
    season.enter(HOMES, later)
    before = Visit.objects.filter(needs=weeks.NEEDS, ends_at__lt=at(later, 0))
    assert before.exists()
    assert not before.filter(state__in=Visit.UNDER_WAY).exists()


@pytest.mark.usefixtures("_homes")
def test_where_a_crew_was_elsewhere_on_the_day_of_an_earlier_survey_another_one_was_there() -> None:
    begun = started_at(LIFTED.trips[0], TODAY)
    first = season.staff().crews[0]
    VisitFactory(
        siting=Siting.objects.get(home__code=SMALL.code),
        lead=first.lead,
        starts_at=begun,
        ends_at=begun + datetime.timedelta(hours=3),
    )
    season.enter(HOMES, TODAY)
    visit = Visit.objects.get(siting__home__code=LIFTED.code, starts_at__lt=begun, ends_at__gt=begun)
    assert visit.lead == season.staff().crews[1].lead


@pytest.mark.usefixtures("_homes")
def test_homes_that_are_due_and_not_booked_are_planned_together_once() -> None:
    today = nightly.today()
    staff = season.staff()
    assert season.plan_due_visits(today) is None  # nobody is due yet
    for number, siting in enumerate(Siting.objects.filter(latitude_deg__isnull=False).order_by("pk")):
        DueFactory(siting=siting, due_on=today + datetime.timedelta(days=10 * number))
    booked = Siting.objects.get(home__code=LIFTED.code)
    VisitFactory(siting=booked, starts_at=at(today, 9), ends_at=at(today, 12), lead=staff.crews[0].lead)
    plan = season.plan_due_visits(today)
    assert plan is not None
    homes = {home["siting"] for home in plan.asked["homes"]}
    assert len(homes) == len(HOMES) - 1
    assert str(booked.pk) not in homes
    assert len(plan.asked["crews"]) == len(people.CREWS)
    assert season.plan_due_visits(today) == plan
