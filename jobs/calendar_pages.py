"""The address at which a calendar program reads one person's visits. No session, no cookie: it is the key itself."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from jobs import calendar_feed, links
from jobs.addresses import client_address
from jobs.api.throttling import seconds_to_wait
from jobs.models import Visit


@require_safe
def calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """Return the calendar that a secret opens; unknown, taken back, of somebody who left: one answer, 404."""
    answer = _answer(request, secret)
    for name, value in links.HEADERS.items():
        answer.headers[name] = value
    return answer


def _answer(request: HttpRequest, secret: str) -> HttpResponse:
    wait_s = seconds_to_wait("link", client_address(request) or "")
    if wait_s is not None:
        return _plain(_("Too many requests: try again in a minute."), 429, {"Retry-After": str(wait_s)})
    feed = calendar_feed.find(secret)
    if feed is None:
        return _plain(_("There is no calendar here."), 404, {})
    if request.method == "GET":
        calendar_feed.note_read(feed)
    text = calendar_feed.calendar_of(feed.person, _address_by(request))
    whole = HttpResponse(text, content_type="text/calendar; charset=utf-8")
    whole.headers["ETag"] = tag = calendar_feed.tag_of(text)
    return get_conditional_response(request, etag=tag, response=whole) or whole


def _address_by(request: HttpRequest) -> Callable[[Visit], str]:
    return lambda visit: request.build_absolute_uri(reverse("visit", args=[visit.pk]))


def _plain(text: str, status: int, headers: dict[str, str]) -> HttpResponse:
    return HttpResponse(text, status=status, content_type="text/plain; charset=utf-8", headers=headers)
