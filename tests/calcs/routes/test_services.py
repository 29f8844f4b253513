"""From due homes to booked visits: what is read, planned, told to be impossible, and booked."""

import datetime
from typing import Any

import pytest

from calcs.models import Due, RoutePlan
from calcs.routes.asked import AskedCrew, AskedHome, Lock
from calcs.routes.services import asked_of, book_from, plan_again, request_plan, result_of
from jobs.errors import DomainError
from jobs.models import Company, Role, Visit
from tests.calcs.routes.conftest import Planned
from tests.calcs.routes.town import MONDAY, NOW, ZONE, Town, make_due
from tests.factories import RuleSetFactory, SitingFactory, SurveyFactory, TimeOffFactory, UserFactory, VisitFactory

TUESDAY = MONDAY + datetime.timedelta(days=1)


def calls(plan: RoutePlan) -> dict[str, tuple[str, int, int]]:
    """Return by siting who goes there, on which day, from which minute."""
    return {
        call.code: (route.crew, route.day, call.from_min)
        for route in result_of(plan).routes
        for call in route.calls
        if not call.is_booked
    }


def at(day: datetime.date, hour: int, minute: int = 0) -> datetime.datetime:
    return datetime.datetime.combine(day, datetime.time(hour, minute), ZONE)


def test_homes_are_planned_and_booked_with_the_reason(town: Town, planned: Planned) -> None:
    dues = [make_due(10, 0), make_due(11, 0), make_due(-10, 0)]
    plan = planned(*dues)
    result = result_of(plan)
    assert result.is_proven
    assert result.figures.left_out == 0
    done = book_from(plan, by=town.office)
    assert not done.refused
    assert Visit.objects.count() == 3
    for visit in done.visits:
        crew, day, from_min = calls(plan)[str(visit.siting_id)]
        assert str(visit.lead_id) == crew
        assert visit.starts_at == at(MONDAY + datetime.timedelta(days=day), *divmod(from_min, 60))
        assert visit.ends_at - visit.starts_at == datetime.timedelta(minutes=90)
        assert visit.booked_why == "It moves."
        assert visit.needs == ["level"]
        by_ann = visit.lead == town.ann
        assert [*visit.crew.all()] == ([town.cy] if by_ann else [])
        assert [*visit.trucks.all()] == ([town.truck] if by_ann else [])
    plan.refresh_from_db()
    assert plan.booked == {str(visit.siting_id): str(visit.pk) for visit in done.visits}


def test_some_are_booked_and_the_rest_later_but_none_twice(town: Town, planned: Planned) -> None:
    dues = [make_due(10, 0), make_due(11, 0)]
    plan = planned(*dues)
    first = str(dues[0].siting_id)
    assert [str(one.siting_id) for one in book_from(plan, by=town.office, sitings=[first]).visits] == [first]
    assert [one.siting_id for one in book_from(plan, by=town.office).visits] == [dues[1].siting_id]
    assert book_from(plan, by=town.office).visits == ()
    assert Visit.objects.count() == 2


def test_what_clashes_meanwhile_is_told_and_the_rest_is_booked(town: Town, planned: Planned) -> None:
    dues = [make_due(10, 0), make_due(-10, 0)]
    crews = (AskedCrew(lead=str(town.ann.pk)),)
    plan = planned(*dues, crews=crews, to_on=MONDAY.isoformat())
    first = min(calls(plan).items(), key=lambda item: item[1][2])[0]
    VisitFactory(lead=town.ann, starts_at=at(MONDAY, 8), ends_at=at(MONDAY, 9))
    done = book_from(plan, by=town.office)
    assert list(done.refused) == [first]
    assert "ann" in done.refused[first]
    assert len(done.visits) == 1


def test_home_that_was_booked_meanwhile_is_told(town: Town, planned: Planned) -> None:
    due = make_due(10, 0)
    plan = planned(due)
    VisitFactory(siting=due.siting, starts_at=at(TUESDAY, 20), ends_at=at(TUESDAY, 21))
    done = book_from(plan, by=town.office)
    assert "booked already" in done.refused[str(due.siting_id)]


def test_booked_hours_days_off_and_holidays_hold(town: Town, planned: Planned) -> None:
    """Ann's helper is booked in the morning, Bo is off on Monday, and Tuesday is a holiday."""
    other = SitingFactory(latitude_deg="35.6", longitude_deg="-97.5")
    visit = VisitFactory(siting=other, starts_at=at(MONDAY, 8), ends_at=at(MONDAY, 14))
    visit.crew.add(town.cy)
    TimeOffFactory(person=town.bo, from_on=MONDAY, to_on=MONDAY)
    TimeOffFactory(from_on=TUESDAY, to_on=TUESDAY)
    dues = [make_due(10, 0), make_due(-10, 0), make_due(-12, 0)]
    plan = planned(*dues)
    (route,) = result_of(plan).routes
    assert (route.crew, route.day) == (str(town.ann.pk), 0)
    assert next(call.code for call in route.calls) == str(visit.pk)
    assert all(call.is_booked or call.from_min >= 14 * 60 for call in route.calls)
    assert [left.why for left in result_of(plan).left_out] == ["room", "room"]


def test_truck_that_is_taken_takes_its_crew(town: Town, planned: Planned) -> None:
    VisitFactory(starts_at=at(MONDAY, 8), ends_at=at(MONDAY, 17)).trucks.add(town.truck)
    crews = town.asked().crews[:1]
    plan = planned(make_due(5, 0), crews=crews)
    assert [day for _crew, day, _min in calls(plan).values()] == [1]


def test_skills_minutes_kinds_and_rules_are_those_of_the_record(town: Town, planned: Planned) -> None:
    town.company.rule_set = RuleSetFactory(values={"releveling_visit_min": 300, "road_mph": 30})
    town.company.save()
    due = make_due(5, 0)
    homes = (AskedHome(siting=str(due.siting_id), kind="releveling"),)
    plan = planned(due, homes=homes)
    assert plan.input["stops"][0]["minutes"] == 300
    assert plan.input["road_mph"] == 30
    assert [crew for crew, _day, _min in calls(plan).values()] == [str(town.ann.pk)]  # Bo does not lead releveling
    assert book_from(plan, by=town.office).visits[0].kind == "releveling"


def test_late_and_likely_homes_weigh_more(town: Town, planned: Planned) -> None:
    due, calm = make_due(5, 0, chance_now=0.5), make_due(6, 0, due_on=None, basis="nothing")
    plan = planned(due, calm)
    first, second = plan.input["stops"]
    assert (first["weight"], first["due_day"], first["first_day"]) == (3.0, -7, -67)
    assert (second["weight"], second["due_day"]) == (1.0, 36_500)


def test_season_goes_by_soil_rules_and_the_last_survey(town: Town, planned: Planned) -> None:
    due = make_due(5, 0)
    Due.objects.filter(pk=due.pk).update(
        survey=SurveyFactory(siting=due.siting, started_at=datetime.datetime(2025, 9, 1, tzinfo=datetime.UTC))
    )
    plan = planned(due)
    assert plan.input["stops"][0]["off_season"] == [0, 1]
    assert result_of(plan).figures.off_season == 1


def test_homes_that_can_not_be_planned_are_said(town: Town, planned: Planned) -> None:
    nowhere, booked = make_due(siting=SitingFactory()), make_due(3, 0)
    VisitFactory(siting=booked.siting, starts_at=at(TUESDAY, 20), ends_at=at(TUESDAY, 21))
    plan = planned(nowhere, booked, make_due(5, 0))
    assert plan.set_aside == {str(nowhere.siting_id): "place", str(booked.siting_id): "booked"}
    with pytest.raises(DomainError) as refused:
        request_plan(town.asked(nowhere, booked), by=town.office)
    assert (refused.value.code, refused.value.status) == ("nothing_to_plan", 409)


def test_locked_home_goes_where_it_is_locked_when_planned_again(
    town: Town, planned: Planned, django_capture_on_commit_callbacks: Any
) -> None:
    dues = [make_due(10, 0), make_due(11, 0)]
    plan = planned(*dues)
    key = str(dues[0].siting_id)
    lock = Lock(siting=key, lead=str(town.bo.pk), on=TUESDAY.isoformat())
    with django_capture_on_commit_callbacks(execute=True):
        again = plan_again(plan, [lock], by=town.office)
    again.refresh_from_db()
    assert calls(again)[key][:2] == (str(town.bo.pk), 1)
    assert again.replaces == plan
    assert asked_of(again).locks == (lock,)
    plan.refresh_from_db()
    assert plan.state == "done"


def test_today_begins_now(town: Town, planned: Planned) -> None:
    today = NOW.date().isoformat()
    plan = planned(make_due(5, 0), from_on=today, to_on=today)
    assert {shift["from_min"] for shift in plan.input["shifts"]} == {9 * 60 + 1}


def test_company_without_a_place_says_so(town: Town) -> None:
    Company.objects.update(latitude_deg=None, longitude_deg=None)
    with pytest.raises(DomainError) as refused:
        request_plan(town.asked(make_due(5, 0)), by=town.office)
    assert (refused.value.code, refused.value.status) == ("no_place", 409)


def test_nobody_working_says_so(town: Town) -> None:
    TimeOffFactory(from_on=MONDAY, to_on=TUESDAY)
    with pytest.raises(DomainError) as refused:
        request_plan(town.asked(make_due(5, 0)), by=town.office)
    assert (refused.value.code, refused.value.status) == ("nobody", 409)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"homes": ()}, "homes"),
        ({"crews": ()}, "crews"),
        ({"from_on": "2026-03-05"}, "from_on"),
        ({"to_on": "2026-03-08"}, "to_on"),
        ({"to_on": "2026-04-30"}, "to_on"),
        ({"weekdays": (5,)}, "weekdays"),
        ({"weekdays": (7,)}, "weekdays"),
        ({"locks": (Lock(siting="x", lead="y", on="2026-03-09"),)}, "locks[0].siting"),
    ],
)
def test_what_is_asked_wrongly_is_refused_at_its_field(town: Town, fields: dict[str, Any], field: str) -> None:
    with pytest.raises(DomainError) as refused:
        request_plan(town.asked(make_due(5, 0), **fields), by=town.office)
    assert list(refused.value.fields) == [field]
    assert RoutePlan.objects.count() == 0


def test_nobody_is_in_two_crews_and_no_truck(town: Town) -> None:
    twice = (AskedCrew(lead=str(town.ann.pk)), AskedCrew(lead=str(town.bo.pk), crew=(str(town.ann.pk),)))
    trucks = tuple(AskedCrew(lead=str(lead.pk), trucks=(str(town.truck.pk),)) for lead in (town.ann, town.bo))
    for crews in (twice, trucks):
        with pytest.raises(DomainError) as refused:
            request_plan(town.asked(make_due(5, 0), crews=crews), by=town.office)
        assert list(refused.value.fields) == ["crews"]


def test_people_trucks_and_homes_that_are_gone_are_refused(town: Town) -> None:
    due = make_due(5, 0)
    gone = UserFactory(roles=[Role.CREW_LEAD], is_active=False)
    cases: list[tuple[dict[str, Any], str]] = [
        ({"crews": (AskedCrew(lead=str(gone.pk)),)}, "crews"),
        ({"crews": (AskedCrew(lead=str(town.ann.pk), trucks=(str(due.pk),)),)}, "crews"),
        ({"crews": (AskedCrew(lead="nobody"),)}, "crews"),
        ({"homes": (AskedHome(siting=str(due.pk)),)}, "homes"),
        ({"homes": (AskedHome(siting=str(due.siting_id), kind="party"),)}, "homes[0].kind"),
        ({"homes": (AskedHome(siting=str(due.siting_id), minutes=1),)}, "homes[0].minutes"),
        ({"homes": (AskedHome(siting=str(due.siting_id), needs=("sing",)),)}, "homes[0].needs"),
    ]
    for fields, field in cases:
        with pytest.raises(DomainError) as refused:
            request_plan(town.asked(due, **fields), by=town.office)
        assert list(refused.value.fields) == [field]


def test_only_the_office_plans_and_books(town: Town, planned: Planned) -> None:
    due = make_due(5, 0)
    plan = planned(due)
    for ask in (lambda: request_plan(town.asked(due), by=town.ann), lambda: book_from(plan, by=town.ann)):
        with pytest.raises(DomainError) as refused:
            ask()
        assert refused.value.status == 403


def test_plan_is_booked_from_once_it_is_done_and_only_what_it_visits(town: Town, planned: Planned) -> None:
    due = make_due(5, 0)
    waiting = request_plan(town.asked(due), by=town.office)
    with pytest.raises(DomainError) as refused:
        book_from(waiting, by=town.office)
    assert (refused.value.code, refused.value.status) == ("not_done", 409)
    plan = planned(due)
    with pytest.raises(DomainError) as unknown:
        book_from(plan, by=town.office, sitings=[str(make_due(6, 0).siting_id)])
    assert list(unknown.value.fields) == ["sitings"]
