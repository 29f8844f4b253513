"""Pages of the office: who is due and why, and booking from there."""

import datetime
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from calcs.all_homes import not_computed
from calcs.due_booking import book_due, told_of, visit_to_come
from calcs.due_files import due_file
from calcs.due_filters import By, DueFilter, Within, miles
from calcs.due_forms import BookDueForm
from calcs.due_list import tell
from calcs.models import Due
from calcs.models.due_rows import DueQuerySet
from jobs.errors import DomainError
from jobs.models import Siting, Visit
from jobs.models.base import Act
from jobs.rights import is_manager, may, need
from jobs.views import SignedInRequest, page

ROWS_A_PAGE = 50
BYTE_ORDER_MARK = "\ufeff"
FOLDED = ("fit", "standing", "basis", "soil", "foundation", "kind", "age", "marks", "measured", "within")


@require_safe
@page
def due_list(request: SignedInRequest) -> HttpResponse:
    """Who is due, why, when and in what season; what else lies on the way."""
    found = _filtered(request)
    shown = Paginator(found.qs.values_list("pk", flat=True), ROWS_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "filter": found,
        "folded": [found.form[name] for name in FOLDED],
        "is_cut": any(request.GET.get(name) for name in FOLDED),
        "page": shown,
        "rows": list(tell(shown.object_list, within_mi=_within_mi(found))),
        "may_book": may(request.user, Act.ADD, Visit),
        "query": request.GET.urlencode(),
        "today": timezone.localdate(),
        "not_computed": not_computed().filter(pk__in=Siting.objects.visible_to(request.user).values("pk")).count(),
        "may_see_all": is_manager(request.user),
    }
    return render(request, "calcs/due.html", context, status=200 if found.is_valid() else 400)


@require_safe
@page
def due_csv(request: SignedInRequest) -> HttpResponse:
    """The same list as a file for a spreadsheet."""
    found = _filtered(request)
    return due_file(found.qs, within_mi=_within_mi(found), mark=BYTE_ORDER_MARK)


@page
def due_book(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Book a visit to a home that is due."""
    need(request.user, Act.ADD, Visit)
    (row,) = tell([get_object_or_404(Due.objects.visible_to(request.user).standing(), pk=pk).pk])
    booked = visit_to_come(row.due)
    siting = row.due.siting
    form = BookDueForm(request.POST or None, siting=siting, day=_day_for(row.due), is_booked=booked is not None)
    if request.method == "POST" and form.is_valid():
        try:
            visit = book_due(row.due, by=request.user, **form.values)
        except DomainError as error:
            form.put_refusal(error)
        else:
            day = date_format(timezone.localtime(visit.starts_at), "D j M Y")
            messages.success(request, _("{home} is booked for {day}.").format(home=siting.home, day=day))
            return redirect(reverse("due") + ("?" + back if (back := _back(request)) else ""))
    told = told_of(booked) if booked else ""
    context = {"row": row, "form": form, "booked": booked, "told": told, "back": _back(request)}
    return render(request, "calcs/due_book.html", context, status=400 if form.errors else 200)


def _filtered(request: SignedInRequest) -> DueFilter:
    """Return the list as the address asks for it; what is asked for wrongly gives nothing, with the reason."""
    need(request.user, Act.SEE, Due)
    asked = request.GET.copy()
    asked.setdefault("by", By.QUARTER)
    asked.setdefault("within", Within.MI_10)
    rows: DueQuerySet = Due.objects.visible_to(request.user).standing().in_order()
    found = DueFilter(asked, queryset=rows)
    if not found.is_valid():
        found = DueFilter(asked, queryset=rows.none())
        found.is_valid()
    found.form.label_suffix = ""
    return found


def _within_mi(found: DueFilter) -> float:
    return miles(found.form.cleaned_data.get("within", ""))


def _back(request: HttpRequest) -> str:
    """Return the cut of the list that one came from, by names that the list knows."""
    asked = QueryDict(request.GET.get("back", ""))
    return urlencode({name: asked[name] for name in (*DueFilter.base_filters, "page") if name in asked})


def _day_for(due: Due) -> datetime.date:
    """Return the day on which a home is due, or tomorrow where that is past."""
    today = timezone.localdate()
    return max(due.due_on or today, today + datetime.timedelta(days=1))
