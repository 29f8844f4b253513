"""When a home is due: what it rests on, its window, its chance, and the reason in plain words."""

import datetime

import pytest
from django.utils import translation

from calcs import nightly, priors
from calcs.models import Due, NightlyRun, PassEntry
from calcs.words import basis_words, why_due
from jobs.models import Benchmark, NeighbourPair, Siting
from tests.calcs.approved import approved_home
from tests.calcs.years import BEGAN, read_again, stored_again
from tests.factories import CompanyFactory, RuleSetFactory, SitingFactory, UserFactory, lay_out_home

pytestmark = pytest.mark.django_db
BEGAN_ON = BEGAN.date()
LEVEL = {f"{beam}{number}": 0.0 for beam in "ABCD" for number in (1, 2, 3)} | {"BM1": 3.0, "BM2": 4.0, "BM3": 5.0}


@pytest.fixture
def siting(db: None) -> Siting:
    CompanyFactory()
    return lay_out_home()


def on(days: float) -> datetime.date:
    return BEGAN_ON + datetime.timedelta(days=days)


def due(siting: Siting, days: float) -> Due:
    """When the home is due, as of so many days after it was first read."""
    found = nightly.refresh(siting.pk, on(days))
    assert found is not None
    return Due.objects.select_related("siting", "survey", "driver_a", "driver_b").get(pk=found.pk)


def read(siting: Siting, *days: float, rate_in_per_yr: float = 0.0) -> None:
    """Read a home of which the corner A1 sinks; half the surveys read A2 a little high, half a little low."""
    for number, day in enumerate(days):
        low = {"A1": -rate_in_per_yr * day / 365.25, "A2": 0.02 * (-1) ** number}
        stored_again(siting, day, LEVEL | low)


def test_a_home_that_was_never_read_is_not_due(siting: Siting) -> None:
    found = due(siting, 0)
    assert (found.basis, found.standing, found.due_on, found.survey) == ("nothing", "unknown", None, None)
    assert found.reason == "It was never read: nothing is known of how it stands."


def test_a_single_survey_without_like_homes_goes_by_the_calendar(siting: Siting) -> None:
    read(siting, 0)
    found = due(siting, 10)
    assert (found.basis, found.standing) == ("calendar", "within")
    assert (found.due_on, found.latest_on, found.chance_now) == (on(365), None, None)
    assert found.reason == "Too little is known of how it moves: it is due on 3 Mar 2023 by the calendar rule."
    # It stays due since that day, and how it stands now nobody knows.
    late = due(siting, 500)
    assert (late.due_on, late.standing, late.as_of) == (on(365), "unknown", on(500))


def test_the_calendar_rule_is_the_homes_own(siting: Siting) -> None:
    siting.home.rule_set = RuleSetFactory(values={"calendar_rule_days": 90})
    siting.home.save()
    read(siting, 0)
    assert due(siting, 10).due_on == on(90)


@pytest.mark.parametrize(("low_in", "standing"), [(-0.1, "within"), (-0.3, "near"), (-0.5, "over")])
def test_how_a_home_was_last_read_counts_where_nothing_else_is_known(
    siting: Siting, low_in: float, standing: str
) -> None:
    stored_again(siting, 0, LEVEL | {"A1": low_in})
    found = due(siting, 10)
    assert found.standing == standing
    assert found.worst_in == pytest.approx(-low_in)


def test_a_pairs_own_larger_tolerance_counts(siting: Siting) -> None:
    NeighbourPair.objects.filter(siting=siting).update(tolerance_in=1)
    stored_again(siting, 0, LEVEL | {"A1": -0.5})
    assert due(siting, 10).standing == "within"


def test_a_sinking_corner_makes_the_home_due_and_names_its_pair(siting: Siting) -> None:
    read(siting, 0, 200, 400, 600, rate_in_per_yr=0.15)
    found = due(siting, 600)
    assert found.basis == "measured"
    assert found.due_on is not None
    assert found.latest_on is not None
    assert on(660) <= found.due_on < found.latest_on < on(1200)
    assert found.driver_a is not None
    assert found.driver_b is not None
    assert "A1" in {found.driver_a.label, found.driver_b.label}
    assert found.rate_in_per_yr == pytest.approx(-0.15 * 11 / 12, abs=0.05)
    assert found.chance_at_due == pytest.approx(0.2, abs=0.02)
    assert found.reason.startswith("At the rates measured, on ")
    assert "the chance that a pair has passed its limit is 20 %, " in found.reason


def test_a_home_that_is_due_stays_due_since_that_day_while_its_chance_grows(siting: Siting) -> None:
    read(siting, 0, 200, 400, 600, rate_in_per_yr=0.15)
    early, late = due(siting, 600), due(siting, 2000)
    assert (early.due_on, early.latest_on) == (late.due_on, late.latest_on)
    assert early.chance_now is not None
    assert late.chance_now is not None
    assert early.chance_now < 0.2
    assert late.chance_now > 0.9
    assert (early.standing, late.standing) == ("within", "over")
    assert due(siting, 9000).chance_now == pytest.approx(1.0)  # beyond the horizon as at its end


def test_no_home_is_due_sooner_than_the_earliest_rule_after_it_was_read(siting: Siting) -> None:
    read(siting, 0, 400, 800, rate_in_per_yr=0.4)
    found = due(siting, 800)
    assert (found.due_on, found.standing) == (on(860), "over")
    assert found.reason.startswith("It is likely over its limit already, ")
    assert found.reason.endswith(" first; it is read again from 10 Jul 2024 on.")
    assert due(siting, 861).reason.startswith("At the rates measured")  # that day is past: nothing is put off


def test_noise_alone_asks_to_read_again(siting: Siting) -> None:
    siting.home.rule_set = RuleSetFactory(values={"action_in": 0.25})
    siting.home.save()
    for number, day in enumerate((0, 100, 200)):
        stored_again(siting, day, LEVEL | {"A1": 0.17 + 0.02 * (-1) ** number, "D3": -0.16})
    found = due(siting, 200)
    assert found.basis == "re_read"
    assert found.reason.startswith("The last survey is too noisy to tell whether a pair has passed its limit")


def test_many_surveys_that_agree_show_that_it_stands_still(siting: Siting) -> None:
    read(siting, *range(0, 2200, 200))
    found = due(siting, 2000)
    assert found.is_stable
    assert found.reason.endswith("Its surveys together say that it stands still.")


def test_after_a_lift_nobody_counts_what_was_before_it(siting: Siting) -> None:
    read(siting, 0, 200, 400, rate_in_per_yr=0.5)
    stored_again(siting, 400.3, LEVEL, stage="as_left")
    found = due(siting, 400)
    assert found.worst_in == 0
    assert found.chance_now is None or found.chance_now < 0.2


def test_a_home_that_was_lifted_and_not_read_since_is_due_at_once_and_nobody_knows_how_it_stands() -> None:
    approval = approved_home(started_at=BEGAN)
    point, noted_at = approval.siting.points.get(label="A1"), BEGAN + datetime.timedelta(days=10)
    assert due(approval.siting, 11).basis != "re_read"
    PassEntry.objects.create(plan=approval.plan, point=point, pass_number=1, author=UserFactory(), noted_at=noted_at)
    found = due(approval.siting, 11)
    assert (found.basis, found.standing) == ("re_read", "unknown")
    assert (found.due_on, found.latest_on, found.chance_now, found.lines) == (on(10), None, None, [])
    assert found.reason == "It was lifted and not read since: read it."
    assert basis_words(found) == "a lift after it was last read"
    # The night writes the same row.
    nightly.work(on(11))
    again = Due.objects.get(siting=approval.siting)
    names = ("basis", "standing", "due_on", "reason", "survey_id", "worst_in", "chance_now")
    assert [getattr(again, name) for name in names] == [getattr(found, name) for name in names]
    assert due(approval.siting, 9).basis != "re_read"  # before the lift nobody knew of it
    # Once it was read it is due like any other.
    read_again(approval.siting, 12, stage="as_left")
    assert due(approval.siting, 12).basis != "re_read"


def test_a_survey_of_a_later_day_is_not_known_yet(siting: Siting) -> None:
    read(siting, 0, 300)
    assert due(siting, 100).basis == "calendar"
    assert due(siting, 300).basis == "measured"


def test_a_home_that_was_moved_away_is_due_no_more(siting: Siting) -> None:
    read(siting, 0)
    due(siting, 10)
    siting.to_on = on(20)
    siting.save()
    assert nightly.refresh(siting.pk, on(30)) is None
    assert not Due.objects.exists()


def test_marks_that_still_stand_are_counted(siting: Siting) -> None:
    assert due(siting, 0).has_outside_mark
    Benchmark.objects.update(retired_on=on(5))
    assert due(siting, 4).has_outside_mark
    assert not due(siting, 5).has_outside_mark


def test_it_is_said_in_spanish_from_the_same_row(siting: Siting) -> None:
    read(siting, 0)
    found = due(siting, 10)
    with translation.override("es"):
        assert "2023" in why_due(found)
    assert found.reason == why_due(found)


# -- like homes -----------------------------------------------------------------------------------------------------


def like_homes(count: int, rate_in_per_yr: float, **home: str) -> None:
    """Homes of which every second corner sinks, measured well."""
    for _ in range(count):
        siting = lay_out_home(SitingFactory(**{f"home__{name}": value for name, value in home.items()}))
        for day in (0, 500, 1000):
            sunk = {f"{beam}1": -rate_in_per_yr * day / 365.25 for beam in "AC"}
            stored_again(siting, day, LEVEL | sunk)
        nightly.refresh(siting.pk, on(1000))


def test_like_homes_tell_of_one_that_was_read_once(siting: Siting) -> None:
    read(siting, 0)
    like_homes(2, 0.2)
    assert priors.learn() == {}
    like_homes(1, 0.2)
    learned = priors.learn()
    assert set(learned) == {"unknown/precast", "unknown", "all"}
    # Two of twelve points of each home sink by 0.2 in a year, against its mean by 5/6 and 1/6 of that.
    assert learned["all"] == pytest.approx(0.2 * (5 / 36) ** 0.5, rel=0.1)
    NightlyRun.objects.create(day=on(1001), priors=learned)
    found = due(siting, 10)
    assert found.basis == "prior"
    assert found.due_on is not None
    assert on(60) <= found.due_on < on(1500)
    assert found.reason.startswith("Read less than twice since the last lift, it goes by homes like this one")


def test_each_soil_learns_from_its_own(siting: Siting) -> None:
    like_homes(3, 0.05, soil_class="2")
    like_homes(3, 0.4, soil_class="4B")
    learned = priors.learn()
    assert learned["2/precast"] < learned["all"] < learned["4B/precast"]
    known = priors.Priors(rate_sds={"2": 0.01, "all": 0.1})
    found = nightly.series.of(siting)
    assert known.of(found).rate_sd_in_per_yr == 0.1  # type: ignore[union-attr]
    siting.home.soil_class = "2"
    assert known.of(found).rate_sd_in_per_yr == 0.01  # type: ignore[union-attr]
    assert priors.Priors(rate_sds={}).of(found) is None
