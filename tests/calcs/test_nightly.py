"""The night's walk through all homes: cut and taken up, by several at once, past a home that trips; as a refresh."""

import datetime
import io
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import UUID

import numpy as np
import pytest
import time_machine
from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from calcs import dues, nightly, tasks
from calcs.models import Answer, Calculation, Due, NightlyRun
from jobs.models import Company, Siting
from tests.calcs.years import BEGAN, stored_again
from tests.factories import CompanyFactory, SitingFactory, lay_out_home

CHECKOUT = Path(__file__).resolve().parent.parent.parent
LABELS = [f"{beam}{number}" for beam in "ABCD" for number in (1, 2, 3)]
DAY = (BEGAN + datetime.timedelta(days=1200)).date()
LATER = datetime.timedelta(minutes=10)

pytestmark = pytest.mark.django_db


def homes(count: int, surveys: int = 3) -> list[Siting]:
    """Homes that move each in its own way and read as noisily; now and then one was lifted, or read once."""
    if not Company.objects.exists():
        CompanyFactory()
    found = []
    for number in range(count):
        chance = np.random.default_rng(number)
        siting = lay_out_home(SitingFactory())
        rates = {label: chance.normal(0, 0.1) for label in LABELS}
        for turn in range(chance.choice([1, surveys, surveys])):
            days = 400.0 * turn + int(chance.integers(60))
            heights = {label: rate * days / 365.25 + chance.normal(0, 0.05) for label, rate in rates.items()}
            stage = str(chance.choice(["check", "check", "as_left"]))
            stored_again(siting, days, heights | {"BM1": 3.0, "BM2": 4.0, "BM3": 5.0}, stage=stage)
        found.append(siting)
    return sorted(found, key=lambda siting: siting.pk)


@pytest.fixture
def one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(nightly, "BATCH", 1)


def rows() -> dict[UUID, dict[str, Any]]:
    """What is stored of each home, whenever it was written."""
    kept = {row["siting_id"]: row for row in Due.objects.values()}
    for row in kept.values():
        del row["id"], row["computed_at"]
    return kept


def night() -> NightlyRun:
    return NightlyRun.objects.get(day=DAY)


def run_out() -> None:
    NightlyRun.objects.update(lease_until=timezone.now() - LATER)


class Counting:
    """Counts how often each home is computed; ``cut`` is raised, once, at the n-th."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, cut: type[BaseException] | None = None, at: int = 0) -> None:
        self.seen: list[UUID] = []
        self.cut, self.at = cut, at
        self.real: Callable[..., Due] = dues.due_of
        monkeypatch.setattr(nightly, "due_of", self)

    def __call__(self, found: Any, *args: Any) -> Due:
        if self.cut is not None and len(self.seen) == self.at:
            cut, self.cut = self.cut, None
            raise cut
        self.seen.append(found.siting.pk)
        return self.real(found, *args)


def test_a_night_writes_every_home() -> None:
    sitings = homes(5)
    told: list[tuple[int, int]] = []
    assert nightly.work(DAY, told=lambda run: told.append((run.done, run.total)))
    assert set(rows()) == {siting.pk for siting in sitings}
    assert (night().state, night().done, night().failed, night().total) == ("done", 5, 0, 5)
    assert night().finished_at is not None
    assert night().lease_until is None
    assert told == [(5, 5)]


def test_a_second_night_of_a_day_does_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    homes(2)
    nightly.work(DAY)
    counting = Counting(monkeypatch)
    assert nightly.work(DAY)
    assert counting.seen == []


def test_what_a_refresh_writes_is_what_the_night_writes() -> None:
    sitings = homes(8)
    nightly.work(DAY)
    by_night = rows()
    assert {row["basis"] for row in by_night.values()} > {"measured"}
    Due.objects.all().delete()
    for siting in sitings:
        nightly.refresh(siting.pk, DAY)
    assert rows() == by_night


def test_priors_are_those_with_which_the_night_began_until_the_next() -> None:
    sitings = homes(8)
    nightly.work(DAY)
    first = rows()
    assert night().priors == {}  # nothing had been measured
    tomorrow = DAY + datetime.timedelta(days=1)
    nightly.work(tomorrow)
    assert NightlyRun.objects.get(day=tomorrow).priors.keys() == {"unknown/precast", "unknown", "all"}
    second = rows()
    assert {row["basis"] for row in second.values()} == {"measured", "prior"}
    assert any(first[key]["due_on"] != second[key]["due_on"] for key in first)
    for siting in sitings:
        nightly.refresh(siting.pk, tomorrow)
    assert rows() == second


@pytest.mark.usefixtures("one_by_one")
def test_a_night_cut_between_two_homes_goes_on_where_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    sitings = homes(4)
    counting = Counting(monkeypatch)
    assert not nightly.work(DAY, for_s=0)
    assert (night().done, night().after) == (1, sitings[0].pk)
    assert nightly.work(DAY)
    assert counting.seen == [siting.pk for siting in sitings]


@pytest.mark.usefixtures("one_by_one")
def test_a_home_that_a_killed_worker_had_claimed_is_found_at_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    sitings = homes(4)
    counting = Counting(monkeypatch, SystemExit, at=1)
    with pytest.raises(SystemExit):
        nightly.work(DAY)
    assert (night().state, night().done, night().after) == ("running", 1, sitings[1].pk)
    assert nightly.work(DAY)
    assert counting.seen == [sitings[place].pk for place in (0, 2, 3, 1)]
    assert (night().done, night().total) == (4, 4)


def test_a_home_that_trips_is_noted_and_keeps_no_other_waiting() -> None:
    sitings = homes(4)
    broken = Answer.objects.get(survey=sitings[1].surveys.first()).calculation
    copy = Calculation.objects.get(pk=broken.pk)
    copy.pk, copy.input_sha256, copy.result = None, "0" * 64, {"heights": [{"point": "?"}]}
    copy.save(force_insert=True)
    Answer.objects.filter(calculation=broken).update(calculation=copy)
    assert nightly.work(DAY)
    assert set(rows()) == {siting.pk for siting in sitings} - {sitings[1].pk}
    assert (night().state, night().done, night().failed, night().total) == ("done", 3, 1, 4)
    assert night().failures == [{"siting": str(sitings[1].pk), "message": "KeyError"}]


def test_what_an_earlier_night_left_is_done_by_the_next() -> None:
    homes(1)
    nightly.start(DAY)
    tomorrow = DAY + datetime.timedelta(days=1)
    assert nightly.work(tomorrow)
    assert list(NightlyRun.objects.values_list("day", "state", "done")) == [(tomorrow, "done", 1), (DAY, "done", 0)]


def test_a_home_written_at_once_after_a_survey_is_not_computed_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    sitings = homes(3)
    nightly.start(DAY)
    counting = Counting(monkeypatch)
    nightly.refresh(sitings[1].pk, DAY)
    nightly.work(DAY)
    assert sorted(counting.seen) == [siting.pk for siting in sitings]
    assert (night().done, night().total) == (3, 3)


def test_homes_that_no_longer_stand_there_are_due_no_more() -> None:
    gone, archived, kept = homes(3)
    nightly.work(DAY)
    tomorrow = DAY + datetime.timedelta(days=1)
    gone.to_on = tomorrow
    gone.save()
    archived.home.archived_at = timezone.now()
    archived.home.save()
    nightly.work(tomorrow)
    assert set(rows()) == {kept.pk}


def test_a_batch_takes_as_many_queries_as_a_home(django_assert_max_num_queries: Any) -> None:
    homes(1)
    with django_assert_max_num_queries(60) as one:
        nightly.work(DAY)
    homes(6, surveys=5)
    tomorrow = DAY + datetime.timedelta(days=1)
    with django_assert_max_num_queries(60) as seven:
        nightly.work(tomorrow)
    assert len(seven) - len(one) in (0, 1)  # a night before it is looked for, and may be ended


# -- when, and by whom ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "day"), [("06:59", None), ("07:00", "2026-12-01"), ("05:00", None), ("23:30", "2026-12-01")]
)
def test_it_begins_at_two_where_the_company_works(at: str, day: str | None) -> None:
    CompanyFactory(time_zone="America/New_York")
    with time_machine.travel(f"2026-12-01T{at}:00+00:00", tick=False):
        found = nightly.tonight()
    assert found == (day and datetime.date.fromisoformat(day))


def test_nobody_is_sent_to_a_night_that_is_done_or_in_good_hands(settings: Any) -> None:
    homes(1)
    settings.NIGHTLY_HOUR = 0
    today = nightly.today()
    assert nightly.tonight() == today
    nightly.start(today)
    assert nightly.tonight() is None
    run_out()
    assert nightly.tonight() == today
    nightly.work(today)
    run_out()
    assert nightly.tonight() is None


def test_the_clock_has_the_worker_do_it(settings: Any) -> None:
    sitings = homes(3)
    settings.NIGHTLY_HOUR, settings.NIGHTLY_SLICE_S = 0, 0.0
    tasks.start_night()
    assert set(rows()) == {siting.pk for siting in sitings}
    assert NightlyRun.objects.get().state == "done"
    tasks.start_night()
    assert NightlyRun.objects.count() == 1


def test_by_hand_it_shows_how_far_it_is() -> None:
    homes(2)
    out = io.StringIO()
    call_command("nightly", stdout=out)
    assert out.getvalue().splitlines()[-1] == f"{nightly.today()}: 2 of 2 homes, 0 failed"


@pytest.mark.django_db(transaction=True)
def test_two_at_once_compute_each_home_once(monkeypatch: pytest.MonkeyPatch) -> None:
    sitings = homes(9)
    monkeypatch.setattr(nightly, "BATCH", 2)
    counting, done = Counting(monkeypatch), []

    def work() -> None:
        try:
            done.append(nightly.work(DAY))
        finally:
            connection.close()

    threads = [threading.Thread(target=work) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert done == [True] * 3
    assert sorted(counting.seen) == [siting.pk for siting in sitings]
    assert (night().done, night().total, night().failed) == (9, 9, 0)


@pytest.mark.django_db(transaction=True)
def test_a_process_killed_in_the_middle_loses_nothing() -> None:
    sitings = homes(6)
    address = f"{os.environ['DATABASE_URL'].rpartition('/')[0]}/{connection.settings_dict['NAME']}"
    code = (
        "import time, django; django.setup()\n"
        "from calcs import nightly\n"
        "real, nightly.BATCH = nightly.due_of, 1\n"
        "nightly.due_of = lambda *args: (time.sleep(0.5), real(*args))[1]\n"
        f"nightly.work(nightly.datetime.date({DAY.year}, {DAY.month}, {DAY.day}))\n"
    )
    environment = os.environ | {"DATABASE_URL": address, "DJANGO_SETTINGS_MODULE": "jobs.project.settings"}
    process = subprocess.Popen([sys.executable, "-c", code], cwd=CHECKOUT, env=environment)
    try:
        until = time.monotonic() + 60
        while Due.objects.count() < 2:
            assert time.monotonic() < until
            time.sleep(0.1)
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
    assert 2 <= Due.objects.count() < len(sitings)
    assert night().state == "running"
    assert nightly.work(DAY)
    assert set(rows()) == {siting.pk for siting in sitings}
    assert (night().done, night().total, night().failed) == (6, 6, 0)
