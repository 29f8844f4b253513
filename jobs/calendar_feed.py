"""A person's own visits as a calendar (RFC 5545) that calendar programs read again and again.

It lies with whoever hosts that calendar, so it says what one needs to be there in time and no more: no customer, no
colleague, no note; of a visit that was cancelled, which a crew no longer sees, not even the home.
"""

import datetime
import hashlib
from collections.abc import Callable
from typing import Any

from django.db import transaction
from django.db.models import DateTimeField, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce, Greatest
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from icalendar import Calendar, Event

from jobs.models import CalendarFeed, Company, Home, Siting, User, Visit
from jobs.models.people import digest_of

KEPT_DAYS = 60  # how long a visit that is over stays in it
READ_AGAIN_AFTER = datetime.timedelta(hours=1)
NOTED_EVERY = datetime.timedelta(minutes=1)


# -- the address ---------------------------------------------------------------------------------------------------


@transaction.atomic
def issue(person: User) -> tuple[CalendarFeed, str]:
    """Make the address of a person's calendar; return its row and the secret, shown this once. An older one ends."""
    User.objects.select_for_update(no_key=True).get(pk=person.pk)  # pressed twice ends with one that answers
    take_back(person)
    return CalendarFeed.objects.issue(person)


def take_back(person: User) -> None:
    """Have the address of a person's calendar answer no more, at once."""
    CalendarFeed.objects.filter(person=person, revoked_at__isnull=True).update(revoked_at=timezone.now())


def find(secret: str) -> CalendarFeed | None:
    """Return the calendar that a secret opens; None for one that is unknown or taken back, or of who has left."""
    return CalendarFeed.objects.valid().select_related("person").filter(digest=digest_of(secret)).first()


def note_read(feed: CalendarFeed) -> None:
    """Note that a calendar was read, once a minute at most."""
    lately = timezone.now() - NOTED_EVERY
    unread = Q(read_at__isnull=True) | Q(read_at__lt=lately)
    CalendarFeed.objects.filter(unread, pk=feed.pk).update(read_at=timezone.now())


# -- what stands in it ---------------------------------------------------------------------------------------------


def calendar_of(person: User, address_of: Callable[[Visit], str]) -> bytes:
    """Return a person's calendar in that person's language; the same bytes as long as nothing has changed.

    ``address_of`` says where the page of a visit is.
    """
    with translation.override(person.language):
        calendar = Calendar()
        calendar.add("prodid", "-//Releveling job service//Visits//EN")
        calendar.add("version", "2.0")
        company = Company.objects.first()
        name = _("Visits, {company}").format(company=company.name) if company else _("Visits")
        for named in ("name", "x-wr-calname"):  # RFC 7986, 5.1, and what programs read that are older than it
            calendar.add(named, name)
        calendar.add("refresh-interval", READ_AGAIN_AFTER, parameters={"VALUE": "DURATION"})
        for visit in _visits_of(person):
            calendar.add_component(_event(visit, address_of))
        text: bytes = calendar.to_ical()
        return text


def holds_words(person: User) -> str:
    """Say what a person's calendar holds, and of one that is empty why."""
    count = _visits_of(person).count()
    if not count:
        return _(
            "It holds the visits that you lead or are on the crew of. You are on none: it stays empty until somebody "
            "books you. The visits of others are on the page of the week."
        )
    return ngettext(
        "It holds {count} visit that you lead or are on the crew of; what is over stays for {days} days.",
        "It holds the {count} visits that you lead or are on the crew of; what is over stays for {days} days.",
        count,
    ).format(count=count, days=KEPT_DAYS)


def tag_of(calendar: bytes) -> str:
    """Return the entity tag of a calendar."""
    return f'"{hashlib.sha256(calendar).hexdigest()[:32]}"'


def _visits_of(person: User) -> QuerySet[Visit]:
    """Return the visits that a person is on and sees, and those that were cancelled, with when each last changed."""
    since = timezone.now() - datetime.timedelta(days=KEPT_DAYS)
    seen = Q(pk__in=Visit.objects.visible_to(person).values("pk"))
    is_off = Q(state=Visit.State.CANCELLED) if person.roles or person.is_superuser else Q(pk__in=[])
    visits = Visit.objects.naming(person).filter(seen | is_off, ends_at__gte=since)
    changed = Greatest(_changed(Visit, "pk"), _changed(Siting, "siting"), _changed(Home, "siting__home"))
    # What was stored before changes were recorded has none.
    visits = visits.annotate(last_changed_at=Coalesce(changed, "starts_at"))
    return visits.select_related("siting__home").order_by("starts_at", "pk")


def _changed(model: Any, path: str) -> Subquery:
    events = model._meta.get_field("events").related_model.objects.filter(pgh_obj=OuterRef(path))
    return Subquery(events.order_by("-pgh_id").values("pgh_created_at")[:1], output_field=DateTimeField())


def _event(visit: Any, address_of: Callable[[Visit], str]) -> Event:
    event = Event()
    event.add("uid", str(visit.pk))
    # The calendar has no METHOD, so this is when the visit was last changed too (RFC 5545, 3.8.7.2).
    event.add("dtstamp", visit.last_changed_at)
    event.add("last-modified", visit.last_changed_at)
    event.add("sequence", visit.version - 1)
    event.add("dtstart", visit.starts_at.astimezone(datetime.UTC))
    event.add("dtend", visit.ends_at.astimezone(datetime.UTC))
    event.add("class", "PRIVATE")
    event.add("url", address_of(visit))
    kind, state = visit.get_kind_display(), visit.get_state_display()
    if visit.state == Visit.State.CANCELLED:
        event.add("status", "CANCELLED")
        event.add("transp", "TRANSPARENT")  # it takes no time any more
        event.add("summary", f"{kind} ({state})")
        return event
    event.add("status", "CONFIRMED")
    home = visit.siting.home.code
    event.add("summary", f"{kind}, {home}" if visit.state == Visit.State.BOOKED else f"{kind}, {home} ({state})")
    event.add("location", visit.siting.address)
    if visit.siting.latitude_deg is not None:
        event.add("geo", (float(visit.siting.latitude_deg), float(visit.siting.longitude_deg)))
    return event
