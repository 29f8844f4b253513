"""Approving a plan, taking it back, and telling whether it still holds."""

import datetime
from collections.abc import Iterable

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from calcs.approving.of_checks import of_checks
from calcs.approving.of_findings import of_findings
from calcs.approving.of_home import of_assessment, of_right, of_standing, of_time, why_assessment_changed
from calcs.approving.of_plan import of_plan
from calcs.approving.of_readings import of_readings
from calcs.approving.refusals import Case, Refusal, nobodys
from calcs.models import Approval, Plan
from calcs.staleness import why_stale
from jobs.assessing import standing_assessment
from jobs.errors import DomainError
from jobs.models import Assessment, Siting, User
from jobs.models.base import Act
from jobs.papers import missing_papers, rules_of, the_company
from jobs.rights import is_manager, need, need_on
from surveys.models import Survey

REASON_AT_MOST = 500
_ONE_STANDING = {"approval_one_standing_a_siting", "approval_number_once_a_siting"}


def why_not(plan: Plan, by: User) -> tuple[Refusal, ...]:
    """Return what keeps ``by`` from approving a plan, in words for ``by``; empty when nothing does."""
    case = Case(plan=plan, by=by)
    standing = (*of_right(case), *of_standing(case))
    if any(refusal.code != "role" for refusal in standing):
        return (*standing, *of_assessment(case))
    parts = (of_assessment, of_time, of_readings, of_findings, of_plan, of_checks)
    return (*standing, *(refusal for part in parts for refusal in part(case)))


def standing_approval(siting: Siting) -> Approval | None:
    """Return the approval that stands at a siting; it comes with its plan, its survey and who approved it."""
    beside = ("plan__lift", "plan__survey__siting__home", "assessment", "approved_by")
    return Approval.objects.standing().filter(siting=siting).select_related(*beside).first()


# -- approving -------------------------------------------------------------------------------------------------


def approve(plan: Plan, by: User, reason: str = "", *, replaces: Approval | None = None) -> Approval:
    """Approve a plan: from now on it is what is built at the siting.

    ``reason``: why the manager goes beyond what a crew lead may approve, and why the approval in ``replaces``, which
    stood until now, is replaced.

    Raises
    ------
    DomainError
        403 when ``by`` may approve nothing; 400 where a reason is missing or too long; 409, naming each refusal, when
        something is in the way; 409 too when another approval stands than the one to be replaced.
    """
    need(by, Act.ADD, Approval)
    reason = _checked(reason, "reason")
    with transaction.atomic():
        # Who adds readings waits until this is done, so that none slips in between looking and approving.
        Survey.objects.select_for_update(no_key=True).get(pk=plan.survey_id)
        plan = Plan.objects.select_related("lift", "survey__siting__home", "survey__author").get(pk=plan.pk)
        beyond = _refuse(why_not(plan, by), by=by, reason=reason)
        siting = plan.survey.siting
        _replace(standing_approval(siting), replaces, plan, by=by, why=reason)
        assessment = standing_assessment(siting)
        approval = Approval(
            siting=siting,
            plan=plan,
            number=1 + (Approval.objects.filter(siting=siting).aggregate(last=Max("number"))["last"] or 0),
            assessment=assessment,
            assessment_version=assessment.version if assessment else 0,
            approved_by=by,
            is_by_manager=is_manager(by),
            reason=reason if beyond else "",
        )
        _insert(approval)
        need_on(by, Act.ADD, approval)
    return approval


def _checked(text: str, field: str, *, is_needed: bool = False) -> str:
    text = text.strip()
    if len(text) > REASON_AT_MOST or (is_needed and not text):
        sentence = _("Say why, in at most {count} characters.").format(count=REASON_AT_MOST)
        raise DomainError("invalid", sentence, fields={field: sentence})
    return text


def _refuse(refusals: Iterable[Refusal], *, by: User, reason: str) -> list[Refusal]:
    """Raise what ``by`` can't sign past; return what is signed past."""
    found = list(refusals)
    final = [refusal for refusal in found if not refusal.is_for_manager]
    if final:
        raise DomainError("not_approvable", final[0].words, fields=_fields(found), status=409)
    if found and not is_manager(by):
        message = _("The manager decides: {why}").format(why=found[0].words)
        raise DomainError("for_manager", message, fields=_fields(found), status=409)
    if found and not reason:
        sentence = _("Say why you go beyond this: {why}").format(why=found[0].words)
        raise DomainError("invalid", sentence, fields={"reason": sentence})
    return found


def _fields(refusals: list[Refusal]) -> dict[str, str]:
    told: dict[str, str] = {}
    for refusal in refusals:
        told[refusal.code] = " ".join(filter(None, (told.get(refusal.code), refusal.words)))
    return told


def _replace(standing: Approval | None, replaces: Approval | None, plan: Plan, *, by: User, why: str) -> None:
    """Withdraw the approval that stands; whoever replaces it has seen it and says why."""
    if standing != replaces:
        raise _another_stands()
    if standing is None:
        return
    if standing.plan_id == plan.pk and why_not_standing(standing) is None:
        raise DomainError("approved", _("This plan is approved already."), status=409)
    why = _checked(why, "reason", is_needed=True)
    _close(standing, by=by, why=why)


def _close(approval: Approval, *, by: User, why: str) -> None:
    open_still = Approval.objects.standing().filter(pk=approval.pk)
    if not open_still.update(withdrawn_at=timezone.now(), withdrawn_by=by, withdrawn_why=why):
        raise DomainError("withdrawn", _("This approval is withdrawn already."), status=409)


def _insert(approval: Approval) -> None:
    """Store an approval; of two that are given at once the database lets one stand."""
    try:
        with transaction.atomic():
            approval.save(force_insert=True)
    except IntegrityError as error:
        if getattr(getattr(error.__cause__, "diag", None), "constraint_name", None) in _ONE_STANDING:
            raise _another_stands() from error
        raise


def _another_stands() -> DomainError:
    sentence = _("Another approval stands here than you have seen: look at it, then say that yours replaces it.")
    return DomainError("conflict", sentence, fields={"replaces": sentence}, status=409)


def withdraw(approval: Approval, by: User, why: str) -> None:
    """Take an approval back; it stays kept, with who did it, when and why.

    Raises
    ------
    DomainError
        403 when ``by`` may not, 400 without a reason, 409 when it is withdrawn already.
    """
    need_on(by, Act.CHANGE, approval)
    _close(approval, by=by, why=_checked(why, "why", is_needed=True))


# -- whether it holds ------------------------------------------------------------------------------------------


def why_not_standing(approval: Approval, *, has_begun: bool = False) -> str | None:
    """Say why nobody builds by an approval any more; None while it holds.

    Once work has begun the record moves on with it: that it was changed is no reason then.
    """
    if approval.withdrawn_at is not None:
        return _("This approval is withdrawn.")
    is_current = Plan.objects.current().filter(pk=approval.plan_id).exists()
    stale = why_stale(approval.plan.survey) if is_current else "readings"
    if stale == "record" and has_begun:
        stale = None
    if stale == "record":
        return _("The layout, the home's record or the rules have changed since this plan was approved.")
    if stale is not None:
        return _("Readings have come in since this plan was approved.")
    assessment = Assessment.objects.select_related("siting__home").get(pk=approval.assessment_id)
    return why_assessment_changed(assessment, approval.assessment_version)


def why_not_start(approval: Approval, on: datetime.date) -> tuple[Refusal, ...]:
    """Return what keeps everybody from starting on a day: an approval that does not hold, and missing papers."""
    home = approval.siting.home
    why = why_not_standing(approval)
    papers = missing_papers(approval.siting, on, rules_of(home, the_company()))
    return (
        *((nobodys("not_standing", why),) if why else ()),
        *(nobodys(f"paper_{block.code}", block.words) for block in papers),
    )
