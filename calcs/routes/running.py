"""Searches a plan in the background: takes its row, searches, tells how far it is, stores the answer while it may.

As calculations are: by a conditional UPDATE with a lease, by the database's clock, safe when a message comes twice.
"""

import datetime
import logging
import uuid
from typing import Any

from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db import InterfaceError, OperationalError
from django.db.models import F, QuerySet
from django.db.models.functions import Now

from calcs import codec, runner
from calcs.engine.errors import EngineError
from calcs.models import Calculation, RoutePlan
from calcs.planning.answer import Progress
from calcs.planning.planner import plan_visits
from calcs.planning.problem import PlanInput
from calcs.spoken import FAULT, LATE

State = Calculation.State
logger = logging.getLogger(__name__)


class _TakenAwayError(Exception):
    """The lease ran out and somebody else has the plan: what is found now is of no use."""


def run(plan_id: uuid.UUID) -> None:
    """Search a waiting plan; does nothing when it is not waiting."""
    plan = _take(plan_id)
    if plan is None:
        return
    try:
        found = plan_visits(codec.decode(plan.input, PlanInput), lambda progress: _tell(plan, progress))
        _end(plan, State.DONE, result=codec.encode(found))
    except _TakenAwayError:
        logger.warning("route plan %s was taken by another worker", plan.pk)
    except EngineError as error:
        _fail(plan, State.FAILED, code="invalid_input", message=error.message, field=error.field)
    except SoftTimeLimitExceeded:
        _fail(plan, State.TIMED_OUT, code="timed_out", message=LATE)
    except (OperationalError, InterfaceError):
        raise  # the lease runs out, and the sweeper queues it again
    except Exception:
        _fail(plan, State.FAILED, code="fault", message=FAULT)
        raise


def find_work() -> list[uuid.UUID]:
    """Return the plans that are to be sent (again): whose worker is gone, or whose message may be lost."""
    expired = RoutePlan.objects.filter(state=State.RUNNING, lease_until__lt=Now())
    ended = {"state": State.FAILED, "lease_until": None, "finished_at": Now(), "error": runner.gave_up()}
    expired.filter(attempt__gte=settings.CALCULATION_ATTEMPTS).update(**ended)
    expired.update(state=State.QUEUED, lease_until=None, queued_at=Now() - datetime.timedelta(days=1))
    long_ago = Now() - datetime.timedelta(seconds=settings.CALCULATION_RESEND_S)
    waiting = RoutePlan.objects.filter(state=State.QUEUED, queued_at__lt=long_ago)
    keys = list(waiting.order_by("queued_at").values_list("pk", flat=True))
    return [key for key in keys if waiting.filter(pk=key).update(queued_at=Now())]


def _take(plan_id: uuid.UUID) -> RoutePlan | None:
    taken = RoutePlan.objects.filter(pk=plan_id, state=State.QUEUED).update(
        state=State.RUNNING,
        attempt=F("attempt") + 1,
        started_at=Now(),
        lease_until=Now() + datetime.timedelta(seconds=settings.CALCULATION_LEASE_S),
    )
    return RoutePlan.objects.get(pk=plan_id) if taken else None


def _tell(plan: RoutePlan, progress: Progress) -> None:
    if not _mine(plan).update(progress=codec.encode(progress)):
        raise _TakenAwayError


def _fail(plan: RoutePlan, state: Calculation.State, *, code: str, message: str, field: str = "") -> None:
    _end(plan, state, error={"code": code, "message": message, "field": field})


def _end(plan: RoutePlan, state: Calculation.State, **fields: Any) -> None:
    _mine(plan).update(state=state, lease_until=None, finished_at=Now(), **fields)


def _mine(plan: RoutePlan) -> QuerySet[RoutePlan]:
    return RoutePlan.objects.filter(pk=plan.pk, state=State.RUNNING, attempt=plan.attempt)
