"""Every night each home's due day anew, and one home's at once after a survey or a lift.

A night is one row. Whoever works at it claims the next homes by moving its mark on, and computes and stores them in
one transaction; what a killed worker had claimed is found at the end, as those homes have no row of this night. So
several may work at one night, and one may go on where another was cut. The lease only tells whether anybody works at
it; it and all times go by the database's clock.
"""

import datetime
import logging
import time
from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db import InterfaceError, OperationalError, transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import Now
from django.utils import timezone

from calcs import priors, series
from calcs.dues import due_of
from calcs.models import Answer, Calculation, Due, NightlyRun
from calcs.priors import Priors
from jobs import rulebook
from jobs.clock import company_zone
from jobs.models import Company, Siting

logger = logging.getLogger(__name__)
State = NightlyRun.State

BATCH = 25  # homes that are computed, and seen as done, together
LEASE = datetime.timedelta(minutes=5)  # far longer than a batch takes, or than one is waited for
_KEPT = ("id", "siting")  # of a row that is written anew
Told = Callable[[NightlyRun], object]


def today() -> datetime.date:
    """Return the day that it is where the company works."""
    return timezone.now().astimezone(company_zone()).date()


def refresh(siting_id: UUID, as_of: datetime.date) -> Due | None:
    """Write when a home is due as of a day; return that, or None where the home does not stand there any more."""
    with transaction.atomic():
        series.hold([siting_id])
        _write([siting_id], as_of, priors.current())
    return Due.objects.filter(siting=siting_id).first()


def refresh_when_kept(siting_id: UUID) -> None:
    """Write when a home is due once this is kept; a failure costs nothing but the time until the next night."""
    transaction.on_commit(lambda: refresh(siting_id, today()), robust=True)


def tonight() -> datetime.date | None:
    """Return the day that is to be worked at now; None before the hour of the night, when done or in good hands."""
    now = timezone.now().astimezone(company_zone())
    if now.hour < settings.NIGHTLY_HOUR:
        return None
    taken = Q(state=State.DONE) | Q(lease_until__gt=Now())
    return None if NightlyRun.objects.filter(taken, day=now.date()).exists() else now.date()


def start(day: datetime.date) -> None:
    """Begin a night, or take a left one up: nobody else is sent to it while those who are about to work have time."""
    NightlyRun.objects.filter(pk=_begin(day).pk, state=State.RUNNING).update(lease_until=Now() + LEASE)


def work(day: datetime.date, *, for_s: float | None = None, told: Told | None = None) -> bool:
    """Work at a night, beside whoever else does; return whether all of it is done.

    Parameters
    ----------
    day : datetime.date
        The day, where the company works.
    for_s : float, optional
        Stop after the batch in which this many seconds are over; as long as it takes where None.
    told : callable, optional
        Called with the night after each batch.
    """
    run, until = _begin(day), None if for_s is None else time.monotonic() + for_s
    learned = Priors(rate_sds=run.priors)
    while keys := _claim(run):
        _do(run, keys, learned)
        if told:
            told(NightlyRun.objects.get(pk=run.pk))
        if until is not None and time.monotonic() >= until:
            break
    return NightlyRun.objects.filter(pk=run.pk, state=State.DONE).exists()


def standing_sitings(day: datetime.date) -> QuerySet[Siting]:
    """Return the sitings of homes that stand there on a day and are not archived."""
    ended = Q(to_on__isnull=False, to_on__lte=day)
    return Siting.objects.filter(~ended, from_on__lte=day, home__archived_at__isnull=True)


# -- one night ------------------------------------------------------------------------------------------------------


def _begin(day: datetime.date) -> NightlyRun:
    """Return the night of a day, begun if nobody has; what an earlier one left undone is left to this one."""
    run = NightlyRun.objects.filter(day=day).first()
    if run is not None:
        return run
    begun = {"total": standing_sitings(day).count(), "priors": priors.learn(), "started_at": Now()}
    NightlyRun.objects.get_or_create(day=day, defaults=begun)
    unfinished = NightlyRun.objects.filter(day__lt=day, state=State.RUNNING)
    unfinished.update(state=State.DONE, lease_until=None, finished_at=Now())
    return NightlyRun.objects.get(day=day)


def _claim(run: NightlyRun) -> list[UUID]:
    """Return the next homes to compute and move the mark past them; at the end those that were left, then none."""
    with transaction.atomic():
        kept = NightlyRun.objects.select_for_update().get(pk=run.pk)
        if kept.state == State.DONE:
            return []
        sitings = standing_sitings(run.day).order_by("pk")
        ahead = sitings if kept.after is None else sitings.filter(pk__gt=kept.after)
        keys = list(ahead.values_list("pk", flat=True)[:BATCH])
        after = {"after": keys[-1]} if keys else {}
        failed = [failure["siting"] for failure in kept.failures]
        keys = keys or list(_left(sitings, run).exclude(pk__in=failed).values_list("pk", flat=True)[:BATCH])
        mine = NightlyRun.objects.filter(pk=run.pk)
        if keys:
            mine.update(lease_until=Now() + LEASE, **after)
        else:
            Due.objects.exclude(siting__in=standing_sitings(run.day)).delete()
            done = _done(run).count()
            mine.update(state=State.DONE, lease_until=None, finished_at=Now(), done=done, total=done + len(failed))
        return keys


def _done(run: NightlyRun) -> QuerySet[Due]:
    """Return what was written since a night began: by it, or at once after a survey, from the same priors."""
    return Due.objects.filter(as_of__gte=run.day, computed_at__gte=run.started_at)


def _left(sitings: QuerySet[Siting], run: NightlyRun) -> QuerySet[Siting]:
    return sitings.filter(~Exists(_done(run).filter(siting=OuterRef("pk"))))


def _do(run: NightlyRun, keys: list[UUID], learned: Priors) -> None:
    """Compute and store homes together; where one of them trips, each by itself, and that one is noted."""
    try:
        with transaction.atomic():
            series.hold(keys)
            left = list(_left(Siting.objects.filter(pk__in=keys), run).values_list("pk", flat=True))
            _write(left, run.day, learned)
            NightlyRun.objects.filter(pk=run.pk).update(done=F("done") + len(left))
    except (OperationalError, InterfaceError):  # trouble of the database is no fault of a home
        raise
    except Exception as error:
        if len(keys) > 1:
            for key in keys:
                _do(run, [key], learned)
            return
        logger.exception("could not compute when siting %s is due", keys[0])
        _note_failure(run, keys[0], error)


def _note_failure(run: NightlyRun, key: UUID, error: Exception) -> None:
    with transaction.atomic():
        kept = NightlyRun.objects.select_for_update().get(pk=run.pk)
        message = str(getattr(error, "message", "")) or type(error).__name__
        kept.failures.append({"siting": str(key), "message": message[:200]})
        kept.failed = len(kept.failures)
        kept.save(update_fields=["failures", "failed"])


# -- homes ----------------------------------------------------------------------------------------------------------


def _write(keys: list[UUID], as_of: datetime.date, learned: Priors) -> None:
    """Compute and store when some homes are due, in as many queries as for one; whoever calls holds them."""
    sitings = list(standing_sitings(as_of).filter(pk__in=keys).select_related("home__rule_set"))
    gone = set(keys) - {siting.pk for siting in sitings}
    if gone:
        Due.objects.filter(siting__in=gone).delete()
    if not sitings:
        return
    company = Company.objects.select_related("rule_set").first()
    usual = company.rule_set if company else None
    rules = {
        rule_set: rule_set.resolved() if rule_set else rulebook.resolve({})
        for rule_set in {siting.home.rule_set or usual for siting in sitings}
    }
    found = series.of_many(sitings)
    dues = [due_of(found[siting.pk], as_of, rules[siting.home.rule_set or usual], learned) for siting in sitings]
    _name_calculations(dues)
    names = [field.name for field in Due._meta.concrete_fields if field.name not in _KEPT]
    Due.objects.bulk_create(dues, update_conflicts=True, unique_fields=["siting"], update_fields=names)


def _name_calculations(dues: list[Due]) -> None:
    """Name the stored forecast that rests on the same surveys, where there is one."""
    surveys = [due.survey_id for due in dues if due.survey_id]
    answers: Any = Answer.objects.newest().filter(
        kind="forecast", survey__in=surveys, calculation__state=Calculation.State.DONE
    )
    stored = dict(answers.values_list("survey", "calculation"))
    for due in dues:
        due.calculation_id = stored.get(due.survey_id)
