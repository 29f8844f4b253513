"""What a person or a submitted survey asks of the calculations."""

import uuid
from collections.abc import Sequence
from typing import Any

from django.db import transaction

from calcs import chain, tasks
from calcs.models import Calculation, Trial
from calcs.trials import Changes
from jobs.models import User
from surveys.models import Survey


def request_calculations(survey: Survey, *, by: User | None = None) -> Calculation:
    """Ask for everything that follows from a survey's readings; return the root of it, the heights.

    Asking again for the same readings and record gives what is there already; what had failed is tried once more.
    """
    asked = chain.ask(survey.pk, by=by)
    _send_on_commit(asked.new)
    return asked.root


def request_sure_plan(survey: Survey, *, by: User | None = None) -> Calculation:
    """Ask for a plan that ends within every tolerance with the chance that the rules want; return its lift."""
    asked = chain.ask_sure(survey.pk, by=by)
    _send_on_commit(asked.new)
    return asked.root


def request_trial(survey: Survey, changes: Changes, *, by: User) -> Trial:
    """Ask what a lift with other limits than the record's would take; it becomes no plan."""
    trial, new = chain.ask_trial(survey.pk, changes, by=by)
    _send_on_commit(new)
    return trial


def run_again(calculation: Calculation, *, by: User | None = None) -> Calculation:
    """Run a failed calculation again as a new row, or return the one that already does."""
    again, new = chain.repeat(calculation, by=by)
    _send_on_commit(new)
    return again


def when_submitted(sender: type[Survey], survey_id: uuid.UUID, **kwargs: Any) -> None:
    """Answer ``surveys.signals.survey_submitted``."""
    _send_on_commit(chain.ask(survey_id).new)


def _send_on_commit(calculation_ids: Sequence[uuid.UUID]) -> None:
    def send() -> None:
        tasks.send(calculation_ids)

    if calculation_ids:
        transaction.on_commit(send, robust=True)
