"""What the rule book lets a company set, the engine takes."""

from typing import Literal

import pytest

from calcs import snapshots
from calcs.engine.levels import solve_levels
from calcs.engine.lift import LiftMove, LiftOption
from calcs.engine.lift.intake import check_input
from calcs.engine.passes import solve_passes
from calcs.engine.straps import solve_straps
from jobs.models import Home
from jobs.rulebook import RULES
from surveys.models import Survey
from tests.calcs.working import label_to_key, read_survey
from tests.factories import RuleSetFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("end", ["low", "high"])
def test_every_rule_at_either_end_of_its_range_is_computed_with(end: Literal["low", "high"]) -> None:
    survey = read_survey()
    rule_set = RuleSetFactory(values={name: getattr(rule, end) for name, rule in RULES.items()})
    Home.objects.filter(pk=survey.siting.home_id).update(rule_set=rule_set)
    record = snapshots.Record(Survey.objects.get(pk=survey.pk))
    assert record.rules["jack_offset_ft"] == getattr(RULES["jack_offset_ft"], end)
    levels = solve_levels(snapshots.levels_input(record))
    move = LiftMove(
        code=label_to_key(survey)["A1"], move_in=0.0625, support_change_in=0.0625, from_in=0.0, to_in=0.0625
    )
    option = LiftOption(name="least_work", status="optimal", moves=(move,))
    passes = snapshots.passes_input(record, levels, option)
    assert passes is not None

    assert solve_passes(passes).passes
    assert len(solve_straps(snapshots.straps_input(record, option)).straps) == 2
    check_input(snapshots.lift_input(record, levels))
