"""From what somebody asks and the record as it is, the planner's document; and which homes are not in it, and why."""

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _

from calcs.models import Due
from calcs.planning.problem import MOST_LATE_DAYS, PlanInput, Stop
from calcs.routes.asked import USUAL_NEEDS, Asked, AskedHome, check_asked, refused
from calcs.routes.shifts import place_of, shifts_of
from jobs.clock import company_zone
from jobs.errors import DomainError
from jobs.models import Company, Truck, User, Visit
from jobs.papers import company_rules, rules_of, the_company
from jobs.rulebook import Rules
from jobs.seasons import Fit, is_same_season, season_on

NO_PLACE, BOOKED, GONE = "place", "booked", "gone"
NEVER_LATE = MOST_LATE_DAYS  # the due day of a home of which none is known: it may go whenever there is room


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """The planner's document, and by siting why a home is not in it."""

    document: PlanInput
    set_aside: dict[str, str]


def read(asked: Asked, by: User, now: datetime.datetime) -> Read:
    """Return what is to be planned, of the rows that ``by`` may see.

    Raises
    ------
    DomainError
        400 naming the field; 409 where the company's place is not on record, no crew works on any of the days, or
        none of the homes can be planned.
    """
    check_asked(asked, now.astimezone(company_zone()).date())
    company = the_company()
    yard = place_of(company) if company else None
    if company is None or yard is None:
        words = _("Where the company's trucks start is not on record: give its latitude and longitude first.")
        raise DomainError("no_place", words, status=409)
    people = _people(asked)
    _check_trucks(asked)
    shifts = shifts_of(asked, company, yard, people, now)
    if not shifts:
        raise DomainError("nobody", _("None of these crews works on any of these days."), status=409)
    dues = _dues(asked, by)
    set_aside = _set_aside(dues, now)
    stops = tuple(
        _stop(home, dues[home.siting], asked, company) for home in asked.homes if home.siting not in set_aside
    )
    if not stops:
        words = _("None of these homes can be planned: they have no place on record, or are booked already.")
        raise DomainError("nothing_to_plan", words, fields={"homes": words}, status=409)
    rules = company_rules(company)
    document = PlanInput(
        stops=stops,
        shifts=shifts,
        road_factor=rules["road_factor"],
        road_mph=rules["road_mph"],
        late_day_mi=rules["plan_late_day_mi"],
        off_season_mi=rules["plan_off_season_mi"],
    )
    return Read(document=document, set_aside=set_aside)


def keys(names: Iterable[str], field: str) -> list[UUID]:
    """Return keys as they were sent, each a key."""
    try:
        return [UUID(name) for name in names]
    except ValueError:
        raise refused(field, _("This is no key of a row.")) from None


def _people(asked: Asked) -> dict[str, User]:
    named = [key for crew in asked.crews for key in (crew.lead, *crew.crew)]
    people = {str(one.pk): one for one in User.objects.filter(pk__in=keys(named, "crews"), is_active=True)}
    if unknown := set(named) - set(people):
        raise refused("crews", _("Somebody chosen no longer works here ({count}).").format(count=len(unknown)))
    return people


def _check_trucks(asked: Asked) -> None:
    named = {key for crew in asked.crews for key in crew.trucks}
    if Truck.objects.standing().filter(pk__in=keys(named, "crews")).count() < len(named):
        raise refused("crews", _("A truck that was chosen is no longer in use."))


def _dues(asked: Asked, by: User) -> dict[str, Due]:
    named = keys((home.siting for home in asked.homes), "homes")
    rows = Due.objects.visible_to(by).filter(siting__in=named)
    found = {
        str(due.siting_id): due for due in rows.select_related("siting__home__rule_set", "survey").defer("lines")
    }
    if len(found) < len(named):
        raise refused("homes", _("A home that was chosen is not on the list of who is due."))
    return found


def _set_aside(dues: Mapping[str, Due], now: datetime.datetime) -> dict[str, str]:
    """Return the homes that can't be planned, and why."""
    found = {key: why for key, due in dues.items() if (why := _why_aside(due))}
    coming = Visit.objects.filter(siting__in=list(dues), state__in=Visit.UNDER_WAY, ends_at__gte=now)
    return {str(key): BOOKED for key in coming.values_list("siting", flat=True)} | found


def _why_aside(due: Due) -> str:
    if due.siting.to_on is not None or due.siting.home.archived_at is not None:
        return GONE
    return "" if place_of(due.siting) else NO_PLACE


def _stop(home: AskedHome, due: Due, asked: Asked, company: Company) -> Stop:
    place, rules = place_of(due.siting), rules_of(due.siting.home, company)
    assert place is not None  # noqa: S101 - the others are set aside
    due_day = NEVER_LATE if due.due_on is None else (due.due_on - asked.first).days
    lock = next((one for one in asked.locks if one.siting == home.siting), None)
    return Stop(
        code=home.siting,
        place=place,
        minutes=home.minutes or round(rules[f"{home.kind}_visit_min"]),
        needs=USUAL_NEEDS[home.kind] if home.needs is None else home.needs,
        due_day=due_day,
        first_day=-MOST_LATE_DAYS if due.due_on is None else due_day - round(rules["plan_early_days"]),
        weight=round(1 + rules["plan_chance_weight"] * (due.chance_now or 0.0), 6),
        off_season=tuple((day - asked.first).days for day in asked.days() if _is_off_season(due, day, rules)),
        locked_crew=lock.lead if lock else None,
        locked_day=(datetime.date.fromisoformat(lock.on) - asked.first).days if lock else None,
    )


def _is_off_season(due: Due, day: datetime.date, rules: Rules) -> bool:
    """Tell whether a day is poor for the ground there, or far in the year from the last survey."""
    if season_on(day, soil_class=due.siting.home.soil_class, rules=rules).fit == Fit.POOR:
        return True
    return due.survey is not None and not is_same_season(day, timezone.localdate(due.survey.started_at))
