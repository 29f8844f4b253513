"""Pages of the office: several due visits planned together, looked at, planned again, and booked."""

from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.formats import date_format
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from calcs.due_filters import DueFilter
from calcs.models import Due, RoutePlan
from calcs.routes.crews import usual_crews
from calcs.routes.drawings import DayPicture, Track, draw_day
from calcs.routes.forms import LockForm, PlanForm, beginning
from calcs.routes.reading import keys
from calcs.routes.services import book_from, plan_again, request_plan
from calcs.routes.shifts import place_of
from calcs.routes.telling import DayTold, PlanTold, State, compared, hours, progress_words, tell
from calcs.words import why_due
from jobs.errors import DomainError
from jobs.models import Home, Siting
from jobs.models.base import Act
from jobs.papers import the_company
from jobs.rights import need
from jobs.views import SignedInRequest, page

ROWS_SHOWN = 60
PLANS_SHOWN = 5


@page
def plan_new(request: SignedInRequest) -> HttpResponse:
    """Choose homes, days and crews; a form sent asks for the plan."""
    need(request.user, Act.ADD, RoutePlan)
    named = set(request.GET.getlist("siting"))
    dues, count, asked_for = _dues(request, named)
    given: dict[str, Any] = {"dues": dues, "crews": usual_crews()}
    if request.method == "POST":
        form = PlanForm(request.POST, **given)
        if form.is_valid():
            try:
                plan = request_plan(form.asked(), by=request.user)
            except DomainError as error:
                _put(form, error)
            else:
                return redirect("due-plan", pk=plan.pk)
    else:
        form = PlanForm(initial=beginning(dues, named), **given)
    company = the_company()
    context = {
        "form": form,
        "filter": asked_for,
        "rows": [(due, is_chosen, kind, why_due(due)) for due, is_chosen, kind in form.rows()],
        "more": count - len(dues),
        "company": company,
        "has_yard": company is not None and place_of(company) is not None,
        "plans": RoutePlan.objects.visible_to(request.user)
        .select_related("requested_by")
        .order_by("-pk")[:PLANS_SHOWN],
    }
    return render(request, "calcs/route_plan_new.html", context, status=400 if form.errors else 200)


@require_safe
@page
def plan_shown(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Show a plan: each crew's day, what it comes to beside hand order, and what does not fit."""
    return _shown(request, _plan(request, pk))


@require_safe
@page
def plan_progress(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Say how far the search is: a small answer that the page asks for again and again."""
    plan = _plan(request, pk)
    is_working = plan.state in (State.QUEUED, State.RUNNING)
    return JsonResponse(
        {"state": "working" if is_working else "done", "words": progress_words(plan), "stamp": plan.state}
    )


@require_POST
@page
def plan_replan(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Plan the same again by the record as it is now, with what is locked."""
    plan = _plan(request, pk)
    need(request.user, Act.ADD, RoutePlan)
    form = LockForm(request.POST, told=tell(plan))
    if not form.is_valid():
        return _shown(request, plan, form, status=HTTPStatus.BAD_REQUEST)
    try:
        again = plan_again(plan, form.locks(), by=request.user)
    except DomainError as error:
        return _shown(request, plan, form, refused=error.message, status=error.status)
    return redirect("due-plan", pk=again.pk)


@require_POST
@page
def plan_book(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Book the visits that were chosen, or all."""
    plan = _plan(request, pk)
    chosen = None if request.POST.get("which") == "all" else request.POST.getlist("book")
    if chosen is not None and not chosen:
        return _shown(request, plan, refused=_("Tick the visits that are to be booked."), status=400)
    try:
        done = book_from(plan, by=request.user, sitings=chosen)
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        return _shown(request, plan, refused=error.message, status=error.status)
    count = len(done.visits)
    messages.success(request, ngettext("{count} visit booked.", "{count} visits booked.", count).format(count=count))
    homes = dict(_homes(done.refused))
    for key, why in done.refused.items():
        messages.warning(request, _("Not booked, {home}: {why}").format(home=homes[key], why=why))
    return redirect("due-plan", pk=plan.pk)


def _plan(request: SignedInRequest, pk: UUID) -> RoutePlan:
    need(request.user, Act.SEE, RoutePlan)
    return get_object_or_404(RoutePlan.objects.visible_to(request.user).select_related("requested_by"), pk=pk)


def _dues(request: SignedInRequest, named: set[str]) -> tuple[list[Due], int, DueFilter]:
    """Return the homes to choose from, nearest due first, not booked yet; those that were named before all."""
    asked = request.GET.copy()
    asked.setdefault("by", "90")
    rows = Due.objects.visible_to(request.user).standing().booked(False).in_order()
    found = DueFilter(asked, queryset=rows)
    wanted = found.qs if found.is_valid() else rows.none()
    if request.method == "POST":  # what was on the page that was sent, whatever the filter says now
        named = set(request.POST.getlist("shown"))
    if wanted_keys := [key for name in named if (key := _key(name))]:
        wanted = rows.filter(siting__in=wanted_keys)
    found.form.label_suffix = ""
    return list(wanted.listed()[:ROWS_SHOWN]), wanted.count(), found


def _key(value: str) -> UUID | None:
    try:
        return UUID(value)
    except ValueError:
        return None


def _homes(refused: Mapping[str, str]) -> Iterator[tuple[str, Home]]:
    """Yield by siting the homes that were not booked."""
    for siting in Siting.objects.filter(pk__in=keys(refused, "sitings")).select_related("home"):
        yield str(siting.pk), siting.home


def _put(form: PlanForm, error: DomainError) -> None:
    for field, sentence in error.fields.items():
        form.add_error(field if field in form.fields else None, sentence)
    if not error.fields:
        form.add_error(None, error.message)


def _shown(
    request: SignedInRequest, plan: RoutePlan, form: LockForm | None = None, *, refused: str = "", status: int = 200
) -> HttpResponse:
    told = tell(plan)
    form = form or LockForm(told=told)
    context = {
        "plan": plan,
        "told": told,
        "refused": refused,
        "words": progress_words(plan),
        "is_working": plan.state in (State.QUEUED, State.RUNNING),
        "compared": compared(told.result.figures, told.result.hand) if told.result else (),
        "days": [(day, *_drawn(day, told), _routes(day, form)) for day in told.days],
        "left": [(left, form.field_of(left.siting)) for left in told.left],
        "holidays": sorted(told.holidays.items()),
    }
    return render(request, "calcs/route_plan.html", context, status=status)


def _routes(day: DayTold, form: LockForm) -> list[tuple[Any, str, list[tuple[Any, Any]]]]:
    """Return each crew's day with its hours of driving, and each place with the field that locks it."""
    return [
        (
            route,
            hours(route.drive_min),
            [(call, form.field_of(call.siting) if call.siting else None) for call in route.calls],
        )
        for route in day.routes
    ]


def _drawn(day: DayTold, told: PlanTold) -> tuple[str, str]:
    """Return the drawing of a day, for wide pages and for phones."""
    stops = {stop.code: stop.place for stop in told.document.stops}
    stops |= {taken.code: taken.arrives for shift in told.document.shifts for taken in shift.taken}
    tracks = tuple(
        Track(letter=route.letter, places=tuple(stops[call.code] for call in route.route.calls))
        for route in day.routes
    )
    title = _("Ways on {day}").format(day=date_format(day.day, "D j M Y"))
    picture = DayPicture(title=title, yard=told.document.shifts[0].yard, tracks=tracks)
    flat, turned = draw_day(picture), draw_day(picture, is_narrow=True)
    return mark_safe(flat), mark_safe(turned)  # noqa: S308 - the sheet escapes every text
