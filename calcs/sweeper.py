"""Finds what was left lying: a dead worker's calculations, lost messages, surveys that nobody asked about.

All times are the database's: the clocks of the machines that queue, run and sweep need not agree.
"""

import datetime
import logging
import uuid

from django.conf import settings
from django.db.models import Exists, F, OuterRef
from django.db.models.functions import Now

from calcs import chain, runner
from calcs.models import Answer, Calculation
from surveys.models import Survey

logger = logging.getLogger(__name__)
State = Calculation.State


MOST_SENT_AGAIN = 500  # at once: what only waits behind much other work must not drown the broker in repeats


def find_work() -> list[uuid.UUID]:
    """Return the calculations that are to be sent (again); safe to call at any time, by several at once."""
    return [*_queue_expired(), *_touch_unsent(), *_ask_for_unasked()]


def _queue_expired() -> list[uuid.UUID]:
    """Queue what a worker no longer holds, while attempts remain; end the rest with a plain word."""
    expired = Calculation.objects.expired()
    tried = {"state": State.FAILED, "lease_until": None, "finished_at": Now(), "error": runner.gave_up()}
    expired.filter(attempt__gte=settings.CALCULATION_ATTEMPTS).update(**tried)
    keys = list(expired.values_list("pk", flat=True))
    again = {"state": State.QUEUED, "lease_until": None, "queued_at": Now()}
    return [key for key in keys if expired.filter(pk=key).update(**again)]


def _touch_unsent() -> list[uuid.UUID]:
    """Return what has waited so long that its message may be lost. Sent twice does no harm: only one can take it."""
    long_ago = Now() - datetime.timedelta(seconds=settings.CALCULATION_RESEND_S)
    waiting = Calculation.objects.filter(state=State.QUEUED, queued_at__lt=long_ago)
    keys = list(waiting.order_by("queued_at").values_list("pk", flat=True)[:MOST_SENT_AGAIN])
    return [key for key in keys if waiting.filter(pk=key).update(queued_at=Now())]


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
