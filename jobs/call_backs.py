"""Call-backs: no cause is named before the same marks were read again.

What was left level and is complained of may have moved, or may only be felt otherwise; which of the two it is, and
where, is seen by the same points read once more. A cause that is named before that is a guess.
"""

import datetime
from collections.abc import Callable

from django.utils.formats import date_format
from django.utils.translation import gettext

from jobs.models import Assessment, Job, Siting
from jobs.spoken import AND_MORE

MARKS_NAMED = 8
GOING_ON = (Job.State.ENQUIRY, Job.State.OPEN)

MarksToReadAgain = Callable[[Siting, datetime.date], list[str]]
_TOLD_BY: list[MarksToReadAgain] = []


def marks_are_told_by(tell: MarksToReadAgain) -> None:
    """Let a later app say which marks of the survey before a day nobody has read again from that day on."""
    _TOLD_BY.append(tell)


def call_back_at(siting: Siting, on: datetime.date) -> Job | None:
    """Return the newest call-back at a home that is not over and was asked for by a day."""
    jobs = Job.objects.filter(home=siting.home_id, call_back_of__isnull=False, state__in=GOING_ON, asked_on__lte=on)
    return jobs.select_related("call_back_of").order_by("-asked_on", "-number").first()


def call_back_of(assessment: Assessment) -> Job | None:
    """Return the call-back that an assessment belongs to: by its visit, else by what goes on at the home."""
    job = assessment.visit.job if assessment.visit else None
    if job is not None and job.call_back_of_id is not None:
        return job
    return call_back_at(assessment.siting, assessment.assessed_on)


def marks_left(siting: Siting, job: Job) -> list[str]:
    """Return the marks that are still to be read again for a call-back before its cause is named."""
    return [label for tell in _TOLD_BY for label in tell(siting, job.asked_on)]


def to_read_first(siting: Siting, job: Job) -> str:
    """Say which marks are to be read again before a cause is named; nothing once all were."""
    left = marks_left(siting, job)
    if not left:
        return ""
    marks, more = ", ".join(left[:MARKS_NAMED]), len(left) - MARKS_NAMED
    named = gettext(AND_MORE).format(names=marks, count=more) if more > 0 else marks
    sentence = gettext("Call-back of {day}: read the same marks again before a cause is named. Left: {marks}.")
    return sentence.format(day=date_format(job.asked_on, "j M Y"), marks=named)


def problem_with_cause(assessment: Assessment) -> str:
    """Say why an assessment can't name a cause yet; nothing where it can, or names none."""
    if assessment.cause == Assessment.Cause.UNKNOWN:
        return ""
    job = call_back_of(assessment)
    return to_read_first(assessment.siting, job) if job else ""
