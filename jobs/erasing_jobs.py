"""Erasing in jobs and days off: who called, and why somebody was off, here and in the record of changes."""

from typing import Any

from django.contrib.admin.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db.models import Q, QuerySet

from jobs.models import Customer, Job, TimeOff, User

ERASED_CALLER = "erased caller"
ERASED_REASON = "erased"  # what stands where it stood why somebody was off


def jobs_of(customer: Customer, name: str) -> QuerySet[Job]:
    """Return the jobs of a customer, and enquiries of nobody on record under the same name."""
    return Job.objects.filter(Q(customer=customer) | Q(customer__isnull=True, caller_name__iexact=name.strip()))


def blank_callers(jobs: QuerySet[Job]) -> None:
    """Blank who called about some jobs and where; what was noticed stays."""
    events: Any = Job._meta.get_field("events").related_model
    keys = list(jobs.values_list("pk", flat=True))
    blank = {"caller_phone": "", "caller_email": "", "address": ""}
    for rows in (Job.objects.filter(pk__in=keys), events.objects.filter(pgh_obj_id__in=keys)):
        rows.update(**blank)
        rows.exclude(caller_name="").update(caller_name=ERASED_CALLER)


def blank_days_off(person: User) -> None:
    """Blank why a person was off; that they were off then stays."""
    days = TimeOff.objects.filter(person=person)
    keys = list(days.values_list("pk", flat=True))
    events: Any = TimeOff._meta.get_field("events").related_model
    days.update(why=ERASED_REASON)
    events.objects.filter(Q(person=person) | Q(pgh_obj_id__in=keys)).update(why=ERASED_REASON)
    about = ContentType.objects.get_for_model(TimeOff)
    LogEntry.objects.filter(content_type=about, object_id__in=map(str, keys)).update(object_repr=ERASED_REASON)
