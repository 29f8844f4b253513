"""Plans of visits are tried on a Friday morning in Chicago, in a company of two crews."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
import time_machine

from calcs.models import Due, RoutePlan
from calcs.routes.services import request_plan
from tests.calcs.routes.town import NOW, Town, make_town

Planned = Callable[..., RoutePlan]


@pytest.fixture
def friday() -> Iterator[None]:
    """Let it be Friday morning."""
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def town(db: None, friday: None) -> Town:
    return make_town()


@pytest.fixture
def planned(town: Town, django_capture_on_commit_callbacks: Any) -> Planned:
    """Return a function that asks for a plan and lets the worker search it."""

    def ask(*dues: Due, **fields: Any) -> RoutePlan:
        with django_capture_on_commit_callbacks(execute=True):
            plan = request_plan(town.asked(*dues, **fields), by=town.office)
        plan.refresh_from_db()
        assert plan.state == "done", plan.error
        return plan

    return ask
