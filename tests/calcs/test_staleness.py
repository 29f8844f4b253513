"""Whether plans still stand."""

from decimal import Decimal

import pytest
from django.db import transaction

from calcs import chain
from calcs.staleness import why_stale
from jobs.models import Connection, Point, Strap, Support
from surveys.models import Survey
from tests.calcs.working import read_survey, submit, work_off
from tests.factories import CompanyFactory, RuleSetFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    survey = read_survey()
    work_off(chain.ask(survey.pk).new)
    return Survey.objects.get(pk=survey.pk)


def test_plans_stand_while_nothing_changes(survey: Survey) -> None:
    assert why_stale(survey) is None


def test_before_the_lift_is_done_there_is_nothing_to_stand(db: None) -> None:
    survey = read_survey()
    assert why_stale(survey) == "not_computed"
    chain.ask(survey.pk)
    assert why_stale(survey) == "not_computed"


def test_late_readings_make_plans_stale_until_they_are_computed(survey: Survey) -> None:
    submit(survey)
    assert why_stale(survey) == "readings"
    work_off(chain.ask(survey.pk).new)
    assert why_stale(survey) is None


def _note(survey: Survey) -> None:
    Support.objects.update(note="looked at")


def _label(survey: Survey) -> None:
    Point.objects.filter(label="A1").update(label="A01")


def test_what_does_not_matter_changes_nothing(survey: Survey) -> None:
    _note(survey)
    _label(survey)
    assert why_stale(Survey.objects.get(pk=survey.pk)) is None


def _travel(survey: Survey) -> None:
    Connection.objects.update(free_up_in=Decimal("0.25"))


def _limit(survey: Survey) -> None:
    Support.objects.update(max_raise_in=Decimal(1))


def _stack(survey: Survey) -> None:
    Support.objects.update(stack=["shims", "plate_2x", "cap", "block"])


def _first_height(survey: Survey) -> None:
    Support.objects.update(height_in=None)


def _strap(survey: Survey) -> None:
    Strap.objects.update(wraps=Decimal(3))


def _rules(survey: Survey) -> None:
    CompanyFactory(rule_set=RuleSetFactory(values={"tolerance_in": 0.125}))


def _sd(survey: Survey) -> None:
    Survey.objects.filter(pk=survey.pk).update(reading_sd_in=Decimal("0.1"))


def test_a_changed_record_makes_plans_stale(survey: Survey) -> None:
    # One home for all changes, each taken back before the next: computing it anew every time would be slow.
    for change in (_travel, _limit, _stack, _first_height, _strap, _rules, _sd):
        with transaction.atomic():
            change(survey)
            assert why_stale(Survey.objects.get(pk=survey.pk)) == "record", change.__name__
            transaction.set_rollback(True)
