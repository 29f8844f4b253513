"""Whether the plan still stands for the home, and whether anybody judged that it is to be lifted."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from calcs.approving.refusals import Case, Refusal, nobodys
from calcs.models import Approval, PassEntry, Plan
from calcs.staleness import why_stale
from jobs.assessing import open_blocks, standing_assessment
from jobs.models import Assessment
from jobs.models.base import Act
from jobs.rights import LEAD, MANAGER, may, refusal
from surveys.models import Reading, Survey


def of_right(case: Case) -> Iterator[Refusal]:
    """Tell whoever may approve nothing so."""
    if not may(case.by, Act.ADD, Approval):
        yield nobodys("role", refusal(LEAD | MANAGER))


def of_standing(case: Case) -> Iterator[Refusal]:
    """Tell why the plan does not stand; what else is asked of it then means nothing."""
    if case.siting.home.archived_at is not None:
        yield nobodys("archived", _("This home is archived."))
    if case.siting.to_on is not None:
        yield nobodys("siting_over", _("The home stands here no more."))
    is_current = Plan.objects.current().filter(pk=case.plan.pk).exists()
    stale = why_stale(case.plan.survey) if is_current else "readings"
    if stale == "record":
        words = _("Stale: the layout, the home's record or the rules have changed since this was computed.")
        yield nobodys("stale_record", words)
    elif stale is not None:
        words = _("Stale: readings came in or were corrected since, or another lift took the place of this plan's.")
        yield nobodys("replaced", words)


def of_time(case: Case) -> Iterator[Refusal]:
    """Tell whether the home is still as it was when it was read."""
    survey = case.plan.survey
    if survey.state == Survey.State.OPEN:
        yield nobodys("not_handed_in", _("The survey is not handed in yet."))
    later = Survey.objects.filter(
        siting=case.siting, state=Survey.State.SUBMITTED, started_at__gt=survey.started_at
    ).exclude(pk=survey.pk)
    if Reading.objects.standing().filter(survey__in=later, point__in=case.touched).exists():
        yield nobodys("newer_survey", _("These supports were read again in a later survey: plan from that one."))
    done = PassEntry.objects.filter(plan__survey__siting=case.siting, is_done=True, noted_at__gt=survey.started_at)
    if done.exists():
        yield nobodys("worked_on", _("Supports were worked on since this survey: read the home again."))


def of_assessment(case: Case) -> Iterator[Refusal]:
    """Tell what the assessment says against lifting."""
    assessment = standing_assessment(case.siting)
    if assessment is None:
        yield nobodys("no_assessment", _("Nobody has assessed whether this home is to be lifted."))
        return
    for block in open_blocks(assessment):
        if block.is_absolute:
            words = _("The assessment: {block}. Nobody goes past this.").format(block=block.words)
        else:
            words = _("The assessment: {block}. The manager may sign past it there.").format(block=block.words)
        yield nobodys("block", words)


def why_assessment_changed(assessment: Assessment, version: int) -> str | None:
    """Say what has become of an assessment since a plan was approved on it; None where it holds."""
    if standing_assessment(assessment.siting) != assessment:
        return _("A newer assessment counts.")
    if assessment.version != version:
        return _("The assessment was changed since.")
    if blocks := open_blocks(assessment):
        return _("The assessment: {block}.").format(block=blocks[0].words)
    return None
