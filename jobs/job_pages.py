"""Jobs on pages: the list, an enquiry noted or corrected, one job, and what becomes of it."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Any, cast
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import IntegrityError, transaction
from django.db.models import Min, Prefetch, Q, QuerySet
from django.forms import BaseForm
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from jobs import enquiry, job_services
from jobs.account_forms import put_error
from jobs.editing import saved
from jobs.erasing_jobs import ERASED_CALLER
from jobs.errors import DomainError, Stale
from jobs.job_forms import CallBackForm, DeclineForm, FinishForm, JobForm, PlaceForm, TakeForm
from jobs.job_matching import MATCHES_SHOWN, customers_like, homes_like, jobs_under_warranty
from jobs.models import Customer, Home, Job, Siting, Visit
from jobs.models.base import Act, new_key
from jobs.papers import company_rules, rules_of, the_company
from jobs.refusals import refusal_of
from jobs.rights import is_manager, may, need, need_on
from jobs.rulebook import Rules
from jobs.views import SignedInRequest, page

JOBS_A_PAGE = 50
MOST_DIGITS = 10  # of a job's number
GOING_ON = (Job.State.ENQUIRY, Job.State.OPEN)
SHOWN = {
    "": gettext_lazy("going on"),
    **dict(Job.State.choices),
    "call_backs": gettext_lazy("call-backs"),
    "all": gettext_lazy("all"),
}


@require_safe
@page
def jobs(request: SignedInRequest) -> HttpResponse:
    """Jobs, newest first: those that go on, or as they are asked for; found by number, name, telephone or place."""
    need(request.user, Act.SEE, Job)
    query = request.GET.get("q", "").replace("\x00", "").strip()
    shown = request.GET.get("shown", "")
    rows = _matching(_shown(shown), query)
    beside = ("home", "customer", "call_back_of")
    booked = Min("visits__starts_at", filter=Q(visits__state__in=Visit.UNDER_WAY))
    rows = rows.select_related(*beside).annotate(next_visit_at=booked).order_by("-number")
    context = {
        "page": Paginator(rows, JOBS_A_PAGE).get_page(request.GET.get("page")),
        "query": query,
        "shown": shown if shown in SHOWN else "",
        "choices": SHOWN,
        "may_add": may(request.user, Act.ADD, Job),
    }
    return render(request, "jobs/jobs.html", context)


def _shown(which: str) -> QuerySet[Job]:
    match which:
        case "all":
            return Job.objects.all()
        case "call_backs":
            return Job.objects.filter(call_back_of__isnull=False)
        case state if state in Job.State.values:
            return Job.objects.filter(state=state)
    return Job.objects.filter(state__in=GOING_ON)


def _matching(rows: QuerySet[Job], query: str) -> QuerySet[Job]:
    if not query:
        return rows
    at_place = Siting.objects.filter(address__icontains=query).values("home")
    found = (
        Q(home__in=at_place) | Q(number=int(query)) if query.isdecimal() and len(query) < 9 else Q(home__in=at_place)
    )
    for path in ("caller_name", "caller_phone", "address", "customer__name", "home__code", "home__name"):
        found |= Q(**{f"{path}__icontains": query})
    return rows.filter(found)


# -- an enquiry ----------------------------------------------------------------------------------------------------


@page
def new_job(request: SignedInRequest) -> HttpResponse:
    """Note an enquiry; with ``home`` or ``call_back_of`` in the address, about that home or that job's work."""
    need(request.user, Act.ADD, Job)
    started = _started(request)
    form = JobForm(request.POST or None, instance=started, initial={"id": new_key(), "home": started.home})
    if request.method == "POST" and form.is_valid():
        started.pk = form.cleaned_data["id"]
        if Job.objects.filter(pk=started.pk).exists() or saved(form):
            messages.success(request, _("The enquiry is noted."))
            return redirect("job", pk=started.pk)
    return render(request, "jobs/job_form.html", _form_told(form, None), status=400 if form.errors else 200)


def _started(request: SignedInRequest) -> Job:
    """Return a job that is about the home or the earlier job that the address names."""
    job = Job()
    if (earlier := _named(request, "call_back_of", Job.objects.filter(state=Job.State.DONE))) is not None:
        job.call_back_of, job.home, job.customer = earlier, earlier.home, earlier.customer
    elif (home := _named(request, "home", Home.objects.standing())) is not None:
        job.home = home
    return job


def _named(request: SignedInRequest, name: str, rows: QuerySet[Any]) -> Any:
    """Return the row that the address names; None without one, or for a key that is none."""
    try:
        key = UUID(request.POST.get(name) or request.GET.get(name) or "")
    except ValueError:
        return None
    return rows.filter(pk=key).first()


@page
def change_job(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Correct what was noted of a job."""
    found = _job(request, pk)
    need_on(request.user, Act.CHANGE, found, JobForm.Meta.fields)
    form = JobForm(request.POST or None, instance=found)
    if request.method == "POST" and form.is_valid() and saved(form):
        messages.success(request, _("Kept."))
        return redirect("job", pk=found.pk)
    return render(request, "jobs/job_form.html", _form_told(form, found), status=400 if form.errors else 200)


def _form_told(form: JobForm, job: Job | None) -> dict[str, Any]:
    return {"form": form, "job": job, "home": form.instance.home}


# -- one job -------------------------------------------------------------------------------------------------------


@require_safe
@page
def job(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A job: who asked for what, its visits, its warranty, its call-backs, and what can become of it."""
    return _told(request, _job(request, pk))


def _job(request: SignedInRequest, pk: UUID) -> Job:
    need(request.user, Act.SEE, Job)
    beside = ("home", "customer", "call_back_of__home")
    return get_object_or_404(Job.objects.visible_to(request.user).select_related(*beside), pk=pk)


def _told(request: SignedInRequest, found: Job, *, status: int = 200, **refused: BaseForm) -> HttpResponse:
    may_change = may(request.user, Act.CHANGE, Job)
    is_enquiry, is_open = found.state == Job.State.ENQUIRY, found.state == Job.State.OPEN
    as_read = {"version": found.version}
    context = {
        "job": found,
        "alerts": enquiry.alerts_of(found.answers) if found.state in GOING_ON else [],
        "answers": enquiry.told(found.answers),
        "visits": found.visits.select_related("lead", "siting").order_by("-starts_at", "-pk"),
        "call_backs": Job.objects.call_backs().filter(call_back_of=found).order_by("-number"),
        "under_warranty": jobs_under_warranty(found),
        "may_change": may_change,
        "is_going_on": found.state in GOING_ON,
        "may_take": may_change and is_enquiry,
        "homes_like": _places(homes_like(found))[:MATCHES_SHOWN] if may_change and not found.home_id else [],
        "decline_form": DeclineForm(initial=as_read) if may_change and (is_enquiry or is_open) else None,
        "finish_form": _finish_form(found) if may_change and is_open else None,
        "may_erase": is_manager(request.user) and found.caller_name not in ("", ERASED_CALLER),
        "may_reopen": may_change and not (is_enquiry or is_open),
        **refused,
    }
    return render(request, "jobs/job.html", context, status=status)


def _finish_form(found: Job) -> FinishForm:
    months = int(_rules(found)["warranty_months"])
    return FinishForm(initial={"version": found.version, "warranty_months": months or None})


def _rules(found: Job) -> Rules:
    company = the_company()
    return rules_of(found.home, company) if found.home else company_rules(company)


def _places(homes: QuerySet[Home]) -> QuerySet[Home]:
    where_now = Siting.objects.filter(to_on__isnull=True)
    return homes.prefetch_related(Prefetch("sitings", where_now, to_attr="current_sitings"))


# -- what becomes of it --------------------------------------------------------------------------------------------


@page
def take_job(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Take an enquiry, with a home and a customer on record or new ones."""
    found = _job(request, pk)
    need_on(request.user, Act.CHANGE, found, {"state"})
    query = request.GET.get("q", "").replace("\x00", "").strip()
    homes, customers = _homes_offered(found, query), _customers_offered(found, query)
    form = TakeForm(request.POST or None, job=found, homes=homes, customers=customers)
    if request.method == "POST" and form.is_valid():
        found.version = form.cleaned_data["version"]  # as it was read
        if _done(pk, form, lambda: job_services.take(found, by=request.user, **form.what())):
            messages.success(request, _("Taken. Now a visit can be booked."))
            return redirect("job", pk=found.pk)
    context = {"job": found, "form": form, "query": query}
    return render(request, "jobs/job_take.html", context, status=400 if form.errors else 200)


def _homes_offered(found: Job, query: str) -> list[Home]:
    if found.home is not None:
        return [found.home]
    homes = homes_like(found)
    if query:
        words = Q(code__icontains=query) | Q(name__icontains=query) | Q(sitings__address__icontains=query)
        words |= Q(contacts__customer__name__icontains=query)
        homes = Home.objects.standing().filter(words).distinct().order_by("code")
    return list(homes.prefetch_related("sitings")[:MATCHES_SHOWN])


def _customers_offered(found: Job, query: str) -> list[Customer]:
    """Return whom the enquiry names, else those of its home, those who are like the caller, those looked for."""
    if found.customer is not None:
        return [found.customer]
    rows = list(customers_like(found)[:MATCHES_SHOWN])
    if found.home_id:
        present = Customer.objects.standing().filter(homes__home=found.home_id, homes__to_on__isnull=True)
        rows = [*present.order_by("name", "pk")[:MATCHES_SHOWN], *rows]
    if query:
        rows += Customer.objects.standing().filter(name__icontains=query).order_by("name", "pk")[:MATCHES_SHOWN]
    return list(dict.fromkeys(rows))


@require_POST
@page
def place_job(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Say which home on record an enquiry is about."""
    found, form = _job(request, pk), PlaceForm(request.POST)
    need_on(request.user, Act.CHANGE, found, {"home"})
    if form.is_valid():
        found.version, home = form.cleaned_data["version"], form.cleaned_data["home"]
        said = _("The enquiry is about {home}.").format(home=home)
        _try(request, lambda: job_services.place(found, by=request.user, home=home), said)
    return redirect("job", pk=found.pk)


@require_POST
@page
def link_job(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Say that an enquiry is a call-back of an earlier job."""
    found, form = _job(request, pk), CallBackForm(request.POST)
    need_on(request.user, Act.CHANGE, found, {"call_back_of"})
    if form.is_valid():
        found.version, earlier = form.cleaned_data["version"], form.cleaned_data["job"]
        said = _("It is a call-back of {job}.").format(job=earlier)
        _try(request, lambda: job_services.link_call_back(found, by=request.user, earlier=earlier), said)
    return redirect("job", pk=found.pk)


@require_POST
@page
def reopen_job(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Go on with a job that is over."""
    found = _job(request, pk)
    _try(request, lambda: job_services.reopen(found, by=request.user), _("It goes on."))
    return redirect("job", pk=found.pk)


def _try(request: SignedInRequest, act: Callable[[], object], said: str) -> None:
    """Do it, and say that it is done, or why it is refused."""
    try:
        act()
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        messages.error(request, " ".join(error.fields.values()) or error.message)
    else:
        messages.success(request, said)


@require_POST
@page
def decline_job(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Not take a job, with the reason."""
    found, form = _job(request, pk), DeclineForm(request.POST)
    need_on(request.user, Act.CHANGE, found, {"state"})
    if form.is_valid():
        found.version, reason = form.cleaned_data["version"], form.cleaned_data["reason"]
        if _done(pk, form, lambda: job_services.decline(found, by=request.user, reason=reason)):
            messages.success(request, _("Not taken. The reason is kept."))
            return redirect("job", pk=found.pk)
    return _told(request, _job(request, found.pk), status=400, decline_form=form)


@require_POST
@page
def finish_job(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Say that a job is done, with its warranty."""
    found, form = _job(request, pk), FinishForm(request.POST)
    need_on(request.user, Act.CHANGE, found, {"state"})
    if form.is_valid():
        typed = dict(form.cleaned_data)
        found.version = typed.pop("version")
        if _done(pk, form, lambda: job_services.finish(found, by=request.user, **typed)):
            messages.success(request, _("Done."))
            return redirect("job", pk=found.pk)
    return _told(request, _job(request, found.pk), status=400, finish_form=form)


def _done(pk: UUID, form: BaseForm, act: Callable[[], object]) -> bool:
    """Do it; False, with the reason in the form, where a service or the database refuses it.

    Where somebody else came first, the form goes on from what the job is now, so that sending it again is meant.
    """
    try:
        with transaction.atomic():
            act()
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        put_error(form, error)
        if isinstance(error, Stale):
            form.data = cast(QueryDict, form.data).copy()
            form.data["version"] = str(Job.objects.values_list("version", flat=True).get(pk=pk))
    except IntegrityError as error:
        refused = refusal_of(error)
        if refused is None:
            raise
        form.add_error(refused[1] if refused[1] in form.fields else None, refused[2])
    return not form.errors
