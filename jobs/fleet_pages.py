"""Trucks and days off on pages: lists with a form for a new one, one to be changed, taking one away."""

from collections.abc import Callable, Sequence
from http import HTTPStatus
from typing import Any, cast
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from jobs.account_forms import put_error
from jobs.assessment_forms import RecordForm
from jobs.clashes import Clash, Conflict
from jobs.editing import saved
from jobs.errors import DomainError
from jobs.models import TimeOff, Truck, User
from jobs.models.base import Act, new_key
from jobs.refusals import refusal_of
from jobs.rights import may, need, need_on
from jobs.time_off import archive_truck, keep_off, take_back
from jobs.views import SignedInRequest, page

DAYS_OFF_A_PAGE = 50


class TruckForm(RecordForm):
    """What a crew drives."""

    class Meta:
        model = Truck
        fields = ["name", "payload_lb", "note"]
        labels = {
            "name": gettext_lazy("Name"),
            "payload_lb": gettext_lazy("May carry, lb"),
            "note": gettext_lazy("Note"),
        }
        help_texts = {"payload_lb": gettext_lazy("people and parts together; empty: not known")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if self.instance._state.adding:
            self.fields["id"] = forms.UUIDField(widget=forms.HiddenInput)  # pressed twice, it is kept once


class TimeOffForm(RecordForm):
    """Days off of a person, of a truck, or of the whole company."""

    class Meta:
        model = TimeOff
        fields = ["person", "truck", "from_on", "to_on", "why"]
        labels = {
            "person": gettext_lazy("Person"),
            "truck": gettext_lazy("Truck"),
            "from_on": gettext_lazy("From"),
            "to_on": gettext_lazy("Last day"),
            "why": gettext_lazy("Why"),
        }
        help_texts = {
            "person": gettext_lazy("leave person and truck empty for a holiday of the whole company"),
            "to_on": "",
            "why": gettext_lazy("crew leads read it too"),
        }

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.by = by
        self.taken: Sequence[Clash] = ()  # what keeps these days from being noted, to be linked to
        people = User.objects.filter(is_active=True).order_by("first_name", "username")
        for name, rows in (("person", people), ("truck", Truck.objects.standing())):
            field = cast("forms.ModelChoiceField[Any]", self.fields[name])
            field.queryset, field.empty_label = rows, "\N{EN DASH}"
            if not self.instance._state.adding:
                del self.fields[name]
        if self.instance._state.adding:
            self.fields["id"] = forms.UUIDField(widget=forms.HiddenInput)  # as above

    def save(self, commit: bool = True) -> TimeOff:
        """Keep the days off by the service that knows who is booked."""
        return keep_off(self.instance, by=self.by)


# -- trucks --------------------------------------------------------------------------------------------------------


@page
def trucks(request: SignedInRequest) -> HttpResponse:
    """Every truck, those in the archive too; and a form for a new one."""
    need(request.user, Act.SEE, Truck)
    form = None
    if request.method == "POST":
        need(request.user, Act.ADD, Truck)
        form = TruckForm(request.POST)
        if form.is_valid() and _kept(form):
            messages.success(request, _("{truck} is noted.").format(truck=form.instance))
            return redirect("trucks")
    may_add = may(request.user, Act.ADD, Truck)
    context = {
        "trucks": Truck.objects.order_by(F("archived_at").asc(nulls_first=True), "name"),
        "may_change": may(request.user, Act.CHANGE, Truck),
        "form": (form or TruckForm(initial={"id": new_key()})) if may_add else None,
        "is_open": form is not None,
    }
    return render(request, "jobs/trucks.html", context, status=400 if form else 200)


def _kept(form: Any) -> bool:
    """Keep a new row under the key that its form came with, once; False where it is refused, which the form tells."""
    form.instance.pk = form.cleaned_data["id"]
    if type(form.instance).objects.filter(pk=form.instance.pk).exists():
        return True
    return _saved(form)


def _saved(form: Any) -> bool:
    try:
        return saved(form)
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        put_error(form, error)
        form.taken = error.clashes if isinstance(error, Conflict) else ()
        return False


@page
def truck(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Change what is noted of a truck."""
    found = get_object_or_404(Truck.objects.visible_to(request.user), pk=pk)
    need_on(request.user, Act.CHANGE, found)
    form = TruckForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid() and _saved(form):
        messages.success(request, _("Kept."))
        return redirect("trucks")
    return render(request, "jobs/truck.html", {"truck": found, "form": form}, status=400 if form.errors else 200)


@require_POST
@page
def put_truck_away(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Archive a truck that is not booked, or bring one back."""
    found = get_object_or_404(Truck.objects.visible_to(request.user), pk=pk)
    need_on(request.user, Act.ARCHIVE, found)
    if found.archived_at is not None:
        _try(request, Truck.objects.filter(pk=found.pk).restore, _("Restored."))
    else:
        said = _("{truck} is archived: it is booked no more.").format(truck=found)
        _try(request, lambda: archive_truck(found, by=request.user), said)
    return redirect("trucks")


def _try(request: SignedInRequest, act: Callable[[], object], said: str) -> None:
    """Do it, and say that it is done, or why a service or the database refuses it."""
    try:
        with transaction.atomic():
            act()
    except DomainError as error:
        messages.error(request, error.message)
    except IntegrityError as error:
        refused = refusal_of(error)
        if refused is None:
            raise
        messages.error(request, refused[2])
    else:
        messages.success(request, said)


# -- days off ------------------------------------------------------------------------------------------------------


@page
def days_off(request: SignedInRequest) -> HttpResponse:
    """Days off that are to come, or were; and a form for new ones."""
    need(request.user, Act.SEE, TimeOff)
    form = None
    if request.method == "POST":
        need(request.user, Act.ADD, TimeOff)
        form = TimeOffForm(request.POST, by=request.user)
        if form.is_valid() and _kept(form):
            messages.success(request, _("The days off are noted."))
            return redirect("time-off")
    may_add = may(request.user, Act.ADD, TimeOff)
    is_past = request.GET.get("past") == "yes"
    over = Q(to_on__lt=timezone.localdate())
    rows = TimeOff.objects.visible_to(request.user).filter(over if is_past else ~over)
    rows = rows.select_related("person", "truck").order_by("-from_on" if is_past else "from_on", "pk")
    context = {
        "page": Paginator(rows, DAYS_OFF_A_PAGE).get_page(request.GET.get("page")),
        "is_past": is_past,
        "may_change": may(request.user, Act.CHANGE, TimeOff),
        "form": (form or TimeOffForm(by=request.user, initial={"id": new_key()})) if may_add else None,
        "is_open": form is not None,
    }
    return render(request, "jobs/time_off.html", context, status=400 if form else 200)


@page
def change_days_off(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Change days off: somebody comes back earlier, or later."""
    found = _time_off(request, pk)
    need_on(request.user, Act.CHANGE, found)
    form = TimeOffForm(request.POST or None, instance=found, by=request.user)
    if request.method == "POST" and form.is_valid() and _saved(form):
        messages.success(request, _("Kept."))
        return redirect("time-off")
    context = {"time_off": found, "form": form}
    return render(request, "jobs/time_off_change.html", context, status=400 if form.errors else 200)


@require_POST
@page
def take_back_days_off(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Take days off back: nobody is off then after all. The record keeps that they were there."""
    found = _time_off(request, pk)
    need_on(request.user, Act.ARCHIVE, found)
    _try(request, lambda: take_back(found, by=request.user), _("Taken back."))
    return redirect("time-off")


def _time_off(request: SignedInRequest, pk: UUID) -> TimeOff:
    return get_object_or_404(TimeOff.objects.visible_to(request.user).select_related("person", "truck"), pk=pk)
