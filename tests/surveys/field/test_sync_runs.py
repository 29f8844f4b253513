"""Nothing entered is ever lost or doubled: random runs in real browsers, compared exactly with the database."""

import datetime
import os
import random
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.conf import LazySettings

from jobs.models import User
from tests.factories import UserFactory
from tests.surveys.field.bad_service import BadService
from tests.surveys.field.conftest import OpenPhone
from tests.surveys.field.random_runs import Crew, Run, told
from tests.surveys.field.world import FieldWorld


@pytest.fixture
def service(monkeypatch: pytest.MonkeyPatch, settings: LazySettings) -> BadService:
    settings.REQUESTS_A_MINUTE = dict.fromkeys(settings.REQUESTS_A_MINUTE, 1_000_000)
    return BadService(monkeypatch)


def say(text: str) -> None:
    """Print it at once: a run that hangs is one of many."""
    print(text, flush=True)  # noqa: T201 - how far it is


def crew_of(open_phone: OpenPhone, user: User, **looks: Any) -> Crew:
    """Open somebody's phone, and wait until it holds the day."""
    phone = open_phone(user, **looks)
    phone.page.get_by_role("link", name="Tamsin home").wait_for()
    phone.keep()
    return Crew(phone=phone, user=user, device=phone.module("outbox", "(outbox) => outbox.device()"))


def test_random_runs_lose_double_and_change_nothing(
    open_phone: OpenPhone,
    field_world: Callable[..., FieldWorld],
    service: BadService,
    pytestconfig: pytest.Config,
) -> None:
    world = field_world()
    other = UserFactory(username="second", first_name="Sal", roles=["crew_lead", "crew"])
    world.visit.crew.add(other)
    behind = datetime.timedelta(hours=-2, minutes=-7)
    crews = [crew_of(open_phone, world.lead), crew_of(open_phone, other, clock_ahead=behind)]
    service.wires = {crew.device: crew.phone.wire for crew in crews}
    count = pytestconfig.getoption("--field-runs")
    first = pytestconfig.getoption("--field-seed")
    if first is None:
        first = 1 if os.environ.get("CI") else random.SystemRandom().randrange(10**6)
    say(f"{count} runs from --field-seed {first}")
    entries = 0
    for seed in range(first, first + count):
        run = Run(seed, crews, service, world)
        try:
            run.carry_out()
            entries += run.compare()
            run.tidy_up()
        except Exception as error:
            raise AssertionError(told(run, error)) from error
        say(f"seed {seed} held; {entries} entries so far")
    say(f"what befell them: {dict(Counter(service.met))}")
    for crew in crews:
        crew.phone.errors.clear()  # requests that were made to fail
