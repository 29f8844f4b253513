"""Papers on pages: the company's own, a home's, one to be changed, taking one away."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from jobs.assessment_forms import PaperForm
from jobs.editing import saved
from jobs.models import Company, Home, Paper, Siting, User
from jobs.models.base import Act, new_key
from jobs.papers import (
    COMPANY_KINDS,
    State,
    company_rules,
    missing_among,
    of_company_record,
    rules_of,
    state_of,
    the_company,
)
from jobs.rights import may, need, need_on, need_standing
from jobs.rulebook import Rules
from jobs.views import SignedInRequest, page


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A paper as pages list it. ``is_stored``: it can be changed; else the company's own record says it."""

    paper: Paper
    state: State
    is_stored: bool


def papers_told(siting: Siting | None, user: User) -> dict[str, Any]:
    """Return what pages tell of a home's papers, and what keeps everybody from starting there today."""
    if siting is None:
        return {"papers": []}
    company, on = the_company(), timezone.localdate()
    rules = rules_of(siting.home, company)
    rows = list(Paper.objects.standing().filter(Q(siting=siting) | Q(siting__isnull=True)).order_by("pk"))
    return {
        "papers": [_listed(row, rules) for row in rows if row.siting_id],
        "missing": missing_among([*rows, *of_company_record(company)], on, rules),
        "may_change_papers": siting.home.archived_at is None and may(user, Act.CHANGE, Paper),
    }


def _listed(paper: Paper, rules: Rules) -> Listed:
    state = state_of(paper, timezone.localdate(), rules)
    return Listed(paper=paper, state=state, is_stored=not paper._state.adding)


@page
def company_papers(request: SignedInRequest) -> HttpResponse:
    """The company's licence, insurance and inspections of jacks; homes' papers that run out soon or have run out."""
    need_on(request.user, Act.ADD, Paper())
    form = None
    if request.method == "POST":
        form = PaperForm(request.POST, siting=None)
        if form.is_valid() and _kept(form):
            messages.success(request, _("The paper is noted."))
            return redirect("papers")
    company = the_company()
    rules = company_rules(company)
    rows = list(Paper.objects.standing().filter(siting__isnull=True).order_by("kind", "-expires_on", "-pk"))
    papers = [*rows, *of_company_record(company)]
    missing = missing_among(papers, timezone.localdate(), rules)
    context = {
        "papers": [_listed(one, rules) for one in papers],
        "missing": [block for block in missing if block.code in COMPANY_KINDS],
        "of_homes": _of_homes_running_out(company),
        "may_change_papers": True,
        "form": form or _blank(None),
        "is_open": form is not None,
    }
    return render(request, "jobs/papers.html", context, status=400 if form else 200)


def _of_homes_running_out(company: Company | None) -> list[Listed]:
    """Return the papers of homes that need a look: those that run out soon, have run out, or hold everybody off."""
    under = Paper.objects.standing().filter(siting__to_on__isnull=True, siting__home__archived_at__isnull=True)
    rows = under.select_related("siting__home__rule_set").order_by("expires_on", "pk")
    listed = [_listed(row, rules_of(row.siting.home, company)) for row in rows if row.siting is not None]
    return [one for one in listed if one.state.is_stop or one.state.is_soon]


@page
def siting_papers(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A home's permits, locate tickets and holds, and a form to note one."""
    rows = Siting.objects.visible_to(request.user).select_related("home__rule_set")
    siting = get_object_or_404(rows, pk=pk)
    form = None
    if request.method == "POST":
        need(request.user, Act.ADD, Paper)
        need_standing(siting.home)
        form = PaperForm(request.POST, siting=siting)
        if form.is_valid() and _kept(form):
            messages.success(request, _("The paper is noted."))
            return redirect("siting-papers", pk=siting.pk)
    told = papers_told(siting, request.user)
    may_add = siting.home.archived_at is None and may(request.user, Act.ADD, Paper)
    context = {
        "siting": siting,
        **told,
        "form": (form or _blank(siting)) if may_add else None,
        "is_open": form is not None,
    }
    return render(request, "jobs/papers.html", context, status=400 if form else 200)


def _blank(siting: Siting | None) -> PaperForm:
    return PaperForm(siting=siting, initial={"id": new_key()})


def _kept(form: PaperForm) -> bool:
    """Keep a new paper under the key that its form came with, once."""
    form.instance.pk = form.cleaned_data["id"]
    return Paper.objects.filter(pk=form.instance.pk, siting=form.instance.siting).exists() or saved(form)


@page
def paper(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Change a paper: a new last day, a hold released."""
    found = _paper(request, pk)
    _need_change(request.user, found, Act.CHANGE)
    form = PaperForm(request.POST or None, siting=found.siting, instance=found)
    if request.method == "POST" and form.is_valid() and saved(form):
        messages.success(request, _("Kept."))
        return _back(found)
    context = {"paper": found, "siting": found.siting, "form": form}
    return render(request, "jobs/paper.html", context, status=400 if form.errors else 200)


@require_POST
@page
def archive_paper(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Take a paper away: it counts no more and stays kept."""
    found = _paper(request, pk)
    _need_change(request.user, found, Act.ARCHIVE)
    Paper.objects.filter(pk=found.pk).archive()
    messages.success(request, _("The paper is archived: it counts no more."))
    return _back(found)


def _paper(request: SignedInRequest, pk: UUID) -> Paper:
    return get_object_or_404(Paper.objects.visible_to(request.user).select_related("siting__home"), pk=pk)


def _need_change(user: User, found: Paper, act: Act) -> None:
    home: Home | None = found.siting.home if found.siting else None
    if home is not None:
        need_standing(home)
    need_on(user, act, found)


def _back(found: Paper) -> HttpResponse:
    return redirect("siting-papers", pk=found.siting_id) if found.siting_id else redirect("papers")
