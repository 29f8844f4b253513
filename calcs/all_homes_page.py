"""The manager's page over all homes; each number leads to what it counts."""

from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from calcs import all_homes
from jobs.models import User
from jobs.rights import is_manager
from jobs.views import SignedInRequest, page

ROWS_A_PAGE = 50
TITLES: dict[str, Promise] = {
    "inside": _("Call-backs inside the warranty"),
    "outside": _("Call-backs after the warranty, or without one"),
    "running": _("Jobs whose warranty holds"),
    "called_back": _("Jobs under warranty that were called back"),
}


@require_safe
@page
def figures(request: SignedInRequest) -> HttpResponse:
    """How all homes stand and move, and what came back."""
    _need_manager(request.user)
    found = all_homes.gather()
    tables = [
        ("soil", _("Soil"), found.by_soil),
        ("foundation", _("Foundation"), found.by_foundation),
        ("age", _("Age"), found.by_age),
    ]
    context = {
        "figures": found,
        "tables": tables,
        "call_backs": [(key, TITLES[key], getattr(found.call_backs, key)) for key in TITLES],
        "unit": request.user.length_unit,
    }
    return render(request, "calcs/all_homes.html", context)


@require_safe
@page
def jobs(request: SignedInRequest, which: str) -> HttpResponse:
    """The jobs behind one of the numbers."""
    _need_manager(request.user)
    if which not in TITLES:
        raise Http404
    rows = all_homes.JOBS[which](timezone.localdate()).select_related("home", "call_back_of").order_by("-number")
    context = {
        "title": TITLES[which],
        "page": Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "are_call_backs": which in ("inside", "outside"),
    }
    return render(request, "calcs/all_homes_jobs.html", context)


@require_safe
@page
def not_computed(request: SignedInRequest) -> HttpResponse:
    """The homes of which no night has told yet when they are due."""
    _need_manager(request.user)
    rows = all_homes.not_computed().select_related("home").order_by("home__code", "pk")
    shown = Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page"))
    return render(request, "calcs/all_homes_not_computed.html", {"page": shown})


def _need_manager(user: User) -> None:
    if not is_manager(user):
        raise PermissionDenied
