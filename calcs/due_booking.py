"""Booking a visit from the due list: the visit remembers why the home was due, and nobody goes there twice."""

import datetime
from collections.abc import Collection, Iterable

from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.models import Due
from jobs.booking import book
from jobs.clock import company_zone, window
from jobs.errors import DomainError
from jobs.models import Customer, HomeContact, Job, Truck, User, Visit
from jobs.models.base import Act
from jobs.rights import need

TWO_JOBS = gettext_lazy("The visit belongs to one job: choose one, or open a new one.")


def visit_to_come(due: Due, now: datetime.datetime | None = None) -> Visit | None:
    """Return the next visit to the home that is booked, with its lead; None where nobody goes there."""
    visits = Visit.objects.filter(siting=due.siting_id, state__in=Visit.UNDER_WAY, ends_at__gte=now or timezone.now())
    return visits.select_related("lead").order_by("starts_at", "pk").first()


@transaction.atomic
def book_due(
    due: Due,
    *,
    by: User,
    kind: str,
    starts_at: datetime.datetime,
    ends_at: datetime.datetime,
    lead: User | None = None,
    crew: Iterable[User] = (),
    trucks: Iterable[Truck] = (),
    needs: Collection[str] = (),
    job: Job | None = None,
    note: str = "",
    opens_job: bool = False,
    is_another: bool = False,
    despite: Collection[str] = (),
) -> Visit:
    """Book a visit to a home that is due; ``opens_job``: with a new job, ``is_another``: though one is booked.

    Raises
    ------
    DomainError
        403 without the right; 400 for a job and a new one; 409 ``already_booked`` when somebody goes there already;
        409 as ``booking.book``.
    """
    need(by, Act.ADD, Visit)
    if job is not None and opens_job:
        raise DomainError("invalid", str(TWO_JOBS), fields={"opens_job": str(TWO_JOBS)})
    # Under a lock: of two who book the same home at once, the second is told of the first.
    locked = Due.objects.select_for_update(of=("self",), no_key=True).select_related("siting__home").get(pk=due.pk)
    booked = visit_to_come(locked)
    if booked is not None and not is_another:
        raise DomainError("already_booked", told_of(booked), fields={"is_another": told_of(booked)}, status=409)
    return book(
        by=by,
        siting=locked.siting,
        kind=kind,
        starts_at=starts_at,
        ends_at=ends_at,
        lead=lead,
        crew=crew,
        trucks=trucks,
        job=_open_job(locked, by) if opens_job else job,
        needs=needs,
        why=locked.reason,
        note=note,
        despite=despite,
    )


def told_of(visit: Visit) -> str:
    """Say that somebody goes there already, and when."""
    words = {
        "kind": visit.get_kind_display(),
        "window": window(visit.starts_at, visit.ends_at, company_zone()),
        "lead": visit.lead or _("nobody named yet"),
    }
    return _("This home is booked already: {kind}, {window}, {lead}.").format(**words)


def _open_job(due: Due, by: User) -> Job:
    """Take up work that nobody asked for: the home is due. It is for the owner, where one is known."""
    need(by, Act.ADD, Job)
    home = due.siting.home
    owner = Q(homes__home=home, homes__part=HomeContact.Part.OWNER, homes__to_on__isnull=True)
    customer = Customer.objects.standing().filter(owner).order_by("pk").first()
    return Job.objects.create(came=Job.Came.DUE, state=Job.State.OPEN, home=home, customer=customer, note=due.reason)
