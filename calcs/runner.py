"""Runs one stored calculation: takes it, computes, and stores the answer only while the attempt is still its own.

All times are the database's: the clocks of the workers' machines need not agree.
"""

import datetime
import logging
import uuid
from typing import Any

from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db import InterfaceError, OperationalError, transaction
from django.db.models import F, QuerySet
from django.db.models.functions import Now

from calcs import chain, codec
from calcs.engine.errors import EngineError
from calcs.engine.kinds import KINDS
from calcs.models import Calculation
from calcs.spoken import FAULT, GAVE_UP, LATE
from surveys.models import Survey

State = Calculation.State
logger = logging.getLogger(__name__)


def run(calculation_id: uuid.UUID) -> list[uuid.UUID]:
    """Compute a waiting calculation; return the new ones that follow from it and wait to be sent.

    Does nothing when the calculation is not waiting: it was delivered twice, or somebody else has it.
    A wrong input fails with the engine's words; anything unforeseen fails too, and is raised again for the log.
    Trouble of the database is no fault of the question: that one is put back.
    """
    calculation = _take(calculation_id)
    if calculation is None:
        return []
    try:
        return _finish(calculation, _solve(calculation))
    except EngineError as error:
        code = "invalid_input" if error.field or type(error).__name__ == "InvalidInput" else "no_answer"
        _fail(calculation, State.FAILED, code=code, message=error.message, field=error.field)
    except SoftTimeLimitExceeded:
        _fail(calculation, State.TIMED_OUT, code="timed_out", message=LATE)
    except (OperationalError, InterfaceError):
        _put_back(calculation)
        raise
    except Exception:
        _fail(
            calculation,
            State.FAILED,
            code="fault",
            message=FAULT,
        )
        raise
    return []


def _take(calculation_id: uuid.UUID) -> Calculation | None:
    """Take a waiting calculation by a conditional UPDATE: one row changed means it is mine."""
    taken = Calculation.objects.filter(pk=calculation_id, state=State.QUEUED).update(
        state=State.RUNNING,
        attempt=F("attempt") + 1,
        started_at=Now(),
        lease_until=Now() + datetime.timedelta(seconds=settings.CALCULATION_LEASE_S),
    )
    return Calculation.objects.get(pk=calculation_id) if taken else None


def _solve(calculation: Calculation) -> dict[str, Any]:
    kind = KINDS[calculation.kind]
    return codec.encode(kind.solve(codec.decode(calculation.input, kind.input_type)))


def _finish(calculation: Calculation, result: dict[str, Any]) -> list[uuid.UUID]:
    """Store the result together with what follows from it, or nothing when the attempt is no longer mine."""
    with transaction.atomic():
        # The survey's row first, as everywhere: two that lock in the same order never wait for each other.
        Survey.objects.select_for_update(no_key=True).get(pk=calculation.survey_id)
        if not _set(calculation, State.DONE, result=result):
            return []
        calculation.state, calculation.result = State.DONE, result
        return chain.follow(calculation)


def _fail(calculation: Calculation, state: Calculation.State, *, code: str, message: str, field: str = "") -> None:
    _set(calculation, state, error={"code": code, "message": message, "field": field})


def _put_back(calculation: Calculation) -> None:
    """Have the sweeper send it once more, or give up as it would; where even that fails, the lease runs out."""
    try:
        if calculation.attempt >= settings.CALCULATION_ATTEMPTS:
            _set(calculation, State.FAILED, error=gave_up())
        else:
            _mine(calculation).update(state=State.QUEUED, lease_until=None, queued_at=Now())
    except (OperationalError, InterfaceError):
        logger.warning("the database is away: calculation %s waits for its lease to run out", calculation.pk)


def gave_up() -> dict[str, str]:
    """Return the error of a calculation that was tried as often as is allowed."""
    times = settings.CALCULATION_ATTEMPTS
    return {"code": "gave_up", "message": GAVE_UP.format(times=times), "field": ""}


def _set(calculation: Calculation, state: Calculation.State, **fields: Any) -> bool:
    ended = {"state": state, "lease_until": None, "finished_at": Now(), **fields}
    return bool(_mine(calculation).update(**ended))


def _mine(calculation: Calculation) -> QuerySet[Calculation]:
    return Calculation.objects.filter(pk=calculation.pk, state=State.RUNNING, attempt=calculation.attempt)
