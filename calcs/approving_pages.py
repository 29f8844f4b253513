"""Approving on a page: what is in the way, what must be known, and the form that approves or takes back."""

from collections.abc import Sequence
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from calcs.approving import (
    Refusal,
    approve,
    standing_approval,
    told,
    why_not,
    why_not_standing,
    withdraw,
)
from calcs.models import Approval, Plan
from calcs.spoken import OPTION_WORDS
from jobs.errors import DomainError
from jobs.models import User
from jobs.models.base import Act
from jobs.rights import is_manager, may, need
from jobs.views import SignedInRequest, page


def approving_of(plan: Plan, by: User) -> dict[str, Any]:
    """Return what ``calcs/approve.html`` shows of a plan to a person; it also takes ``reason`` and ``refused``."""
    refusals = sorted(why_not(plan, by), key=lambda refusal: refusal.is_for_manager)  # what nobody goes past first
    standing = standing_approval(plan.survey.siting)
    not_standing = why_not_standing(standing) if standing else None
    is_this = standing is not None and standing.plan_id == plan.pk
    is_open = all(refusal.is_for_manager for refusal in refusals) and (not refusals or is_manager(by))
    return {
        "plan": plan,
        "refusals": refusals,
        "who_decides": "" if is_this and not_standing is None else _who_decides(refusals, by),
        "told": told(plan, by),
        "approval": standing,
        "approval_is_this": is_this,
        "not_standing": not_standing,
        "may_approve": is_open and may(by, Act.ADD, Approval) and not (is_this and not_standing is None),
        "may_withdraw": standing is not None and may(by, Act.CHANGE, Approval),
        "asks_why": bool(refusals) or standing is not None,
    }


def _who_decides(refusals: Sequence[Refusal], by: User) -> str:
    """Say what the refusals together come to for whoever reads them."""
    if not refusals:
        return ""
    if any(refusal.code == "role" for refusal in refusals):
        return _("A crew lead or the manager approves plans.")
    if not all(refusal.is_for_manager for refusal in refusals):
        return _("Nobody approves this plan as it is: settle first what nobody goes past, or choose another plan.")
    if is_manager(by):
        return _("You may approve it all the same, with a reason that is kept.")
    return _("This is more than a crew lead approves: the manager may, with a reason that is kept.")


@page
def plan_approve(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Whether a plan may be approved; a form sent approves it."""
    plan = _plan(request, pk)
    if request.method != "POST":
        return _shown(request, plan)
    need(request.user, Act.ADD, Approval)
    reason = request.POST.get("reason", "")
    try:
        approval = approve(plan, request.user, reason, replaces=_replaced(request, plan))
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        return _shown(request, plan, status=error.status, refused=error.message, reason=reason)
    messages.success(request, _("Approved, number {number}.").format(number=approval.number))
    return redirect("plan-approve", pk=plan.pk)


@require_POST
@page
def approval_withdraw(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Take an approval back with a reason."""
    approval = get_object_or_404(Approval.objects.visible_to(request.user), pk=pk)
    why = request.POST.get("why", "")
    try:
        withdraw(approval, request.user, why)
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        plan = _plan(request, approval.plan_id)
        return _shown(request, plan, status=error.status, withdraw_refused=error.message, why=why)
    messages.success(request, _("Withdrawn. It stays kept, with your reason."))
    return redirect("plan-approve", pk=approval.plan_id)


def _plan(request: SignedInRequest, pk: UUID) -> Plan:
    rows = Plan.objects.visible_to(request.user)
    return get_object_or_404(rows.select_related("lift", "survey__siting__home", "survey__author"), pk=pk)


def _replaced(request: SignedInRequest, plan: Plan) -> Approval | None:
    """Return the approval that the person saw standing when the form was opened."""
    seen = request.POST.get("replaces", "")
    rows = Approval.objects.filter(siting=plan.survey.siting_id)
    return next((approval for approval in rows if str(approval.pk) == seen), None)


def _shown(request: SignedInRequest, plan: Plan, *, status: int = 200, **typed: Any) -> HttpResponse:
    context = {
        **approving_of(plan, request.user),
        "home": plan.survey.siting.home,
        "option": OPTION_WORDS.get(plan.option, plan.option),
        "before": Approval.objects.filter(siting=plan.survey.siting_id, withdrawn_at__isnull=False)
        .select_related("approved_by", "withdrawn_by", "plan")
        .order_by("-number"),
        **typed,
    }
    return render(request, "calcs/approve_page.html", context, status=status)
