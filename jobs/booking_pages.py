"""Booking on pages: a visit is booked, changed, moved, and its state is said."""

import datetime
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from jobs import booking
from jobs.account_forms import put_error
from jobs.clashes import Conflict
from jobs.clock import company_zone
from jobs.errors import DomainError, Stale
from jobs.models import Siting, Visit
from jobs.models.base import Act
from jobs.rights import may, need, need_on
from jobs.views import SignedInRequest, page
from jobs.visit_forms import StateForm, VisitForm

SITINGS_SHOWN = 20
FIRST_DAY, LAST_DAY = datetime.date(1970, 1, 1), datetime.date(2199, 12, 31)
_FROM_ADDRESS = ("kind", "lead", "job", "day")  # what a link to the form may bring along


@page
def book_visit(request: SignedInRequest) -> HttpResponse:
    """Book a visit: first the home, where the address names none, then when and who.

    ``?siting=`` or ``?home=`` with ``kind``, ``day``, ``lead``, ``job`` and ``why`` fills the form beforehand.
    """
    need(request.user, Act.ADD, Visit)
    siting = _siting_asked(request)
    if siting is None:
        return _choose_home(request)
    initial: dict[str, Any] = {name: request.GET[name] for name in _FROM_ADDRESS if request.GET.get(name)}
    if not parse_day(initial.get("day", "")):
        initial.pop("day", None)
    initial["booked_why"] = request.GET.get("why", "")[:400]
    form = VisitForm(request.POST or None, siting=siting, initial=initial)
    conflict: Conflict | None = None
    if request.method == "POST" and form.is_valid():
        try:
            made = booking.book(by=request.user, siting=siting, why=form.cleaned_data["booked_why"], **form.values)
        except DomainError as error:
            conflict = error if isinstance(error, Conflict) else None
            form.put_refusal(error)
        else:
            messages.success(request, _("Booked."))
            return redirect(_week_with(made))
    return _shown(request, form, siting, conflict=conflict)


@page
def change_visit(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Change when a visit is, what for, and who goes."""
    found = _visit(request, pk)
    need(request.user, Act.ADD, Visit)  # a lead says how a visit stands; who books it changes it
    form = VisitForm(request.POST or None, instance=found, siting=found.siting)
    conflict: Conflict | None = None
    if request.method == "POST" and form.is_valid():
        try:
            made = _changed(request, pk, form)
        except Stale:
            form.tell_clash(form.cleaned_data["version"])
        except DomainError as error:
            conflict = error if isinstance(error, Conflict) else None
            form.put_refusal(error)
        else:
            messages.success(request, _("Kept."))
            return redirect(_week_with(made))
    return _shown(request, form, found.siting, visit=_visit(request, pk), conflict=conflict)


@transaction.atomic
def _changed(request: SignedInRequest, pk: UUID, form: VisitForm) -> Visit:
    kept = _visit(request, pk)  # the form has changed its own
    if kept.version != form.cleaned_data["version"]:
        raise Stale
    values = form.values
    despite = values.pop("despite")
    if (values["starts_at"], values["ends_at"]) != (kept.starts_at, kept.ends_at):
        values["state_reason"] = form.cleaned_data["reason"]
    return booking.change(kept, by=request.user, values=values, despite=despite)


@require_POST
@page
def say_state(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Say how a visit stands."""
    found = _visit(request, pk)
    need_on(request.user, Act.CHANGE, found, ["state"])
    form = StateForm(request.POST, visit=found)
    if form.is_valid():
        typed = form.cleaned_data
        try:
            booking.set_state(found, by=request.user, state=typed["state"], reason=typed["state_reason"])
        except DomainError as error:
            put_error(form, error)
        else:
            messages.success(request, _("The visit is “{state}” now.").format(state=found.get_state_display()))
            return redirect("visit", pk=pk)
    context = {"form": form, "visit": _visit(request, pk)}
    return render(request, "jobs/visit_state.html", context, status=HTTPStatus.BAD_REQUEST)


def state_form(request: SignedInRequest, visit: Visit) -> StateForm | None:
    """Return the form in which this person says how a visit stands; None for who may not."""
    if not may(request.user, Act.CHANGE, Visit) or visit.refusal(request.user, Act.CHANGE, ["state"]):
        return None
    return StateForm(visit=visit)


def parse_day(text: str) -> datetime.date | None:
    """Return the day that an address names, where it names one near enough to be meant."""
    try:
        day = parse_date(text)
    except ValueError:
        return None
    return day if day and FIRST_DAY <= day <= LAST_DAY else None


def _shown(
    request: SignedInRequest,
    form: VisitForm,
    siting: Siting,
    *,
    visit: Visit | None = None,
    conflict: Conflict | None = None,
) -> HttpResponse:
    context = {"form": form, "siting": siting, "visit": visit, "clashes": conflict.clashes if conflict else ()}
    status = HTTPStatus.CONFLICT if conflict else HTTPStatus.BAD_REQUEST if form.errors else HTTPStatus.OK
    return render(request, "jobs/visit_form.html", context, status=status)


def _visit(request: SignedInRequest, pk: UUID) -> Visit:
    visits = Visit.objects.visible_to(request.user).select_related("siting__home", "lead", "job")
    return get_object_or_404(visits, pk=pk)


def _siting_asked(request: SignedInRequest) -> Siting | None:
    """Return the siting that the address names, or where the home that it names stands now."""
    sitings = Siting.objects.visible_to(request.user).select_related("home")
    if key := _key(request, "siting"):
        return get_object_or_404(sitings, pk=key)
    home = _key(request, "home")
    return sitings.filter(home=home, to_on__isnull=True).order_by("-from_on").first() if home else None


def _key(request: SignedInRequest, name: str) -> UUID | None:
    try:
        return UUID(request.GET.get(name, ""))
    except ValueError:
        return None


def _choose_home(request: SignedInRequest) -> HttpResponse:
    query = request.GET.get("q", "").replace("\x00", "").strip()
    standing = Siting.objects.visible_to(request.user).filter(to_on__isnull=True, home__archived_at__isnull=True)
    found = Q(home__code__icontains=query) | Q(home__name__icontains=query) | Q(address__icontains=query)
    found |= Q(home__contacts__customer__name__icontains=query)
    sitings = standing.filter(found) if query else standing.none()
    shown = sitings.distinct().select_related("home").order_by("home__code", "pk")[:SITINGS_SHOWN]
    kept = {name: request.GET[name] for name in (*_FROM_ADDRESS, "why") if request.GET.get(name)}
    context = {"query": query, "sitings": shown, "kept": kept}
    return render(request, "jobs/visit_home.html", context)


def _week_with(visit: Visit) -> str:
    """Return the address of the visit in its week."""
    return f"{reverse('week')}?day={visit.starts_at.astimezone(company_zone()):%Y-%m-%d}#visit-{visit.pk}"
