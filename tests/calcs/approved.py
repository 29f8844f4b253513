"""Approved plans for tests that begin there: approved as rows, with none of the checks that approving makes."""

import datetime
from typing import Any

from django.utils import timezone

from calcs import chain
from calcs.models import Approval, Plan
from jobs.models import Assessment, User
from tests.calcs.working import read_survey, work_off
from tests.factories import UserFactory

LONG_AGO = datetime.timedelta(hours=8)


def approved(plan: Plan, *, by: User | None = None, **fields: Any) -> Approval:
    """Return an approval of a plan, made some hours ago, with an assessment that says to lift."""
    by = by or UserFactory(roles=["crew_lead"])
    siting = plan.survey.siting
    assessment = Assessment.objects.create(
        siting=siting, author=by, cause="unknown", water="none", soil="dry", verdict="lift"
    )
    usual = {
        "number": Approval.objects.filter(siting=siting).count() + 1,
        "approved_at": timezone.now() - LONG_AGO,
        "is_by_manager": False,
    }
    return Approval.objects.create(
        siting=siting, plan=plan, assessment=assessment, assessment_version=1, approved_by=by, **usual | fields
    )


def approved_home(option: str = "least_work", **fields: Any) -> Approval:
    """Return an approval of a computed plan of the small home."""
    survey = read_survey(**fields)
    work_off(chain.ask(survey.pk).new)
    return approved(Plan.objects.current().get(survey=survey, option=option))


def withdrawn(approval: Approval) -> Approval:
    """Return an approval as withdrawn by whoever gave it."""
    approval.withdrawn_at, approval.withdrawn_by = timezone.now(), approval.approved_by
    approval.withdrawn_why = "read again"
    approval.save()
    return approval
