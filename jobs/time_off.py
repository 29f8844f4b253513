"""Days off: of a person, of a truck, or of the whole company. Whoever is off can't be booked, nor off twice."""

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.booking import MOST_YEARS, MOST_YEARS_AGO, YEAR
from jobs.clashes import Conflict, clashes_in, is_clash
from jobs.clock import ONE_DAY, company_zone, start_of
from jobs.errors import DomainError, Stale
from jobs.models import TimeOff, Truck, User, Visit
from jobs.models.base import Act
from jobs.rights import need, need_on

VISITS_NAMED = 3


def keep_off(time_off: TimeOff, *, by: User) -> TimeOff:
    """Keep days off, new ones or changed ones.

    Raises
    ------
    Conflict
        409, when the person or truck is booked or off on one of these days: who, where and when.
    DomainError
        403 without the right; 409 for somebody who works here no more, or a truck that is archived; 400 for days that
        nobody means, at the field.
    """
    is_new = time_off._state.adding
    if is_new:
        need(by, Act.ADD, TimeOff)
    else:
        need_on(by, Act.CHANGE, time_off)
    _check_works_here(time_off)
    _check_days(time_off)
    try:
        with transaction.atomic():
            time_off.save(force_insert=is_new)
    except IntegrityError as error:
        if not is_clash(error):
            raise
        raise _conflict(time_off) from error
    return time_off


def _check_works_here(time_off: TimeOff) -> None:
    person, truck = time_off.person, time_off.truck
    problems = {}
    if person is not None and not person.is_active:
        problems["person"] = _("No longer works here: {names}.").format(names=person)
    if truck is not None and truck.archived_at is not None:
        problems["truck"] = _("No longer in use: {trucks}.").format(trucks=truck)
    if problems:
        raise DomainError("conflict", _("Some fields need another look."), fields=problems, status=409)


def _check_days(time_off: TimeOff) -> None:
    """Refuse days so far off, or so long ago, that the year was mistyped."""
    today = timezone.now().astimezone(company_zone()).date()
    if time_off.to_on > today + MOST_YEARS * YEAR:
        sentence = _("Days off end at most {years} years from today.").format(years=MOST_YEARS)
        raise DomainError("invalid", sentence, fields={"to_on": sentence})
    if time_off.from_on < today - MOST_YEARS_AGO * YEAR:
        sentence = _("Days off began at most {years} years ago.").format(years=MOST_YEARS_AGO)
        raise DomainError("invalid", sentence, fields={"from_on": sentence})


def _conflict(time_off: TimeOff) -> Conflict:
    zone = company_zone()
    clashes = clashes_in(
        starts_at=start_of(time_off.from_on, zone),
        ends_at=start_of(time_off.to_on + ONE_DAY, zone),
        people=[time_off.person] if time_off.person else [],
        trucks=[time_off.truck] if time_off.truck else [],
        but=time_off,
    )
    return Conflict(clashes, people="person", trucks="truck")


def take_back(time_off: TimeOff, *, by: User) -> None:
    """Take days off back, unless somebody has changed them since: the record keeps that they were there."""
    need_on(by, Act.ARCHIVE, time_off)
    deleted, _rows = time_off.as_read().delete()
    if not deleted and TimeOff.objects.filter(pk=time_off.pk).exists():
        raise Stale


def archive_truck(truck: Truck, *, by: User) -> None:
    """Take a truck out of the lists: it is booked no more, and stays kept.

    Raises
    ------
    DomainError
        403 without the right, 409 while it is booked on visits to come.
    """
    need_on(by, Act.ARCHIVE, truck)
    with transaction.atomic():
        Truck.objects.select_for_update(no_key=True).get(pk=truck.pk)
        truck.check_unchanged()
        booked = Visit.objects.to_come().filter(trucks=truck)
        if visits := list(booked.order_by("starts_at")[:VISITS_NAMED]):
            sentence = _("{truck} is booked: {visits}. Give these visits another truck first.")
            words = {"truck": truck, "visits": ", ".join(map(str, visits))}
            raise DomainError("conflict", sentence.format(**words), status=409)
        Truck.objects.filter(pk=truck.pk).archive()
