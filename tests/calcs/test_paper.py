"""An old survey from paper is computed like any other, once it is stored."""

from typing import Any
from uuid import UUID

import pytest

from calcs.models import Answer, Calculation
from jobs.csv_files.run import run
from jobs.models import User
from surveys.csv_files.paper import PAPER
from surveys.models import Survey
from tests.factories import HomeFactory, SitingFactory, lay_out_home

pytestmark = pytest.mark.django_db


def test_an_old_paper_is_computed(lead: User, django_capture_on_commit_callbacks: Any) -> None:
    siting = lay_out_home(SitingFactory(home=HomeFactory(code="H1"), from_on="2010-01-01"))
    heights = {"A1": "9 1/4", "D3": "10 3/16"}
    lines = ["home,date,stage,method,point,height"]
    lines += [
        f"H1,2014-05-20,as found,water level,{label},{heights.get(label, 10)}"
        for label in siting.points.values_list("label", flat=True)
    ]
    data = "\n".join(lines).encode()
    with django_capture_on_commit_callbacks(execute=True) as checked:
        run(PAPER, data, by=lead, is_dry_run=True)
    assert checked == []
    assert not Calculation.objects.exists()
    with django_capture_on_commit_callbacks(execute=True):
        run(PAPER, data, by=lead, is_dry_run=False)
    levels = Answer.objects.get(survey=Survey.objects.get(), kind="levels").calculation
    assert levels.error is None
    assert levels.state == "done"
    labels = dict(siting.points.values_list("pk", "label"))
    found = {labels[key]: value for key, value in heights_of(levels.result).items()}
    assert found["A1"] == pytest.approx(found["A2"] - 0.75)
    assert found["D3"] == pytest.approx(found["A2"] + 0.1875)


def heights_of(result: Any) -> dict[Any, float]:
    """The heights that were computed, by point."""
    return {UUID(height["point"]): height["height_in"] for height in result["heights"]}
