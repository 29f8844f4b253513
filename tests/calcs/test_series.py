"""The surveys of a siting in time order: what counts, where a lift came between, never from another siting."""

import datetime

import pytest

from calcs import series
from calcs.models import PassEntry
from jobs.models import Siting, Support
from surveys.models import Setup
from tests.calcs.approved import approved_home
from tests.calcs.working import submit
from tests.calcs.years import BEGAN, computed, read_again, sinking
from tests.factories import (
    CompanyFactory,
    SitingFactory,
    SurveyFactory,
    UserFactory,
    lay_out_home,
    make_reading,
    read_home,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def siting(db: None) -> Siting:
    CompanyFactory()
    return lay_out_home()


def days_of(found: series.Series) -> list[float]:
    return [each.days for each in found.surveys]


def key(siting: Siting, label: str) -> str:
    return str(siting.points.get(label=label).pk)


def test_surveys_come_in_the_order_they_were_read_whatever_order_they_came_in(siting: Siting) -> None:
    read_again(siting, 400)
    read_again(siting, 0)
    read_again(siting, 100.5)
    assert days_of(series.of(siting)) == [0, 100.5, 400]


def test_heights_are_those_of_the_newest_corrections(siting: Siting) -> None:
    survey = read_again(siting, 0)
    a1 = key(siting, "A1")
    before = series.of(siting).surveys[0].heights_in[a1]
    for reading in list(survey.readings.filter(point=a1)):
        make_reading(
            setup=reading.setup, point=reading.point, value_in=reading.value_in - 1, replaces=reading, reason="slip"
        )
    computed(submit(survey))
    points = len(series.of(siting).surveys[0].points)
    assert series.of(siting).surveys[0].heights_in[a1] == pytest.approx(before - 1 + 1 / points)


def test_what_is_not_handed_in_or_not_computed_or_read_during_the_work_is_no_survey_of_the_home(
    siting: Siting,
) -> None:
    read_home(SurveyFactory(siting=siting, started_at=BEGAN))
    waiting = SurveyFactory(siting=siting, started_at=BEGAN)
    read_home(waiting)
    submit(waiting)
    read_again(siting, 3, stage="during")
    assert series.of(siting).surveys == ()


def test_a_series_never_crosses_sitings(siting: Siting) -> None:
    siting.to_on = datetime.date(2026, 5, 1)
    siting.save()
    moved = SitingFactory(home=siting.home, from_on=datetime.date(2026, 6, 1), address="elsewhere")
    read_again(siting, 0)
    read_again(siting, 300)
    read_again(lay_out_home(moved), 1600)
    both = series.of_many([siting, moved])
    assert [len(both[each.pk].surveys) for each in (siting, moved)] == [2, 1]
    assert both[moved.pk].surveys[0].days == 0
    assert set(both[moved.pk].points) == {str(point.pk) for point in moved.points.all()}
    assert not set(both[siting.pk].points) & set(both[moved.pk].points)


def test_a_survey_as_left_says_that_there_was_a_lift_before_it(siting: Siting) -> None:
    read_again(siting, 0, stage="as_found")
    read_again(siting, 0.25, stage="as_left")
    read_again(siting, 90)
    found = series.of(siting)
    assert [lift.days for lift in found.lifts] == [0.25]
    assert [each.days for each in found.since_lift()] == [0.25, 90]
    assert found.until(BEGAN.date() - datetime.timedelta(days=1)).surveys == ()


def test_what_was_lifted_before_the_first_survey_resets_nothing(siting: Siting) -> None:
    read_again(siting, 0, stage="as_left")
    read_again(siting, 90)
    assert series.of(siting).lifts == ()


def note_work(days: float) -> Siting:
    """A home with an approved plan of which one step was noted so many days after it was first read."""
    approval = approved_home(started_at=BEGAN)
    point = approval.siting.points.get(label="A1")
    PassEntry.objects.create(
        plan=approval.plan,
        point=point,
        pass_number=1,
        author=UserFactory(),
        noted_at=BEGAN + datetime.timedelta(days=days),
    )
    return approval.siting


@pytest.mark.parametrize(("worked", "read", "lifted"), [(10, 30, [30]), (40, 30, [40])])
def test_work_that_was_noted_is_a_lift_though_nobody_read_it_as_left(
    worked: float, read: float, lifted: list[float]
) -> None:
    siting = note_work(worked)
    read_again(siting, read)
    assert [lift.days for lift in series.of(siting).lifts] == pytest.approx(lifted)


def test_a_step_noted_late_on_the_day_of_the_survey_as_left_was_done_before_it() -> None:
    siting = note_work(10.1)
    read_again(siting, 10, stage="as_left")
    assert [lift.days for lift in series.of(siting).lifts] == pytest.approx([10])


def test_up_to_a_survey_nothing_later_is_known(siting: Siting) -> None:
    read_again(siting, 0, stage="as_found")
    middle = read_again(siting, 100)
    read_again(siting, 100.1, stage="as_left")
    known = series.of(siting).up_to(middle)
    assert days_of(known) == [0, 100]
    assert known.lifts == ()


def test_the_footing_is_what_most_supports_have(siting: Siting) -> None:
    assert series.of(siting).footing == "precast"
    half = list(Support.objects.filter(point__siting=siting).values_list("pk", flat=True))[:7]
    Support.objects.filter(pk__in=half).update(footing="poured")
    assert series.of(siting).footing == "poured"


def test_many_sitings_take_as_many_queries_as_one(siting: Siting, django_assert_max_num_queries: object) -> None:
    others = [lay_out_home(SitingFactory()) for _ in range(2)]
    for each in (siting, *others):
        read_again(each, 0)
        read_again(each, 200, sinking(0.1, 200))
    with django_assert_max_num_queries(9) as one:  # type: ignore[operator]
        series.of_many([siting])
    with django_assert_max_num_queries(len(one)) as three:  # type: ignore[operator]
        found = series.of_many([siting, *others])
    assert len(three) == len(one)
    assert all(len(each.surveys) == 2 for each in found.values())
    assert found[siting.pk].surveys[0].covariance_in2 == ()
    assert Setup.objects.count() == 12
