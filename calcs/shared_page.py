"""What somebody outside sees by a signed link: one home, how level it was when it was last read, and nothing else.

No session, no cookie, no way on from here, and no minutes or notes: those are the company's own. A link that is
unknown, too old, taken back or to an archived home: all answer alike.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import wraps
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db.models import Exists, OuterRef
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from calcs.models import Answer, Calculation
from calcs.survey_page import SurveyPage, gather
from calcs.views import drawn
from jobs import links
from jobs.addresses import client_address
from jobs.api.throttling import seconds_to_wait
from jobs.models import Company, Connection, Home, Photo, SignedLink, Siting, Strap, Visit
from jobs.photo_files import picture
from jobs.photos import clean_copy, small_copy
from surveys.models import Survey

PHOTOS_SHOWN = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What the page shows of a home."""

    home: Home
    siting: Siting | None
    page: SurveyPage | None
    next_visit: Visit | None
    photos: list[Photo]
    connections: list[Connection]
    straps: list[Strap]


def shared_page(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Make a view one that a signed link opens; it is given the link in place of its secret."""

    @require_safe
    def opened(request: HttpRequest, secret: str, **more: Any) -> HttpResponse:
        wait_s = seconds_to_wait("link", client_address(request) or "")
        if wait_s is not None:
            answer = _closed(request, status=429)
            answer["Retry-After"] = str(wait_s)
            return answer
        link = links.find(secret)
        if link is None:
            return _closed(request, status=404)
        company = Company.objects.first()
        with timezone.override(company.time_zone if company else settings.TIME_ZONE):
            try:
                return view(request, link, **more)
            except Http404:
                return _closed(request, status=404)

    @wraps(view)
    def guarded(request: HttpRequest, **named: Any) -> HttpResponse:
        answer = opened(request, **named)
        for name, value in links.HEADERS.items():
            answer[name] = value
        return answer

    return guarded


@shared_page
def shared(request: HttpRequest, link: SignedLink) -> HttpResponse:
    """Show the home of a link: to its owner in plain words, to an engineer or inspector with the figures."""
    if request.method == "GET":
        links.note_use(link, address=client_address(request), browser=request.headers.get("User-Agent", ""))
    with_figures = link.audience == SignedLink.Audience.ENGINEER
    shown = _shown(link.home, with_figures=with_figures)
    context = {
        "link": link,
        "company": Company.objects.first(),
        "shown": shown,
        "page": shown.page,
        "map": _map_of(shown.page, with_moves=with_figures),
        "with_figures": with_figures,
        "secret": request.resolver_match.kwargs["secret"] if request.resolver_match else "",
    }
    return render(request, "calcs/shared.html", context)


@shared_page
def shared_photo(request: HttpRequest, link: SignedLink, pk: UUID, size: str) -> HttpResponse:
    """Show a photo of the home without anything that the camera wrote into it."""
    photo = get_object_or_404(_photos_of(link.home), pk=pk)
    try:
        return picture(small_copy(photo) if size == "small" else clean_copy(photo), "image/jpeg")
    except FileNotFoundError:
        raise Http404 from None


def _shown(home: Home, *, with_figures: bool) -> Shown:
    siting = Siting.objects.filter(home=home, to_on__isnull=True).order_by("-from_on").first()
    survey = _newest_read(siting)
    return Shown(
        home=home,
        siting=siting,
        page=gather(survey, unit="in") if survey else None,
        next_visit=_next_visit(siting),
        photos=list(_photos_of(home).order_by("-pk")[:PHOTOS_SHOWN]),
        connections=list(Connection.objects.standing().filter(siting=siting).order_by("code"))
        if with_figures
        else [],
        straps=list(Strap.objects.standing().filter(siting=siting).select_related("point").order_by("code"))
        if with_figures
        else [],
    )


def _newest_read(siting: Siting | None) -> Survey | None:
    """Return the newest survey that was handed in and whose verdict is known; none from the middle of a job."""
    known = Answer.objects.filter(survey=OuterRef("pk"), kind="flatness", calculation__state=Calculation.State.DONE)
    surveys = Survey.objects.filter(Exists(known), siting=siting, state=Survey.State.SUBMITTED)
    surveys = surveys.exclude(stage=Survey.Stage.DURING)
    return surveys.select_related("siting__home", "author").order_by("-started_at", "-pk").first()


def _next_visit(siting: Siting | None) -> Visit | None:
    booked = Visit.objects.filter(siting=siting, state=Visit.State.BOOKED, starts_at__gte=timezone.now())
    return booked.order_by("starts_at").first()


def _photos_of(home: Home) -> Any:
    return Photo.objects.standing().filter(siting__home=home, siting__to_on__isnull=True)


def _map_of(page: SurveyPage | None, *, with_moves: bool) -> dict[str, Any] | None:
    """Draw the home as it was read, without who read it; None while there are no heights."""
    if page is None or not page.maps:
        return None
    as_read = page.maps[0]
    block = tuple((word, says) for word, says in as_read.block if word != _("read by"))
    points = as_read.points if with_moves else tuple(replace(point, move_in=0.0) for point in as_read.points)
    return drawn(replace(as_read, block=block, points=points))


def _closed(request: HttpRequest, *, status: int) -> HttpResponse:
    return render(request, "calcs/shared_closed.html", {"is_busy": status != 404}, status=status)
