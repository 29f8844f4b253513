"""The week on a page: visits by crew and day; the office puts one on another day or with another crew."""

import datetime
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.validators import MaxValueValidator, MinValueValidator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from jobs import booking
from jobs.booking_pages import FIRST_DAY, LAST_DAY, parse_day
from jobs.booking_questions import QUESTIONS, Question
from jobs.clashes import Conflict
from jobs.errors import DomainError, Stale
from jobs.models import User, Visit
from jobs.models.base import Act
from jobs.rights import may, need
from jobs.views import SignedInRequest, page
from jobs.week import monday_of, week_of

DAY_SHOWN = 20  # characters of what an address has for a day


class PutForm(forms.Form):
    """Which visit goes to which day and crew; without a lead it waits for one."""

    visit = forms.ModelChoiceField(Visit.objects.none())
    version = forms.IntegerField()
    day = forms.DateField(validators=[MinValueValidator(FIRST_DAY), MaxValueValidator(LAST_DAY)])
    lead = forms.ModelChoiceField(User.objects.filter(is_active=True), required=False)
    despite = forms.MultipleChoiceField(choices=list(QUESTIONS.items()), required=False)

    def __init__(self, *args: Any, reader: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field: Any = self.fields["visit"]
        field.queryset = Visit.objects.visible_to(reader).select_related("siting__home", "lead")


@require_safe
@page
def week(request: SignedInRequest) -> HttpResponse:
    """The week of ``?day=``; with ``?move=`` each place offers to take that visit."""
    need(request.user, Act.SEE, Visit)
    return _shown(request, picked=_picked(request))


@require_POST
@page
def put_visit(request: SignedInRequest) -> HttpResponse:
    """Put a visit on another day or with another crew; where somebody is taken then, say who, where and when."""
    need(request.user, Act.ADD, Visit)
    form = PutForm(request.POST, reader=request.user)
    if not form.is_valid():
        return _shown(request, refusal=_("This page is out of date: open it again."), status=400)
    typed = form.cleaned_data
    visit, day = typed["visit"], typed["day"]
    try:
        if visit.version != typed["version"]:
            raise Stale
        booking.put(visit, by=request.user, day=day, lead=typed["lead"], despite=typed["despite"])
    except DomainError as error:
        clashes = error.clashes if isinstance(error, Conflict) else ()
        kept = get_object_or_404(Visit.objects.select_related("siting__home"), pk=visit.pk)
        told: dict[str, Any] = {"refusal": error.message, "clashes": clashes, "status": error.status}
        if isinstance(error, Question):
            told["again"] = {**typed, "visit": kept, "despite": [*typed["despite"], error.code]}
        return _shown(request, day=day, picked=kept, **told)
    who = ", ".join(dict.fromkeys(str(one) for one in [visit.lead, *visit.crew.all(), *visit.trucks.all()] if one))
    words = _("{visit} goes to {day}: {who}.")
    told = {"visit": visit.siting.home, "day": date_format(day, "D j M Y"), "who": who or _("nobody yet")}
    messages.success(request, words.format(**told))
    return redirect(f"{reverse('week')}?day={day:%Y-%m-%d}#visit-{visit.pk}")


def _picked(request: SignedInRequest) -> Visit | None:
    """Return the visit that is to be put elsewhere, for who may."""
    try:
        key = UUID(request.GET.get("move", ""))
    except ValueError:
        return None
    need(request.user, Act.ADD, Visit)
    return get_object_or_404(Visit.objects.visible_to(request.user).select_related("siting__home"), pk=key)


def _shown(
    request: SignedInRequest,
    *,
    day: datetime.date | None = None,
    picked: Visit | None = None,
    status: int = 200,
    **more: Any,
) -> HttpResponse:
    asked = request.GET.get("day", "")
    day = day or parse_day(asked)
    if asked and day is None:
        sentence = _("“{day}” is no day from {first} to {last}: here is this week.")
        first, last = (date_format(one, "j M Y") for one in (FIRST_DAY, LAST_DAY))
        messages.error(request, sentence.format(day=asked[:DAY_SHOWN], first=first, last=last))
    day = day or timezone.localdate()
    context = {
        "week": week_of(request.user, day),
        "day": day,
        "number": (day - monday_of(day)).days + 1,
        "picked": picked,
        "may_book": may(request.user, Act.ADD, Visit),
        **more,
    }
    return render(request, "jobs/week.html", context, status=status)
