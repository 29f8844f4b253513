"""Guessing passwords: too many failures shut a name out from where they came, for a while.

django-axes counts in the database, so that all processes count together, for pages, the admin and the API alike.
"""

import datetime
import math
from typing import Any

from axes.handlers.database import AxesDatabaseHandler
from axes.handlers.proxy import AxesProxyHandler
from axes.models import AccessAttempt
from axes.utils import reset
from django.conf import settings
from django.db.models import Max, QuerySet, Sum
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import ngettext

from jobs.api.errors import is_api
from jobs.models import User

NAMES_TO_ONE = 10  # an address that tries many names is shut out at this many times the failures of one name


class Handler(AxesDatabaseHandler):  # type: ignore[misc]  # the library is untyped
    """Counts by name and address together and, more patiently, by address alone: some try one password on all."""

    def get_failures(self, request: HttpRequest, credentials: dict[str, Any] | None = None) -> int:
        """Return the failures that count against this attempt."""
        by_name: int = super().get_failures(request, credentials)
        return max(by_name, _failures(_recent().filter(ip_address=_address(request))) // NAMES_TO_ONE)


def locked_out(request: HttpRequest, answer: HttpResponse, credentials: dict[str, Any] | None) -> HttpResponse:
    """Return the answer to an attempt while locked out: one sentence, on the page or in the API's error shape."""
    wait_s = _wait_s(request, str((credentials or {}).get("username", "")))
    minutes = math.ceil(wait_s / 60)
    message = ngettext(
        "Too many wrong passwords from here. Try again in %(minutes)s minute, or ask the manager to unlock you.",
        "Too many wrong passwords from here. Try again in %(minutes)s minutes, or ask the manager to unlock you.",
        minutes,
    ) % {"minutes": minutes}
    if is_api(request):
        body = {"code": "locked_out", "message": message, "fields": {}}
        refusal: HttpResponse = JsonResponse(body, status=429)
    else:
        refusal = render(request, "jobs/locked_out.html", {"message": message}, status=429)
    refusal.headers["Retry-After"] = str(wait_s)
    return refusal


def locks_of(user: User) -> list[dict[str, Any]]:
    """Return from where a person is locked out, and until when."""
    failed = _recent().filter(username=user.get_username()).values("ip_address").order_by("ip_address")
    counted = failed.annotate(failures=Sum("failures_since_start"), last=Max("attempt_time"))
    return [
        {"address": row["ip_address"], "until": row["last"] + settings.AXES_COOLOFF_TIME}
        for row in counted
        if row["failures"] >= settings.AXES_FAILURE_LIMIT
    ]


def forgive(request: HttpRequest, user: User) -> None:
    """Count from zero again for somebody who has signed in over the API, as signing in on a page does by itself."""
    AxesProxyHandler.user_logged_in(sender=User, request=request, user=user)


def unlock(user: User) -> None:
    """Forget a person's wrong passwords, wherever they came from."""
    reset(username=user.get_username())


def _recent() -> QuerySet[Any]:
    attempts: QuerySet[Any] = AccessAttempt.objects.all()
    return attempts.filter(attempt_time__gte=timezone.now() - settings.AXES_COOLOFF_TIME)


def _failures(attempts: QuerySet[Any]) -> int:
    return int(attempts.aggregate(sum=Sum("failures_since_start"))["sum"] or 0)


def _address(request: HttpRequest) -> str | None:
    address: str | None = request.axes_ip_address  # type: ignore[attr-defined]  # set by the library
    return address


def _wait_s(request: HttpRequest, username: str) -> int:
    """Return how many seconds until the newest failure that counts is forgotten."""
    from_here = _recent().filter(ip_address=_address(request))
    by_name = from_here.filter(username=username)
    counting = by_name if _failures(by_name) >= settings.AXES_FAILURE_LIMIT else from_here
    last: datetime.datetime = counting.aggregate(last=Max("attempt_time"))["last"] or timezone.now()
    return max(1, math.ceil((last + settings.AXES_COOLOFF_TIME - timezone.now()).total_seconds()))
