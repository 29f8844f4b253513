"""Booking: who goes where and when. Pages, API, admin and the planner write visits here, and nowhere else."""

import datetime
from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.booking_questions import ask
from jobs.clashes import Conflict, clashes_in, is_clash
from jobs.clock import company_zone, on_day
from jobs.crews import crew_of
from jobs.errors import DomainError
from jobs.mails import tell
from jobs.models import Home, Job, MailKind, Siting, Skill, Truck, User, Visit
from jobs.models.base import Act
from jobs.rights import need, need_on

State = Visit.State

# What may follow what. A visit that is over is opened again before it goes on.
NEXT: Mapping[str, frozenset[str]] = {
    State.BOOKED: frozenset({State.ON_SITE, State.DONE, State.REFUSED, State.CANCELLED}),
    State.ON_SITE: frozenset({State.BOOKED, State.DONE, State.REFUSED, State.CANCELLED}),
    State.DONE: frozenset({State.BOOKED, State.ON_SITE}),
    State.REFUSED: frozenset({State.BOOKED, State.ON_SITE}),
    State.CANCELLED: frozenset({State.BOOKED}),
}
NEEDS_A_REASON = frozenset({State.REFUSED, State.CANCELLED})
_WHEN_AND_WHO = frozenset({"starts_at", "ends_at", "lead", "crew", "trucks", "needs"})
_HOURS = frozenset({"starts_at", "ends_at"})
_MANY = ("crew", "trucks")
_TOLD = frozenset({"starts_at", "ends_at", "kind", "state"})  # what the people of a home hear of
# What is further off, longer, or so long ago, was mistyped; common practice, no source.
MOST_DAYS, MOST_YEARS, MOST_YEARS_AGO = 31, 3, 50
YEAR = datetime.timedelta(days=366)


def book(
    *,
    by: User,
    siting: Siting,
    kind: str,
    starts_at: datetime.datetime,
    ends_at: datetime.datetime,
    lead: User | None,
    crew: Iterable[User] = (),
    trucks: Iterable[Truck] = (),
    job: Job | None = None,
    needs: Collection[str] = (),
    why: str = "",
    note: str = "",
    despite: Collection[str] = (),
) -> Visit:
    """Book a visit; ``why`` is kept with it: the reason for which the home was due.

    ``despite`` holds the codes of questions (``booking_questions``) that are answered: it is booked all the same.

    Raises
    ------
    Conflict
        409, when somebody or a truck would be in two places at once.
    DomainError
        403 without the right; 409 for people who may not come or can't do what it needs, at the field;
        409 ``holiday`` or ``same_home`` for hours that speak against it, unless ``despite`` has the code.
    """
    need(by, Act.ADD, Visit)
    visit = Visit(siting=siting, kind=kind, booked_why=why, note=note)
    given = {"starts_at": starts_at, "ends_at": ends_at, "lead": lead, "job": job, "needs": list(needs)}
    return _write(visit, {**given, "crew": list(crew), "trucks": list(trucks)}, by, despite)


def move(
    visit: Visit,
    *,
    by: User,
    starts_at: datetime.datetime,
    ends_at: datetime.datetime,
    lead: User | None = None,
    crew: Iterable[User] | None = None,
    trucks: Iterable[Truck] | None = None,
    reason: str = "",
    despite: Collection[str] = (),
) -> Visit:
    """Move a visit to other hours, and to other people or trucks where they are given; None leaves them."""
    values: dict[str, Any] = {"starts_at": starts_at, "ends_at": ends_at, "state_reason": reason}
    given = {"lead": lead, "crew": crew, "trucks": trucks}
    kept = {name: one for name, one in given.items() if one is not None}
    return change(visit, by=by, values=values | kept, despite=despite)


def put(visit: Visit, *, by: User, day: datetime.date, lead: User | None, despite: Collection[str] = ()) -> Visit:
    """Put a visit on another day at the same hours of the clock, or with another crew, or both.

    With another lead go those who go with him (``crew_of``); without a lead nobody is on the visit yet.
    """
    zone = company_zone()
    first = visit.starts_at.astimezone(zone).date()
    last = day + (visit.ends_at.astimezone(zone).date() - first)
    values: dict[str, Any] = {"starts_at": on_day(visit.starts_at, day, zone)}
    values["ends_at"] = on_day(visit.ends_at, last, zone)
    if lead != visit.lead:
        crew, trucks = crew_of(lead, values["starts_at"], but=visit) if lead else ([], [])
        values |= {"lead": lead, "crew": crew, "trucks": trucks}
    return change(visit, by=by, values=values, despite=despite)


def set_state(visit: Visit, *, by: User, state: str, reason: str = "") -> Visit:
    """Say how a visit stands; nobody let in, and cancelled, with the reason."""
    return change(visit, by=by, values={"state": state, "state_reason": reason})


def follow_report(visit: Visit, *, by: User, state: str, reason: str) -> None:
    """Set a visit that is not over to what somebody on it told from there, whatever his role; else leave it."""
    if visit.refusal(by, Act.CHANGE, {"state"}) is None:
        with suppress(Conflict):  # of a visit that clashed before anybody was kept from it: the report is kept
            _write(visit, {"state": state, "state_reason": reason}, by)


def change(visit: Visit, *, by: User, values: Mapping[str, Any], despite: Collection[str] = ()) -> Visit:
    """Change any fields of a visit as it was read: ``crew`` and ``trucks`` as a whole, the others as they are named.

    Raises
    ------
    Stale
        When somebody else has changed it since.
    Conflict, DomainError
        As ``book``; 409 also for a state that can't follow, or a visit that is over.
    """
    known = {name: list(getattr(visit, name).all()) for name in _MANY if name in values}
    given = {name: list(one) if name in known else one for name, one in values.items()}
    changed = {
        name: one
        for name, one in given.items()
        if (set(one) != set(known[name]) if name in known else one != getattr(visit, name))
    }
    need_on(by, Act.CHANGE, visit, changed)
    if "state" in changed:
        _check_next(visit, values["state"], values.get("state_reason", ""))
        changed.setdefault("state_reason", values.get("state_reason", ""))
    if _WHEN_AND_WHO & changed.keys() and changed.get("state", visit.state) not in Visit.UNDER_WAY:
        raise DomainError("over", _("This visit is over: open it again first."), status=409)
    return _write(visit, changed, by, despite)


def lacking(needs: Iterable[str], people: Iterable[User]) -> list[str]:
    """Return what a visit needs that none of these people can do."""
    can = {skill for person in people for skill in person.skills}
    return [skill for skill in dict.fromkeys(needs) if skill not in can]


@transaction.atomic
def _write(visit: Visit, values: Mapping[str, Any], by: User, despite: Collection[str] = ()) -> Visit:
    for name in values.keys() - set(_MANY):
        setattr(visit, name, values[name])
    people, trucks = _people(visit, values), _rows(visit, "trucks", values)
    if _WHEN_AND_WHO & values.keys():
        _check_span(visit, values)
        _check_place_and_hours(visit)
        _check_crew(visit, people, values)
        _check_trucks(values)
    if "job" in values and visit.job is not None:
        _check_job(visit, visit.job)
    _lock(visit, people, trucks)
    if _HOURS & values.keys():
        ask(visit, despite)
    try:
        with transaction.atomic():
            _save(visit, values)
    except IntegrityError as error:
        if not is_clash(error):
            raise
        clashes = clashes_in(
            starts_at=visit.starts_at, ends_at=visit.ends_at, people=people, trucks=trucks, but=visit
        )
        raise Conflict(clashes, lead=visit.lead) from error
    if _TOLD & values.keys() and visit.state in (State.BOOKED, State.CANCELLED):
        tell(visit, MailKind.CANCELLED if visit.state == State.CANCELLED else MailKind.CHANGED, by)
    return visit


def _rows(visit: Visit, name: str, values: Mapping[str, Any]) -> list[Any]:
    """Return who or what is to be on the visit: as given, or as it is."""
    return list(values[name]) if name in values else list(getattr(visit, name).all())


def _people(visit: Visit, values: Mapping[str, Any]) -> list[User]:
    lead = [visit.lead] if visit.lead else []
    return list(dict.fromkeys([*lead, *_rows(visit, "crew", values)]))


def _check_place_and_hours(visit: Visit) -> None:
    if visit.ends_at <= visit.starts_at:
        sentence = _("A visit ends after it starts.")
        raise DomainError("invalid", sentence, fields={"ends_at": sentence})
    if visit.siting.home.archived_at is not None:
        sentence = _("This home is archived: the office restores it first, then it can be changed.")
        raise DomainError("archived", sentence, status=409)
    left_on = visit.siting.to_on
    if left_on is not None and visit.starts_at.astimezone(company_zone()).date() >= left_on:
        sentence = _("The home stands there only until {day}.").format(day=date_format(left_on, "j M Y"))
        raise DomainError("invalid", sentence, fields={"starts_at": sentence})


def _check_span(visit: Visit, values: Mapping[str, Any]) -> None:
    """Refuse hours that nobody means: a visit of many weeks, one in many years, or one before anybody's time."""
    if _HOURS & values.keys() and visit.ends_at - visit.starts_at > datetime.timedelta(days=MOST_DAYS):
        sentence = _("A visit is at most {days} days long.").format(days=MOST_DAYS)
        raise DomainError("invalid", sentence, fields={"ends_at": sentence})
    if "starts_at" not in values:
        return
    now, sentence = timezone.now(), ""
    if visit.starts_at > now + MOST_YEARS * YEAR:
        sentence = _("A visit begins at most {years} years from today.").format(years=MOST_YEARS)
    elif visit.starts_at < now - MOST_YEARS_AGO * YEAR:
        sentence = _("A visit began at most {years} years ago.").format(years=MOST_YEARS_AGO)
    if sentence:
        raise DomainError("invalid", sentence, fields={"starts_at": sentence})


def _check_crew(visit: Visit, people: list[User], values: Mapping[str, Any]) -> None:
    """Refuse people who don't work here any more, and people none of whom can do what the visit needs."""
    asked = {"lead": [values.get("lead")], "crew": values.get("crew", ())}
    for field, several in asked.items():
        if gone := [str(person) for person in several if person and not person.is_active]:
            sentence = _("No longer works here: {names}.").format(names=", ".join(gone))
            raise DomainError("inactive", sentence, fields={field: sentence}, status=409)
    missing = lacking(visit.needs, people)
    if people and missing:
        skills = "; ".join(str(Skill(skill).label) for skill in missing)
        names = ", ".join(map(str, people))
        sentence = _("This visit needs somebody for “{skills}”, and none of these can: {names}.")
        sentence = sentence.format(skills=skills, names=names)
        raise DomainError("lacks_skill", sentence, fields={"crew": sentence}, status=409)


def _check_trucks(values: Mapping[str, Any]) -> None:
    if gone := [str(truck) for truck in values.get("trucks", ()) if truck.archived_at]:
        sentence = _("No longer in use: {trucks}.").format(trucks=", ".join(gone))
        raise DomainError("archived", sentence, fields={"trucks": sentence}, status=409)


def _check_job(visit: Visit, job: Job) -> None:
    sentence = ""
    if job.home_id != visit.siting.home_id:
        sentence = _("This job is of another home.")
    elif job.state in (Job.State.DONE, Job.State.DECLINED):
        sentence = _("This job is over: open it again first.")
    if sentence:
        raise DomainError("invalid", sentence, fields={"job": sentence}, status=409)


def _check_next(visit: Visit, state: str, reason: str) -> None:
    if state not in NEXT[visit.state]:
        sentence = _("A visit that is “{state}” does not become “{next}”.").format(
            state=visit.get_state_display(), next=State(state).label
        )
        raise DomainError("invalid", sentence, fields={"state": sentence}, status=409)
    if state in NEEDS_A_REASON and not reason.strip():
        sentence = _("Say why.")
        raise DomainError("invalid", sentence, fields={"state_reason": sentence})


def _lock(visit: Visit, people: Collection[User], trucks: Collection[Truck]) -> None:
    """Let two who book the same home or people wait for each other, in one order, so that there is no deadlock."""
    asked: tuple[tuple[type[Any], Collection[Any]], ...] = (
        (Visit, [visit]),
        (Home, [visit.siting.home]),
        (User, people),
        (Truck, trucks),
    )
    for model, rows in asked:
        keys = sorted(row.pk for row in rows)
        list(model.objects.filter(pk__in=keys).order_by("pk").select_for_update(no_key=True).values_list("pk"))


def _save(visit: Visit, values: Mapping[str, Any]) -> None:
    """Take off first who does not come along: else the new hours would be held against them."""
    for name in () if visit._state.adding else _MANY:
        getattr(visit, name).remove(*set(getattr(visit, name).all()).difference(_rows(visit, name, values)))
    visit.save()
    for name in _MANY:
        getattr(visit, name).add(*values.get(name, ()))
