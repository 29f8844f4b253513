"""A short soak test with real processes, and whether its comparison would see anything."""

import subprocess
import sys
import uuid
from pathlib import Path

import pytest

from calcs import chain
from calcs.models import Answer
from calcs.soak.compare import compare
from calcs.soak.ledger import Entry, Ledger
from surveys.models import Reading
from tests.calcs.working import read_survey, work_off
from tests.project.running import CHECKOUT

SECONDS = 8


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks at processes through /proc")
def test_nothing_is_lost_or_doubled_while_everything_is_killed_at_random() -> None:
    soaked = subprocess.run(
        [sys.executable, "manage.py", "soak", "--minutes", str(SECONDS / 60), "--clients", "2", "--seed", "3"],
        cwd=CHECKOUT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert soaked.returncode == 0, soaked.stdout + soaked.stderr
    assert "nothing lost, nothing doubled" in soaked.stdout
    table = dict(line.strip().rsplit(None, 1) for line in soaked.stdout.splitlines() if line.startswith("  "))
    assert int(table["entries acknowledged"]) > 50
    assert int(table["surveys answered"]) > 0
    assert "by itself (killed by SIGKILL)" in soaked.stdout or "one " in soaked.stdout


@pytest.fixture
def ledger(db: None) -> Ledger:
    """What the phones of an undisturbed survey wrote down."""
    survey = read_survey()
    work_off(chain.ask(survey.pk).new)
    ledger = Ledger(submitted={str(survey.pk)})
    for row in [survey, *survey.setups.all()]:
        kind = row._meta.model_name or ""
        ledger.note(Entry(kind=kind, key=str(row.pk), sequence=0, body={}, acknowledged=True))
    for row in survey.readings.all():
        body = {"setup": row.setup_id, "point": row.point_id, "shot": row.shot, "value": row.typed}
        ledger.note(Entry(kind="reading", key=str(row.pk), sequence=row.sequence, body=body, acknowledged=True))
    return ledger


def off(ledger: Ledger) -> list[str]:
    """Return what the comparison finds, but for the disk that tests don't wait for."""
    return [sentence for sentence in compare(ledger)["off"] if "fsync" not in sentence]


def reading_of(ledger: Ledger) -> Entry:
    return next(entry for entry in ledger.entries.values() if entry.kind == "reading")


def test_the_comparison_is_content_with_what_is_as_it_was_sent(ledger: Ledger) -> None:
    assert off(ledger) == []
    assert compare(ledger)["counts"]["surveys answered"] == 1


def test_the_comparison_sees_a_lost_entry(ledger: Ledger) -> None:
    key = str(uuid.uuid4())
    ledger.note(Entry(kind="reading", key=key, sequence=0, body={}, acknowledged=True))
    assert off(ledger) == [f"acknowledged and lost: reading {key}"]


def test_the_comparison_sees_other_content(ledger: Ledger) -> None:
    reading = reading_of(ledger)
    reading.body["value"] = "1 1/16"
    assert off(ledger) == [f"stored otherwise than sent: reading {reading.key}"]


def test_the_comparison_sees_an_entry_that_is_stored_again_under_another_key(ledger: Ledger) -> None:
    row = Reading.objects.get(pk=reading_of(ledger).key)
    row.pk = uuid.uuid4()
    row.save(force_insert=True)
    assert any("stored more than once" in sentence for sentence in off(ledger))


def test_the_comparison_sees_a_survey_without_its_answer(ledger: Ledger) -> None:
    (survey,) = ledger.submitted
    Answer.objects.filter(kind="flatness").delete()
    assert off(ledger) == [f"submitted and without an answer: {survey}"]


def test_the_comparison_sees_a_sync_entry_that_was_not_kept(ledger: Ledger) -> None:
    reading = reading_of(ledger)
    reading.by_sync = True
    assert off(ledger) == [f"taken by sync, and not kept there once: reading {reading.key}"]
