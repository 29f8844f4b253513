"""What becomes of a job: placed at a home, taken, not taken, done, opened again; what that needs and makes."""

import datetime
from collections.abc import Iterator
from contextlib import contextmanager

from django.db import transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.errors import DomainError
from jobs.models import Customer, Home, HomeContact, Job, Siting, User, Visit
from jobs.models.base import Act
from jobs.rights import need, need_on

REASON_AT_MOST = 300
WARRANTY_AT_MOST_MONTHS = 600
VISITS_NAMED = 3


def place(job: Job, *, by: User, home: Home) -> Job:
    """Say which home on record an enquiry is about."""
    with _changing(job, by, {"home"}, from_states=(Job.State.ENQUIRY, Job.State.OPEN)):
        _check_stands(home)
        job.home = home
        check(job)
    return job


def link_call_back(job: Job, *, by: User, earlier: Job) -> Job:
    """Say that an enquiry complains of the work of an earlier job at the same home."""
    with _changing(job, by, {"call_back_of"}, from_states=(Job.State.ENQUIRY, Job.State.OPEN)):
        job.call_back_of = earlier
        check(job)
    return job


def take(
    job: Job,
    *,
    by: User,
    home: Home | None = None,
    siting: Siting | None = None,
    customer: Customer | None = None,
    part: str = HomeContact.Part.OWNER,
) -> Job:
    """Take an enquiry: from now on it is work.

    ``home`` and ``customer`` are what it goes by from now on, None: what the enquiry names already. One that is not
    stored yet is added: a home with the ``siting`` that says where it stands, a customer with the part it plays
    there.

    Raises
    ------
    DomainError
        403 without the right; 400 without a home, or for a new one that does not stand there yet; 409 when it is no
        enquiry any more, for an archived home, or a home's number that another has.
    """
    with _changing(job, by, {"state", "home", "customer"}, from_states=(Job.State.ENQUIRY,)):
        job.home = home = _home(home or job.home, siting, by)
        job.customer = customer = _customer(customer or job.customer, by)
        if customer is not None:
            _join(home, customer, part, by)
        job.state = Job.State.OPEN
        check(job)
    return job


def decline(job: Job, *, by: User, reason: str) -> Job:
    """Not take a job, or give it up, with the reason."""
    reason = reason.strip()
    if not 0 < len(reason) <= REASON_AT_MOST:
        sentence = _("Say why, in at most {count} characters.").format(count=REASON_AT_MOST)
        raise DomainError("invalid", sentence, fields={"reason": sentence})
    with _changing(job, by, {"state"}, from_states=(Job.State.ENQUIRY, Job.State.OPEN)):
        _check_no_visit_to_come(job)
        job.state, job.state_reason = Job.State.DECLINED, reason
    return job


def finish(job: Job, *, by: User, done_on: datetime.date, warranty_months: int | None = None) -> Job:
    """Say that a job is done, and for how many months from that day there is a warranty; 0 or None: without one."""
    problems = {}
    if done_on > timezone.localdate():
        problems["done_on"] = _("This day is still to come.")
    elif done_on < job.asked_on:
        problems["done_on"] = _("It was asked for on {day}.").format(day=date_format(job.asked_on, "j M Y"))
    if not 0 <= (warranty_months or 0) <= WARRANTY_AT_MOST_MONTHS:
        problems["warranty_months"] = _("Give 0 to {most} months.").format(most=WARRANTY_AT_MOST_MONTHS)
    if problems:
        raise _wrong(problems)
    with _changing(job, by, {"state"}, from_states=(Job.State.OPEN,)):
        _check_no_visit_to_come(job)
        job.state, job.done_on, job.warranty_months = Job.State.DONE, done_on, warranty_months or None
    return job


def reopen(job: Job, *, by: User) -> Job:
    """Go on with a job that was done, or was not taken: where nobody went there yet, it is an enquiry again."""
    with _changing(job, by, {"state"}, from_states=(Job.State.DONE, Job.State.DECLINED)):
        if named := list(job.call_backs.order_by("number")):
            sentence = _("A call-back rests on this job: {jobs}.").format(jobs=", ".join(map(str, named)))
            raise DomainError("conflict", sentence, status=409)
        was_taken = job.state == Job.State.DONE or job.visits.exists()
        job.state = Job.State.OPEN if was_taken else Job.State.ENQUIRY
        job.state_reason, job.done_on, job.warranty_months = "", None, None
    return job


# -- what they share -----------------------------------------------------------------------------------------------


@contextmanager
def _changing(job: Job, by: User, fields: set[str], *, from_states: tuple[Job.State, ...]) -> Iterator[None]:
    """Change a job as it was read, under a lock, whole or not at all."""
    with transaction.atomic():
        Job.objects.select_for_update(no_key=True).get(pk=job.pk)
        job.check_unchanged()
        need_on(by, Act.CHANGE, job, fields if job.state in from_states else {"state"})
        if job.state not in from_states:
            words = {"job": job, "state": job.get_state_display()}
            raise DomainError("conflict", _("{job} stands at: {state}.").format(**words), status=409)
        yield
        job.save()


def check(job: Job) -> None:
    """Refuse a job with something wrong in it, 400 at the field."""
    if problems := job.problems():
        raise _wrong(problems)


def _wrong(problems: dict[str, str], *, status: int = 400) -> DomainError:
    code = "invalid" if status == 400 else "conflict"
    return DomainError(code, _("Some fields need another look."), fields=problems, status=status)


def _check_stands(home: Home) -> None:
    if home.archived_at is not None:
        raise _wrong({"home": _("This home is archived: restore it first.")}, status=409)


def _home(home: Home | None, siting: Siting | None, by: User) -> Home:
    if home is None:
        raise _wrong({"home": _("Say which home it is, or describe a new one.")})
    if not home._state.adding:
        _check_stands(home)
        return home
    need(by, Act.ADD, Home)
    if siting is None:
        raise _wrong({"address": _("Say where the home stands.")})
    if siting.from_on > timezone.localdate():
        raise _wrong({"from_on": _("This day is still to come.")})
    if Home.objects.filter(code=home.code).exists():
        raise _wrong({"code": _("Another home has this number.")}, status=409)
    home.save(force_insert=True)
    siting.home = home
    siting.save(force_insert=True)
    return home


def _customer(customer: Customer | None, by: User) -> Customer | None:
    if customer is None or not customer._state.adding:
        return customer
    need(by, Act.ADD, Customer)
    customer.save(force_insert=True)
    return customer


def _join(home: Home, customer: Customer, part: str, by: User) -> None:
    """Note that a customer has to do with a home, unless that is known."""
    if not HomeContact.objects.filter(home=home, customer=customer, to_on__isnull=True).exists():
        need(by, Act.ADD, HomeContact)
        HomeContact.objects.create(home=home, customer=customer, part=part)


def _check_no_visit_to_come(job: Job) -> None:
    visits = list(job.visits.filter(state__in=Visit.UNDER_WAY).order_by("starts_at")[:VISITS_NAMED])
    if visits:
        sentence = _("A visit is still to be done or cancelled: {visits}.")
        raise DomainError("conflict", sentence.format(visits=", ".join(map(str, visits))), status=409)
