"""One made-up job of each kind of error that approving is to catch; `manage.py bench` runs hundreds."""

import pytest

from tests.calcs.planted import run_job
from tests.calcs.planted_kinds import ASKED, found_by

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("name", list(ASKED))
def test_an_error_is_stopped_or_told(name: str) -> None:
    kind = ASKED[name]
    outcome = run_job(20_261_130, kind.plant, **kind.made)
    assert found_by(kind, outcome) != "missed", outcome


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_job_without_error_is_not_stopped(seed: int) -> None:
    outcome = run_job(seed)
    assert not outcome.is_stopped, outcome
