"""The manager's figures, counted by hand; every number is the length of the list that it leads to."""

import datetime
import re
import statistics
from collections.abc import Callable
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from calcs import all_homes
from calcs.all_homes import CallBacks
from calcs.models import Due
from jobs.models import Role, User
from tests.factories import (
    BenchmarkFactory,
    CompanyFactory,
    DueFactory,
    HomeFactory,
    JobFactory,
    SitingFactory,
    UserFactory,
)

pytestmark = pytest.mark.django_db
DAY = datetime.date
TODAY = DAY(2026, 6, 1)
SignIn = Callable[[User], Client]


@pytest.fixture(autouse=True)
def _today(time_machine: time_machine.TimeMachineFixture) -> None:
    time_machine.move_to(datetime.datetime(2026, 6, 1, 17, 0, tzinfo=datetime.UTC), tick=False)
    CompanyFactory()


def home(soil: str, standing: str, rate: float | None = None, **fields: Any) -> Due:
    usual = {"basis": "measured" if rate is not None else "calendar", "footing": "precast"}
    found: Due = DueFactory(siting__home__soil_class=soil, standing=standing, rate_in_per_yr=rate, **usual | fields)
    return found


def eight_homes() -> None:
    home("4A", "over", -0.4)
    home("4A", "over", 0.2, siting__home__built_on=DAY(1970, 1, 1))
    home("4A", "within", -0.1, footing="wood")
    marked = home("4A", "near")
    home("2", "within", 0.05, siting__home__built_on=DAY(2020, 1, 1))
    home("2", "unknown", 0.9, basis="prior", footing="")  # the rate of like homes, not its own
    home("2", "over", siting__home__archived_at=timezone.now())
    home("2", "over", siting__to_on=DAY(2026, 1, 1))
    for _ in range(3):
        BenchmarkFactory(point__siting=marked.siting)
    SitingFactory()  # which no night has told of yet


def test_how_homes_stand_is_counted_over_those_that_stand() -> None:
    eight_homes()
    found = all_homes.gather(TODAY)
    assert (found.homes, found.not_computed) == (6, 1)
    assert [(one.key, one.count) for one in found.standings] == [
        ("within", 2),
        ("near", 1),
        ("over", 2),
        ("unknown", 1),
    ]
    assert [one.share for one in found.standings] == pytest.approx([2 / 6, 1 / 6, 2 / 6, 1 / 6])
    assert [(one.key, one.count) for one in found.marks] == [("0", 5), ("1", 0), ("2", 0), ("3", 1)]


def test_rates_by_class_by_hand() -> None:
    eight_homes()
    found = all_homes.gather(TODAY)
    dense, clay = found.by_soil
    assert (clay.key, clay.homes, clay.over, clay.measured) == ("4A", 4, 2, 3)
    # 0.1, 0.2 and 0.4 in a year, up or down: the middle one; and eight tenths of the way from the second to the third
    assert (clay.half_in_per_yr, clay.nine_in_ten_in_per_yr) == pytest.approx((0.2, 0.36))
    assert (dense.key, dense.homes, dense.over, dense.measured) == ("2", 2, 0, 1)
    assert (dense.half_in_per_yr, dense.nine_in_ten_in_per_yr) == pytest.approx((0.05, 0.05))
    assert (clay.bar, dense.bar) == pytest.approx((0.8, 0.2))  # of 0.25, the fastest of all tables
    by_foundation = {one.key: (one.homes, one.measured, one.half_in_per_yr) for one in found.by_foundation}
    # 0.4, 0.2 and 0.05 on precast concrete
    assert by_foundation == {"precast": (4, 3, 0.2), "wood": (1, 1, 0.1), "unknown": (1, 0, None)}
    by_age = {one.key: (one.homes, one.measured, one.half_in_per_yr) for one in found.by_age}
    assert by_age == {
        "under_10": (1, 1, 0.05),
        "from_50": (1, 1, 0.2),
        "unknown": (4, 2, pytest.approx(0.25)),  # half way between 0.1 and 0.4
    }


def test_shares_of_many_against_the_standard_library() -> None:
    rates = [round(0.013 * (n * 37 % 101) - 0.5, 4) for n in range(60)]
    for rate in rates:
        home("3", "within", rate)
    sizes = [abs(rate) for rate in rates]
    (sand,) = all_homes.gather(TODAY).by_soil
    tenths = statistics.quantiles(sizes, n=10, method="inclusive")
    assert sand.half_in_per_yr == pytest.approx(statistics.median(sizes))
    assert sand.nine_in_ten_in_per_yr == pytest.approx(tenths[8])


def test_call_backs_by_hand() -> None:
    def done(done_on: datetime.date, months: int | None) -> Any:
        return JobFactory(state="done", asked_on=DAY(2020, 1, 1), done_on=done_on, warranty_months=months)

    def complained(of: Any, asked_on: datetime.date, **fields: Any) -> None:
        JobFactory(home=of.home, call_back_of=of, asked_on=asked_on, **fields)

    running = done(DAY(2025, 6, 1), 12)  # its last day is today
    complained(running, DAY(2026, 1, 1))
    complained(running, DAY(2026, 5, 1), state="declined", state_reason="ours to mend is the level, not the wall")
    done(DAY(2026, 2, 1), 12)
    over = done(DAY(2024, 1, 31), 13)  # to the last of February
    complained(over, DAY(2025, 2, 28))
    complained(over, DAY(2025, 3, 1))
    without = done(DAY(2026, 1, 1), None)
    complained(without, DAY(2026, 2, 1))
    done(DAY(2025, 5, 31), 12)
    JobFactory()
    assert all_homes.gather(TODAY).call_backs == CallBacks(inside=3, outside=2, running=2, called_back=1)


def test_nothing_is_computed_yet(manager: User, client_for: SignIn) -> None:
    found = all_homes.gather(TODAY)
    assert (found.homes, found.as_of, found.by_soil) == (0, None, ())
    assert [one.share for one in found.standings] == [0, 0, 0, 0]
    assert client_for(manager).get("/all-homes/").status_code == 200


# -- page and API ----------------------------------------------------------------------------------------------------


def test_every_number_is_as_long_as_the_list_it_leads_to(manager: User, client_for: SignIn) -> None:
    eight_homes()
    earlier = JobFactory(state="done", done_on=DAY(2026, 2, 1), warranty_months=12)
    JobFactory(home=earlier.home, call_back_of=earlier, asked_on=DAY(2026, 3, 1))
    client = client_for(manager)
    page = client.get("/all-homes/").content.decode()
    links = re.findall(r'href="(/(?:due|all-homes)/[^"]+)">(\d+)</a>', page)
    assert len(links) == 1 + 1 + 4 + 4 + 4 + 3 * (2 + 3 + 3)
    for address, number in links:
        shown = client.get(address.replace("&amp;", "&"))
        assert shown.status_code == 200
        assert shown.context["page"].paginator.count == int(number), address


def test_the_api_has_the_same_figures(manager: User, api_for: Callable[[User], APIClient]) -> None:
    eight_homes()
    client = api_for(manager)
    told = client.get("/api/v1/all-homes/").json()
    assert (told["homes"], told["not_computed"], told["as_of"]) == (6, 1, "2026-03-03")
    assert told["by_soil"][1] == {
        **{"key": "4A", "label": "4A loose to medium sand, firm to stiff clay", "homes": 4, "over": 2, "measured": 3},
        **{"half_in_per_yr": pytest.approx(0.2), "nine_in_ten_in_per_yr": pytest.approx(0.36)},
    }
    for name, filter_name in (("standings", "standing"), ("marks", "marks")):
        for one in told[name]:
            rows = client.get(f"/api/v1/due/?{filter_name}={one['key']}").json()["results"]
            assert len(rows) == one["count"]


@pytest.mark.parametrize("role", [Role.OFFICE, Role.CREW_LEAD, Role.CREW])
@pytest.mark.parametrize(
    "address", ["/all-homes/", "/all-homes/jobs/inside/", "/all-homes/not-computed/", "/api/v1/all-homes/"]
)
def test_figures_are_the_managers(role: Role, address: str, client_for: SignIn) -> None:
    assert client_for(UserFactory(roles=[role])).get(address).status_code == 403


def test_there_are_no_other_lists_of_jobs(manager: User, client_for: SignIn) -> None:
    assert client_for(manager).get("/all-homes/jobs/lost/").status_code == 404


def test_the_pages_take_as_many_queries_for_three_homes_as_for_one(manager: User, client_for: SignIn) -> None:
    client, counts = client_for(manager), []
    for more in (1, 2):
        for n in range(more):
            home("4A", "over", 0.2 + n)
            SitingFactory(home=HomeFactory())
            earlier = JobFactory(state="done", done_on=DAY(2026, 2, 1), warranty_months=12)
            JobFactory(home=earlier.home, call_back_of=earlier, asked_on=DAY(2026, 3, 1))
        taken = []
        for address in ("", "jobs/inside/", "jobs/running/", "not-computed/"):
            with CaptureQueriesContext(connection) as queries:
                assert client.get(f"/all-homes/{address}").status_code == 200
            taken.append(len(queries))
        counts.append(taken)
    assert counts[0] == counts[1]
