"""The assessment of a home on pages: the one that counts with what stands in the way, a new one, a correction."""

from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from jobs.assessing import assessments_of, blocks_of, override_block, season_of, standing_assessment, warnings_of
from jobs.assessment_forms import AssessmentForm, OverrideForm
from jobs.call_backs import call_back_at, to_read_first
from jobs.editing import saved
from jobs.errors import DomainError
from jobs.models import Assessment, BlockOverride, Customer, Siting, User
from jobs.models.base import Act, new_key
from jobs.rights import may, need, need_on, need_standing
from jobs.views import SignedInRequest, page

EARLIER_SHOWN = 20


def assessment_told(assessment: Assessment | None) -> dict[str, Any]:
    """Return what pages tell of the assessment that counts at a siting."""
    if assessment is None:
        return {"assessment": None}
    blocks = blocks_of(assessment)
    return {
        "assessment": assessment,
        "blocks": blocks,
        "open_blocks": [block for block in blocks if block.override is None],
        "season": season_of(assessment.assessed_on).label,
        "warnings": warnings_of(assessment, timezone.localdate()),
        "has_letter": assessment.verdict != Assessment.Verdict.LIFT,
    }


def current_assessment_told(siting: Siting | None) -> dict[str, Any]:
    """Return the same of the place where a home stands now."""
    return assessment_told(standing_assessment(siting) if siting else None)


@page
def assessment(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The assessment that counts at a siting, earlier ones, and a form for a new one."""
    siting = get_object_or_404(Siting.objects.visible_to(request.user).select_related("home"), pk=pk)
    form = None
    if request.method == "POST":
        need(request.user, Act.ADD, Assessment)
        need_standing(siting.home)
        form = AssessmentForm(request.POST, siting=siting, instance=Assessment(author=request.user))
        if form.is_valid() and _kept(form):
            messages.success(request, _("The assessment is kept. The one with the newest day counts."))
            return redirect("assessment", pk=siting.pk)
    return _shown(request, siting, form=form, status=400 if form else 200)


def _kept(form: AssessmentForm) -> bool:
    """Keep a new assessment under the key that its form came with, once."""
    form.instance.pk = form.cleaned_data["id"]
    return Assessment.objects.filter(pk=form.instance.pk, siting=form.instance.siting).exists() or saved(form)


@page
def correct(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Correct the assessment that counts."""
    found = _assessment(request, pk)
    need_standing(found.siting.home)
    need_on(request.user, Act.CHANGE, found)
    form = AssessmentForm(request.POST or None, siting=found.siting, instance=found)
    if request.method == "POST" and form.is_valid() and saved(form):
        messages.success(request, _("The assessment is corrected."))
        return redirect("assessment", pk=found.siting_id)
    context = {"siting": found.siting, "form": form}
    return render(request, "jobs/assessment_correct.html", context, status=400 if form.errors else 200)


@require_POST
@page
def override(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Sign past a block, with a reason."""
    found = _assessment(request, pk)
    need(request.user, Act.ADD, BlockOverride)
    need_standing(found.siting.home)
    form = OverrideForm(request.POST)
    if not form.is_valid():
        return _shown(request, found.siting, refused=form, status=400)
    found.version = form.cleaned_data["version"]  # as it was read
    code, reason = form.cleaned_data["code"], form.cleaned_data["reason"]
    try:
        override_block(found, code, request.user, reason)
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        form.add_error("reason", " ".join(error.fields.values()) or error.message)
        return _shown(request, found.siting, refused=form, status=error.status)
    messages.success(request, _("Signed, with your reason."))
    return redirect("assessment", pk=found.siting_id)


def _assessment(request: SignedInRequest, pk: UUID) -> Assessment:
    rows = Assessment.objects.visible_to(request.user).select_related("siting__home", "author", "visit")
    return get_object_or_404(rows, pk=pk)


def _shown(
    request: SignedInRequest,
    siting: Siting,
    *,
    form: AssessmentForm | None = None,
    refused: OverrideForm | None = None,
    status: int = 200,
) -> HttpResponse:
    rows = list(assessments_of(siting)[: EARLIER_SHOWN + 1])
    takes_changes = siting.home.archived_at is None
    may_add = takes_changes and may(request.user, Act.ADD, Assessment)
    told = assessment_told(rows[0] if rows else None)
    context = {
        "siting": siting,
        **told,
        "earlier": rows[1:],
        "to_read_first": _to_read_first(siting),
        "forms": _override_forms(request.user, told, refused) if takes_changes else [],
        "form": (form or _blank(siting)) if may_add else None,
        "is_open": form is not None or not rows,
        "may_correct": takes_changes and may(request.user, Act.CHANGE, Assessment),
        "may_write": may(request.user, Act.SEE, Customer),
    }
    return render(request, "jobs/assessment.html", context, status=status)


def _to_read_first(siting: Siting) -> str:
    """Say which marks a call-back here still waits for; nothing where it waits for none."""
    job = call_back_at(siting, timezone.localdate())
    return to_read_first(siting, job) if job else ""


def _blank(siting: Siting) -> AssessmentForm:
    return AssessmentForm(siting=siting, initial={"id": new_key()})


def _override_forms(user: User, told: dict[str, Any], refused: OverrideForm | None) -> list[dict[str, Any]]:
    """Return a form for each block that the manager may go past, where it is a manager who looks."""
    found: Assessment | None = told["assessment"]
    if found is None or not may(user, Act.ADD, BlockOverride):
        return []
    code = refused.data.get("code") if refused else None
    return [
        {
            "block": block,
            "form": refused if block.code == code else _override_form(found, block.code),
            "is_refused": block.code == code,
        }
        for block in told["open_blocks"]
        if not block.is_absolute
    ]


def _override_form(found: Assessment, code: str) -> OverrideForm:
    return OverrideForm(initial={"code": code, "version": found.version}, auto_id=f"id_{code}_%s")
