"""The most memory that a worker's process holds while it works the whole chain of a home, beside an idle one's.

A fresh process each, with everything imported that a worker imports. A real worker keeps one parent process, which
computes nothing, and as many of these as `--concurrency` says; they share what they had before they were forked.
"""

import os
import subprocess
import sys

import pytest
from django.db import connection

from calcs.models import Calculation
from jobs.project.services.places import CHECKOUT
from tests.benchmarks.recorded_home import SIZES, read_survey

# A process started right from this one would be charged with what this one holds; one that a shell forks is not.
BETWEEN = ("/bin/sh", "-c", '"$@"; exit $?', "sh")


def worked_mb(survey: str) -> tuple[float, float]:
    """Return the most memory in MB before the chain and after it, of a process that works it off."""
    base, _, _ = os.environ["DATABASE_URL"].rpartition("/")
    environment = os.environ | {"DATABASE_URL": f"{base}/{connection.settings_dict['NAME']}"}
    command = [*BETWEEN, sys.executable, "-m", "tests.benchmarks.chain_worker", survey]
    told = subprocess.run(command, cwd=CHECKOUT, env=environment, check=True, capture_output=True, text=True)
    idle_mb, most_mb = map(float, told.stdout.split())
    return idle_mb, most_mb


@pytest.mark.django_db(transaction=True)
def test_memory_of_a_worker(capsys: pytest.CaptureFixture[str]) -> None:
    with capsys.disabled():
        sys.stdout.write(f"\n{'supports':>10}{'idle MB':>10}{'most MB':>10}{'more MB':>10}\n")
    for supports in SIZES:
        survey = read_survey(supports)
        idle_mb, most_mb = worked_mb(str(survey.pk))
        done = Calculation.objects.filter(survey=survey)
        assert set(done.values_list("state", flat=True)) == {"done"}
        with capsys.disabled():
            sys.stdout.write(f"{supports:>10}{idle_mb:10.0f}{most_mb:10.0f}{most_mb - idle_mb:10.0f}\n")
