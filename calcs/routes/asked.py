"""What somebody asks to be planned: homes, days, crews, and what is locked. Rows go by their keys, days are ISO."""

import datetime
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from calcs.planning.problem import DAY_MIN, MOST_DAYS, MOST_SHIFTS, MOST_STOPS
from jobs.errors import DomainError
from jobs.models import Skill, Visit

Kind = Visit.Kind
MOST_CREWS = 10
LEAST_MINUTES = 5
WORKDAYS = (0, 1, 2, 3, 4)
# What somebody of a crew must be able to do, where it was not said; common practice, no source.
USUAL_NEEDS: dict[str, tuple[str, ...]] = {
    Kind.RECHECK: (Skill.LEVEL,),
    Kind.INSPECTION: (Skill.LEVEL,),
    Kind.CALL_BACK: (Skill.LEVEL,),
    Kind.RELEVELING: (Skill.LEVEL, Skill.RELEVEL),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedHome:
    """A home that is to be visited; without ``minutes`` and ``needs`` it goes by what is usual for the kind."""

    siting: str
    kind: str = Kind.RECHECK
    minutes: int | None = None
    needs: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedCrew:
    """A lead with the people and trucks that go along."""

    lead: str
    crew: tuple[str, ...] = ()
    trucks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Lock:
    """A home that goes to one crew on one day, whatever else would be better."""

    siting: str
    lead: str
    on: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Homes and crews, the first and the last day, and the days of the week on which somebody goes (0: Monday)."""

    homes: tuple[AskedHome, ...]
    crews: tuple[AskedCrew, ...]
    from_on: str
    to_on: str
    weekdays: tuple[int, ...] = WORKDAYS
    locks: tuple[Lock, ...] = ()

    @property
    def first(self) -> datetime.date:
        """Return day 0."""
        return datetime.date.fromisoformat(self.from_on)

    @property
    def last(self) -> datetime.date:
        """Return the last day."""
        return datetime.date.fromisoformat(self.to_on)

    def days(self) -> Iterator[datetime.date]:
        """Yield the days on which somebody goes."""
        for count in range((self.last - self.first).days + 1):
            day = self.first + datetime.timedelta(days=count)
            if day.weekday() in self.weekdays:
                yield day


def check_asked(asked: Asked, today: datetime.date) -> None:
    """Refuse what can't be planned, before anything of the record is looked at.

    Raises
    ------
    DomainError
        400 naming the field.
    """
    _check_days(asked, today)
    _check_count(asked.homes, "homes", MOST_STOPS)
    _check_count(asked.crews, "crews", MOST_CREWS)
    _check_once(asked)
    if len(list(asked.days())) * len(asked.crews) > MOST_SHIFTS:
        words = _("These are more than {most} days of crews: plan fewer days, or fewer crews, at once.")
        raise refused("to_on", words.format(most=MOST_SHIFTS))
    for place, home in enumerate(asked.homes):
        _check_home(home, f"homes[{place}]")
    for place, lock in enumerate(asked.locks):
        _check_lock(asked, lock, f"locks[{place}]")


def refused(field: str, sentence: str) -> DomainError:
    """Return what is raised of a field."""
    return DomainError("invalid", sentence, fields={field: sentence})


def _check_days(asked: Asked, today: datetime.date) -> None:
    if asked.first < today:
        raise refused("from_on", _("Plan from today on."))
    if not asked.first <= asked.last < asked.first + datetime.timedelta(days=MOST_DAYS):
        raise refused("to_on", _("Give a day from the first on, at most {most} days in all.").format(most=MOST_DAYS))
    if not set(asked.weekdays) <= set(range(7)):
        raise refused("weekdays", _("Days of the week go from 0, Monday, to 6, Sunday."))
    if not list(asked.days()):
        raise refused("weekdays", _("None of the days falls on these days of the week."))


def _check_count(rows: tuple[object, ...], field: str, most: int) -> None:
    if not rows:
        words = {"homes": _("Choose the homes that are to be visited."), "crews": _("Choose who may go.")}
        raise refused(field, words[field])
    if len(rows) > most:
        raise refused(field, _("Choose at most {most}.").format(most=most))


def _check_once(asked: Asked) -> None:
    people = (person for crew in asked.crews for person in {crew.lead, *crew.crew})
    if _twice(people):
        raise refused("crews", _("Somebody is in two crews: a crew goes together all day."))
    if _twice(truck for crew in asked.crews for truck in crew.trucks):
        raise refused("crews", _("A truck is with two crews."))
    if _twice(home.siting for home in asked.homes):
        raise refused("homes", _("A home is named twice."))
    if _twice(lock.siting for lock in asked.locks):
        raise refused("locks", _("A home is locked twice."))


def _twice(names: Iterable[str]) -> bool:
    every = list(names)
    return len(set(every)) < len(every)


def _check_home(home: AskedHome, field: str) -> None:
    if home.kind not in Kind.values:
        raise refused(f"{field}.kind", _("Choose one of: {kinds}.").format(kinds=", ".join(Kind.values)))
    if home.minutes is not None and not LEAST_MINUTES <= home.minutes <= DAY_MIN:
        words = _("Give {low} to {high} minutes.")
        raise refused(f"{field}.minutes", words.format(low=LEAST_MINUTES, high=DAY_MIN))
    if not set(home.needs or ()) <= set(Skill.values):
        raise refused(f"{field}.needs", _("Choose from: {skills}.").format(skills=", ".join(Skill.values)))


def _check_lock(asked: Asked, lock: Lock, field: str) -> None:
    if lock.siting not in {home.siting for home in asked.homes}:
        raise refused(f"{field}.siting", _("This home is not among those to be planned."))
    if lock.lead not in {crew.lead for crew in asked.crews}:
        raise refused(f"{field}.lead", _("This crew is not among those that may go."))
    if lock.on not in {day.isoformat() for day in asked.days()}:
        raise refused(f"{field}.on", _("This is not one of the days to be planned."))
