"""What the worker does. A message holds a calculation's key and nothing else: all data is in its row."""

import datetime
import logging
import uuid
from collections.abc import Sequence

from celery import shared_task
from django.conf import settings
from kombu.exceptions import OperationalError

from calcs import nightly, runner, sweeper
from calcs.routes import running

logger = logging.getLogger(__name__)


# Both limits lie within the lease, so that a lease which has run out means that nobody works on it any more.
@shared_task(
    soft_time_limit=int(0.75 * settings.CALCULATION_LEASE_S),
    time_limit=int(0.9 * settings.CALCULATION_LEASE_S),
)
def run_calculation(calculation_id: str) -> None:
    """Run one calculation and send those that follow from it."""
    send(runner.run(uuid.UUID(calculation_id)))


# Within the lease as well.
@shared_task(
    soft_time_limit=int(0.75 * settings.CALCULATION_LEASE_S),
    time_limit=int(0.9 * settings.CALCULATION_LEASE_S),
)
def run_route_plan(plan_id: str) -> None:
    """Search who goes where on which day."""
    running.run(uuid.UUID(plan_id))


@shared_task
def sweep_calculations() -> None:
    """Send again what was lost on the way."""
    send(sweeper.find_work())
    send_route_plans(running.find_work())


@shared_task
def start_night() -> None:
    """Begin the night's walk through all homes, or take it up where it was left."""
    if day := nightly.tonight():
        nightly.start(day)
        for _ in range(settings.NIGHTLY_TASKS):
            _send_night(day)


@shared_task
def work_at_night(day: str) -> None:
    """Compute some of a night's homes, then stand in line again: whoever waits for an answer goes before the rest."""
    wanted = datetime.date.fromisoformat(day)
    if not nightly.work(wanted, for_s=settings.NIGHTLY_SLICE_S):
        _send_night(wanted)


def _send_night(day: datetime.date) -> None:
    """Hand a night to the worker. A broker that is down only delays it: it is started again."""
    try:
        work_at_night.apply_async((day.isoformat(),), retry=False)
    except OperationalError as error:
        logger.warning("no broker: the night of %s waits until it is started again (%s)", day, error)


def send(calculation_ids: Sequence[uuid.UUID]) -> None:
    """Hand calculations to the worker. A broker that is down only delays them: the sweeper sends them later."""
    for calculation_id in calculation_ids:
        try:
            run_calculation.apply_async((str(calculation_id),), retry=False)
        except OperationalError as error:
            logger.warning("no broker: %d calculations wait for the sweeper (%s)", len(calculation_ids), error)
            return


def send_route_plans(plan_ids: Sequence[uuid.UUID]) -> None:
    """Hand plans of visits to the worker, as calculations are."""
    for plan_id in plan_ids:
        try:
            run_route_plan.apply_async((str(plan_id),), retry=False)
        except OperationalError as error:
            logger.warning("no broker: %d route plans wait for the sweeper (%s)", len(plan_ids), error)
            return
