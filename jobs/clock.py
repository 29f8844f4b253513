"""The company's clock: days begin and end in its time zone, whatever the machine's is."""

import datetime
from zoneinfo import ZoneInfo

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from jobs.models import Company

ONE_DAY = datetime.timedelta(days=1)


def company_zone() -> ZoneInfo:
    """Return the company's time zone; UTC before there is a company."""
    return ZoneInfo(Company.objects.values_list("time_zone", flat=True).first() or "UTC")


def start_of(day: datetime.date, zone: ZoneInfo) -> datetime.datetime:
    """Return when a day begins; a day may have 23 or 25 hours."""
    return datetime.datetime.combine(day, datetime.time.min, zone)


def on_day(at: datetime.datetime, day: datetime.date, zone: ZoneInfo) -> datetime.datetime:
    """Return the same time of day on another day: a visit at 8:00 is at 8:00 on either side of a clock change."""
    return datetime.datetime.combine(day, at.astimezone(zone).time(), zone)


def window(starts_at: datetime.datetime, ends_at: datetime.datetime, zone: ZoneInfo) -> str:
    """Return a window in words: the day once where it ends on the day it begins."""
    start, end = timezone.localtime(starts_at, zone), timezone.localtime(ends_at, zone)
    last = date_format(end, "H:i" if end.date() == start.date() else "D j M Y, H:i")
    return _("{start} to {end}").format(start=date_format(start, "D j M Y, H:i"), end=last)


def days_touched(
    starts_at: datetime.datetime, ends_at: datetime.datetime, zone: ZoneInfo
) -> tuple[datetime.date, datetime.date]:
    """Return the first and the last day of a window; one that ends at midnight does not touch the day that begins."""
    last_moment = ends_at - datetime.timedelta.resolution
    return starts_at.astimezone(zone).date(), last_moment.astimezone(zone).date()


def days(from_on: datetime.date, to_on: datetime.date) -> str:
    """Return days in words, both included: one where they are the same."""
    first, last = date_format(from_on, "j M Y"), date_format(to_on, "j M Y")
    return first if from_on == to_on else _("{start} to {end}").format(start=first, end=last)
