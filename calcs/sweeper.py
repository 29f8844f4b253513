"""Finds what was left lying: a dead worker's calculations, lost messages, surveys that nobody asked about."""

import datetime
import logging
import uuid

from django.conf import settings
from django.db.models import Exists, F, OuterRef
from django.utils import timezone

from calcs import chain
from calcs.models import Answer, Calculation
from surveys.models import Survey

logger = logging.getLogger(__name__)
State = Calculation.State


def find_work(at: datetime.datetime | None = None) -> list[uuid.UUID]:
    """Return the calculations that are to be sent (again); safe to call at any time, by several at once."""
    now = at or timezone.now()
    return [*_queue_expired(now), *_touch_unsent(now), *_ask_for_unasked()]


def _queue_expired(now: datetime.datetime) -> list[uuid.UUID]:
    """Queue what a worker no longer holds, while attempts remain; end the rest with a plain word."""
    expired = Calculation.objects.expired(now)
    expired.filter(attempt__gte=settings.CALCULATION_ATTEMPTS).update(
        state=State.TIMED_OUT,
        lease_until=None,
        finished_at=now,
        error={
            "code": "gave_up",
            "message": f"The worker was lost {settings.CALCULATION_ATTEMPTS} times before it had an answer.",
            "field": "",
        },
    )
    keys = expired.values_list("pk", flat=True)
    again = {"state": State.QUEUED, "lease_until": None, "queued_at": now}
    return [key for key in keys if Calculation.objects.expired(now).filter(pk=key).update(**again)]


def _touch_unsent(now: datetime.datetime) -> list[uuid.UUID]:
    """Return what has waited so long that its message may be lost. Sent twice does no harm: only one can take it."""
    long_ago = now - datetime.timedelta(seconds=settings.CALCULATION_RESEND_S)
    waiting = Calculation.objects.filter(state=State.QUEUED, queued_at__lt=long_ago)
    keys = waiting.values_list("pk", flat=True)
    return [key for key in keys if waiting.filter(pk=key).update(queued_at=now)]


def _ask_for_unasked() -> list[uuid.UUID]:
    """Ask for the answers of submitted surveys whose newest revision has none: their signal was lost."""
    asked = Answer.objects.filter(survey=OuterRef("pk"), kind="levels", revision=F("survey__revision"))
    unasked = Survey.objects.filter(~Exists(asked), state=Survey.State.SUBMITTED).values_list("pk", flat=True)
    new: list[uuid.UUID] = []
    for key in unasked:
        try:
            new += chain.ask(key).new
        except Exception:  # one survey that trips must not keep the others waiting
            logger.exception("could not ask for the answers of survey %s", key)
    return new
