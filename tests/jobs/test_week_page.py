"""The week page: visits by crew and day, moved without a mouse, clock changes, holidays, as many queries for many."""

import datetime
import re
from collections.abc import Callable
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from jobs.crews import crew_of
from jobs.models import Role, User, Visit
from jobs.week import week_of
from tests.factories import (
    CompanyFactory,
    HomeFactory,
    SitingFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("America/Chicago")
SignIn = Callable[[User], Client]


def at(day: datetime.date, hour: int, minute: int = 0) -> datetime.datetime:
    return datetime.datetime.combine(day, datetime.time(hour, minute), ZONE)


MONDAY = datetime.date(2026, 3, 2)
TUESDAY, THURSDAY = datetime.date(2026, 3, 3), datetime.date(2026, 3, 5)


@pytest.fixture(autouse=True)
def _company(db: None) -> None:
    CompanyFactory(time_zone="America/Chicago")


@pytest.fixture
def ann() -> User:
    return UserFactory(first_name="Ann", last_name="Ash", roles=[Role.CREW_LEAD])


@pytest.fixture
def bo() -> User:
    return UserFactory(first_name="Bo", last_name="Birk", roles=[Role.CREW_LEAD])


def visit_on(day: datetime.date, lead: User | None, hours: tuple[int, int] = (8, 12), **more: Any) -> Visit:
    return VisitFactory(lead=lead, starts_at=at(day, hours[0]), ends_at=at(day, hours[1]), **more)


def put(client: Client, visit: Visit, day: datetime.date, lead: User | None) -> Any:
    given = {"visit": visit.pk, "version": visit.version, "day": f"{day:%Y-%m-%d}", "lead": lead.pk if lead else ""}
    return client.post("/week/put/", given)


def placed(user: User, day: datetime.date = TUESDAY) -> dict[str, list[int]]:
    """Return how many visits each crew has on each day."""
    return {row.name: [len(cell.visits) for cell in row.cells] for row in week_of(user, day).rows}


def test_visits_stand_by_crew_and_day(office: User, ann: User, bo: User) -> None:
    visit_on(TUESDAY, ann)
    visit_on(TUESDAY, ann, (13, 15))
    visit_on(THURSDAY, None)
    visit_on(MONDAY - datetime.timedelta(days=1), bo)  # the Sunday before
    assert placed(office) == {
        "Ann Ash": [0, 2, 0, 0, 0, 0, 0],
        "Bo Birk": [0, 0, 0, 0, 0, 0, 0],
        "no lead yet": [0, 0, 0, 1, 0, 0, 0],
    }


def test_the_day_is_that_of_the_companys_clock(office: User, ann: User) -> None:
    visit_on(TUESDAY, ann, (20, 22))  # in UTC it begins at two on Wednesday
    VisitFactory(lead=ann, starts_at=at(THURSDAY, 18), ends_at=at(THURSDAY, 0) + datetime.timedelta(days=1))
    assert placed(office)["Ann Ash"] == [0, 1, 0, 1, 0, 0, 0]


def test_a_visit_over_several_days_stands_on_each(office: User, ann: User) -> None:
    VisitFactory(lead=ann, starts_at=at(TUESDAY, 8), ends_at=at(THURSDAY, 12))
    (row,) = (row for row in week_of(office, TUESDAY).rows if row.lead == ann)
    assert [[(one.begins_here, one.ends_here) for one in cell.visits] for cell in row.cells[1:4]] == [
        [(True, False)],
        [(False, False)],
        [(False, True)],
    ]


def test_a_holiday_is_told_where_a_visit_is_put_and_can_be_confirmed(
    office: User, ann: User, client_for: SignIn
) -> None:
    TimeOffFactory(from_on=THURSDAY, to_on=THURSDAY, why="Founders' day")
    visit, client = visit_on(TUESDAY, ann), client_for(office)
    page = put(client, visit, THURSDAY, ann)
    assert page.status_code == 409
    shown = page.content.decode()
    assert "The company is off then: Founders&#x27; day, 5 Mar 2026." in shown
    form = shown[: shown.index("Put it there all the same")].rsplit("<form", 1)[1]
    sent = dict(re.findall(r'name="(visit|version|day|lead|despite)" value="([^"]*)"', form))
    assert sent["despite"] == "holiday"
    moved = client.post("/week/put/", sent, follow=True)
    assert "goes to Thu 5 Mar 2026: Ann Ash." in moved.content.decode()
    assert Visit.objects.get().starts_at == at(THURSDAY, 8)


def test_holidays_and_days_off_are_told(office: User, ann: User, client_for: SignIn) -> None:
    TimeOffFactory(from_on=THURSDAY, to_on=THURSDAY, why="Founders' day")
    helper = UserFactory(first_name="Cy", last_name="Cole")
    visit_on(MONDAY, ann).crew.add(helper)
    TimeOffFactory(person=helper, from_on=TUESDAY, to_on=THURSDAY, why="course")
    TimeOffFactory(truck=TruckFactory(name="Truck 2"), from_on=TUESDAY, to_on=TUESDAY, why="brakes")
    week = week_of(office, TUESDAY)
    assert [head.holidays for head in week.heads] == [[], [], [], ["Founders' day"], [], [], []]
    (row,) = (row for row in week.rows if row.lead == ann)
    assert [cell.off for cell in row.cells] == [[], *[["Cy Cole off: course"]] * 3, [], [], []]
    page = client_for(office).get(f"/week/?day={TUESDAY}").content.decode()
    assert "Founders&#x27; day" in page
    assert "Truck 2 is out of use, Tue 3 Mar to Tue 3 Mar: brakes" in page


def test_crew_see_their_own_week_and_move_nothing(ann: User, crew: User, client_for: SignIn) -> None:
    own, other = visit_on(TUESDAY, ann), visit_on(THURSDAY, None)
    own.crew.add(crew)
    assert placed(crew) == {"Ann Ash": [0, 1, 0, 0, 0, 0, 0]}
    client = client_for(crew)
    page = client.get(f"/week/?day={TUESDAY}").content.decode()
    assert str(own.siting.home) in page
    assert str(other.siting.home) not in page
    assert "week.js" not in page
    assert client.get(f"/week/?move={own.pk}").status_code == 403
    assert put(client, own, THURSDAY, ann).status_code == 403


def test_leads_see_all_and_move_nothing(ann: User, bo: User, client_for: SignIn) -> None:
    visit = visit_on(TUESDAY, bo)
    assert placed(ann)["Bo Birk"][1] == 1
    assert put(client_for(ann), visit, THURSDAY, bo).status_code == 403


def test_a_visit_is_moved_with_links_and_buttons_alone(office: User, ann: User, bo: User, client_for: SignIn) -> None:
    client, visit = client_for(office), visit_on(TUESDAY, ann)
    page = client.get(f"/week/?day={TUESDAY}").content.decode()
    link = re.search(r'class="move" href="([^"]+)"', page)
    assert link
    picking = client.get("/week/" + link[1].replace("&amp;", "&"))
    assert picking.content.decode().count('class="second here"') == 3 * 7  # two crews, and no lead yet
    answer = put(client, visit, THURSDAY, bo)
    assert answer["Location"] == f"/week/?day={THURSDAY}#visit-{visit.pk}"
    kept = Visit.objects.get(pk=visit.pk)
    assert (kept.starts_at, kept.ends_at, kept.lead) == (at(THURSDAY, 8), at(THURSDAY, 12), bo)


def test_with_another_lead_go_those_who_go_with_him(office: User, ann: User, bo: User, client_for: SignIn) -> None:
    anns, bos, truck = UserFactory(), UserFactory(), TruckFactory()
    visit, other = visit_on(TUESDAY, ann), visit_on(TUESDAY, bo, (13, 15))
    visit.crew.add(anns)
    other.crew.add(bos)
    other.trucks.add(truck)
    put(client_for(office), visit, TUESDAY, bo)
    kept = Visit.objects.get(pk=visit.pk)
    assert (kept.lead, list(kept.crew.all()), list(kept.trucks.all())) == (bo, [bos], [truck])
    put(client_for(office), kept, TUESDAY, None)
    kept.refresh_from_db()
    assert (kept.lead, kept.crew.exists(), kept.trucks.exists()) == (None, False, False)


def test_a_crew_is_who_went_along_on_the_nearest_visit(ann: User) -> None:
    near, far = UserFactory(), UserFactory()
    visit_on(MONDAY, ann).crew.add(near)
    visit_on(datetime.date(2026, 3, 12), ann).crew.add(far)
    visit_on(TUESDAY, ann, state="cancelled").crew.add(far)
    assert crew_of(ann, at(TUESDAY, 8))[0] == [near]
    assert crew_of(ann, at(datetime.date(2026, 6, 1), 8)) == ([], [])


def test_who_is_taken_there_is_told_and_nothing_moves(office: User, ann: User, client_for: SignIn) -> None:
    home = HomeFactory(code="H-12", name="Alder")
    other = visit_on(THURSDAY, ann, (11, 14), siting=SitingFactory(home=home))
    visit = visit_on(TUESDAY, ann)
    answer = put(client_for(office), visit, THURSDAY, ann)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Ann Ash is at H-12 Alder then: inspection, Thu 5 Mar 2026, 11:00 to 14:00." in page
    assert f'href="/visits/{other.pk}/"' in page
    assert Visit.objects.get(pk=visit.pk).starts_at == at(TUESDAY, 8)


def test_a_page_that_is_out_of_date_moves_nothing(office: User, ann: User, client_for: SignIn) -> None:
    visit = visit_on(TUESDAY, ann)
    Visit.objects.get(pk=visit.pk).save()
    assert put(client_for(office), visit, THURSDAY, ann).status_code == 412
    assert client_for(office).post("/week/put/", {"visit": visit.pk}).status_code == 400


@pytest.mark.parametrize("sunday", [datetime.date(2026, 3, 8), datetime.date(2026, 11, 1)])
def test_hours_stay_on_either_side_of_a_clock_change(
    office: User, ann: User, client_for: SignIn, sunday: datetime.date
) -> None:
    before, after = sunday - datetime.timedelta(days=2), sunday + datetime.timedelta(days=1)
    visit = visit_on(before, ann)
    put(client_for(office), visit, after, ann)
    kept = Visit.objects.get(pk=visit.pk)
    assert (kept.starts_at, kept.ends_at) == (at(after, 8), at(after, 12))


def test_a_visit_through_the_night_of_a_clock_change_keeps_its_hours_by_the_clock(
    office: User, ann: User, client_for: SignIn
) -> None:
    visit = VisitFactory(lead=ann, starts_at=at(TUESDAY, 22), ends_at=at(datetime.date(2026, 3, 4), 6))
    put(client_for(office), visit, datetime.date(2026, 3, 7), ann)  # the clock goes forward on the 8th at two
    kept = Visit.objects.get(pk=visit.pk)
    assert (kept.ends_at.astimezone(ZONE).hour, kept.ends_at - kept.starts_at) == (6, datetime.timedelta(hours=7))


def test_as_many_queries_for_many_visits_as_for_one(office: User, ann: User, client_for: SignIn) -> None:
    client, counts = client_for(office), []
    for more in (1, 6):
        for _ in range(more):
            lead = UserFactory(roles=[Role.CREW_LEAD])
            visit = visit_on(TUESDAY, lead)
            visit.crew.add(UserFactory())
            visit.trucks.add(TruckFactory())
            TimeOffFactory(person=UserFactory(), from_on=TUESDAY, to_on=TUESDAY)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(f"/week/?day={TUESDAY}").status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert counts[0] <= 9


@pytest.mark.parametrize("day", ["", "nonsense", "2026-02-31", "9999-12-31", "0001-01-01"])
def test_any_address_opens_a_week(office: User, client_for: SignIn, day: str) -> None:
    assert client_for(office).get("/week/", {"day": day, "move": day}).status_code == 200


@pytest.mark.parametrize("day", ["rubbish", "0001-01-01", "9999-12-31", "2026-02-31"])
def test_a_day_that_is_none_is_said_and_this_week_is_shown(client_for: SignIn, office: User, day: str) -> None:
    client = client_for(office)
    page = client.get("/week/", {"day": day})
    said = f"“{day}” is no day from 1 Jan 1970 to 31 Dec 2199: here is this week."
    assert [str(one) for one in page.context["messages"]] == [said]
    assert page.context["week"].monday == client.get("/week/").context["week"].monday
    assert not list(client.get("/week/", {"day": ""}).context["messages"])
