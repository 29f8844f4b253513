"""The company's people, crews and trucks, as the season's services take them; and its clock."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from calcs.demo.people import CREWS, MANAGER, OFFICE
from jobs.clock import company_zone
from jobs.models import Truck, User

PAYLOAD_LB = {"Truck 1": 3200, "Truck 2": 2600, "Truck 3": 3200, "Truck 4": 1900}


@dataclass(frozen=True, slots=True, kw_only=True)
class Crew:
    """Who goes out together, and with which truck."""

    lead: User
    crew: tuple[User, ...]
    truck: Truck


@dataclass(frozen=True, slots=True, kw_only=True)
class Staff:
    """Everybody, by role and by crew."""

    office: User
    manager: User
    crews: tuple[Crew, ...]
    people: Mapping[str, User]


def staff() -> Staff:
    """Return everybody; trucks that are not there yet are added."""
    people = {user.username: user for user in User.objects.all()}
    crews = tuple(
        Crew(lead=people[each.lead], crew=tuple(people[name] for name in each.crew), truck=_truck(each.truck))
        for each in CREWS
    )
    return Staff(office=people[OFFICE], manager=people[MANAGER], crews=crews, people=people)


def _truck(name: str) -> Truck:
    return Truck.objects.get_or_create(name=name, archived_at=None, defaults={"payload_lb": PAYLOAD_LB[name]})[0]


def at(day: datetime.date, hour: int, minute: int = 0) -> datetime.datetime:
    """Return a time of a day by the company's clock."""
    return datetime.datetime.combine(day, datetime.time(hour, minute), company_zone())


def monday_of(day: datetime.date) -> datetime.date:
    """Return the Monday of a day's week."""
    return day - datetime.timedelta(days=day.weekday())
