"""What is found under homes: findings kept, what they make of a support, and figures that a lead records.

A support's condition follows what is found at its point:

- A finding that is worse than the condition makes it worse at once, whoever made it.
- A better one makes it better only when it says in words what was done and was made by somebody who may change
  supports. Else the support stays as it was, and pages show both.
- A finding that comes in late counts at the time it was noted, and what was found since counts after it.
- Archiving a finding changes no condition. What became of each is in the record of changes.
"""

import datetime
import uuid

from django.db import transaction
from django.utils.translation import gettext as _

from jobs.errors import DomainError, Stale
from jobs.field_work import note
from jobs.inspection import problem_with
from jobs.inspection_figures import Measured, check_figures, measured_row, names_for, read_figures, write_figures
from jobs.models import Condition, Finding, Support, User
from jobs.models.base import Act
from jobs.rights import may, need, need_on

_SEVERITY = {grade: number for number, grade in enumerate(Condition.values)}


def is_worse(grade: str, than: str) -> bool:
    """Tell whether one grade is worse than another."""
    return _SEVERITY[grade] > _SEVERITY[than]


@transaction.atomic
def note_finding(finding: Finding, *, recorded_over: int | None = None) -> bool:
    """Keep what somebody found, and have a support's condition follow; tell whether it is new.

    Its figures go into the record at once where ``recorded_over`` names the version of the support or connection that
    its author saw; else they wait for somebody to record them.

    Raises
    ------
    DomainError
        At ``item`` or ``figures``; 409 when its key is stored with other content; 403 and 412 as ``record_figures``.
    """
    if problem := problem_with(finding.item):
        raise DomainError("invalid", _("Some fields need another look."), fields={"item": problem})
    finding.figures = read_figures(finding)
    row = measured_row(finding) if finding.figures else None  # locked first: of two alike one finds the other stored
    if finding.figures and not Finding.objects.filter(pk=finding.pk).exists():
        if recorded_over is None:
            check_figures(row, finding.figures)
        else:
            _record(row, finding, by=finding.author, version=recorded_over)
    is_new = note(finding)
    if is_new and finding.point_id:
        _grade_support(finding)
    return is_new


def _grade_support(finding: Finding) -> None:
    support = measured_row(finding)
    if not isinstance(support, Support):
        return
    condition = _condition_after(support, finding)
    if condition != support.condition:
        support.condition = condition
        support.save(update_fields=["condition"])


def _condition_after(support: Support, finding: Finding) -> str:
    """Go through what was found since the finding was noted: it may have come in late."""
    stood, after = support.condition, finding.grade
    if not is_worse(finding.grade, stood) and not takes_back(finding, stood):
        return stood
    at_the_point = Finding.objects.standing().filter(point=finding.point_id).exclude(pk=finding.pk)
    newer = [other for other in at_the_point.select_related("author") if _when(other) > _when(finding)]
    for other in sorted(newer, key=_when):
        if is_worse(other.grade, after) or takes_back(other, after):
            after = other.grade
    return stood if is_worse(finding.grade, stood) and is_worse(stood, after) else after


def _when(finding: Finding) -> tuple[datetime.datetime, int, uuid.UUID]:
    return finding.noted_at, finding.sequence, finding.pk


def takes_back(finding: Finding, condition: str) -> bool:
    """Tell whether a finding may make a support better than a condition says it is."""
    is_better = is_worse(condition, finding.grade)
    return is_better and bool(finding.text.strip()) and may(finding.author, Act.CHANGE, Support)


def may_record(*, finding: Finding, by: User) -> None:
    """Refuse (403) whoever may not change what a finding is of."""
    known = names_for(finding)
    need(by, Act.CHANGE, known[0] if known else Support)


@transaction.atomic
def record_figures(*, finding: Finding, by: User, version: int) -> None:
    """Put a finding's figures into the record of its support or connection, as it was read in ``version``.

    Raises
    ------
    DomainError
        403 when ``by`` may not, 409 when there is nothing to record, 412 when somebody changed it meanwhile, 400 when
        the record does not take them.
    """
    may_record(finding=finding, by=by)
    _record(measured_row(finding) if finding.figures else None, finding, by=by, version=version)


def _record(row: Measured | None, finding: Finding, *, by: User, version: int) -> None:
    if row is None:
        raise DomainError("nothing_to_record", _("There is nothing to record here any more."), status=409)
    need_on(by, Act.CHANGE, row, finding.figures)
    if row.version != version:
        raise Stale
    write_figures(row, finding.figures)
