"""Corrections: the first of a reading holds, a second one is contested until somebody settles it."""

import uuid
from typing import Any

import pytest

from jobs.models import User
from surveys.models import Reading, Survey
from surveys.services import submit_survey
from tests.factories import SetupFactory, lay_out_home

pytestmark = pytest.mark.django_db


class Field:
    """A survey with a phone that posts to it."""

    def __init__(self, client: Any) -> None:
        self.client = client
        siting = lay_out_home()
        self.setup = SetupFactory(survey__siting=siting, code="S1")
        self.survey: Survey = self.setup.survey
        self.point = siting.points.get(label="C2")

    def reading(self, value: Any, **fields: Any) -> dict[str, Any]:
        places = {"setup": str(self.setup.pk), "point": str(self.point.pk)}
        return {"id": str(uuid.uuid4()), "value": value} | places | fields

    def correction(self, of: dict[str, Any], value: Any, **fields: Any) -> dict[str, Any]:
        return self.reading(value, replaces=of["id"], reason="read again", **fields)

    def post(self, *readings: dict[str, Any], expect: int = 200) -> dict[str, Any]:
        response = self.client.post(f"/api/v1/surveys/{self.survey.pk}/readings/", {"readings": list(readings)})
        assert response.status_code == expect, response.content
        return dict(response.json())

    def standing(self) -> list[str]:
        return sorted(Reading.objects.standing().values_list("typed", flat=True))

    def contested(self) -> list[str]:
        return sorted(Reading.objects.contested().values_list("typed", flat=True))


@pytest.fixture
def field(api_for: Any, lead: User) -> Field:
    return Field(api_for(lead))


def test_a_correction_holds_and_so_does_its_own_correction(field: Field) -> None:
    first = field.reading("1")
    second = field.correction(first, "2")
    field.post(first)
    assert field.post(second)["contested"] == []
    assert field.standing() == ["2"]
    field.post(field.correction(second, "3"))
    assert field.standing() == ["3"]


def test_an_empty_correction_withdraws_and_can_be_corrected_in_turn(field: Field) -> None:
    first = field.reading("1")
    withdrawn = field.correction(first, "")
    field.post(first, withdrawn)
    assert field.standing() == []
    field.post(field.correction(withdrawn, "1 1/2"))
    assert field.standing() == ["1 1/2"]


def test_a_second_correction_is_contested_and_named(field: Field) -> None:
    first = field.reading("1")
    holds, late = field.correction(first, "2"), field.correction(first, "3")
    field.post(first, holds)
    assert field.post(late)["contested"] == [late["id"]]
    assert (field.standing(), field.contested()) == (["2"], ["3"])
    again = field.post(holds, late)
    assert (again["repeated"], again["contested"]) == (2, [late["id"]])


def test_in_one_request_the_first_sent_holds_even_before_what_it_corrects(field: Field) -> None:
    first = field.reading("1")
    holds, late = field.correction(first, "2"), field.correction(first, "3")
    assert field.post(holds, late, first)["contested"] == [late["id"]]
    assert field.standing() == ["2"]


def test_settling_ends_the_contest(field: Field) -> None:
    first = field.reading("1")
    holds, late = field.correction(first, "2"), field.correction(first, "3")
    field.post(first, holds, late)
    settled = field.correction(holds, "3", settles=late["id"])
    assert field.post(settled)["contested"] == []
    assert (field.standing(), field.contested()) == (["3"], [])
    field.post(field.correction(settled, "4"))  # goes on from there
    assert field.post(settled)["repeated"] == 1  # and repeating the settlement stays harmless
    assert field.standing() == ["4"]


def test_settling_must_replace_what_holds_and_can_be_done_once(field: Field) -> None:
    first, other = field.reading("1"), field.reading("7")
    holds, late = field.correction(first, "2"), field.correction(first, "3")
    field.post(first, other, holds, late)
    wrong = field.post(
        field.correction(first, "3", settles=late["id"]),
        field.correction(other, "3", settles=late["id"]),
        field.correction(other, "3", settles=holds["id"]),
        field.correction(late, "5"),
        expect=400,
    )
    assert holds["id"] in wrong["fields"]["readings[0].replaces"]
    assert holds["id"] in wrong["fields"]["readings[1].replaces"]
    assert wrong["fields"]["readings[2].settles"] == "This is not a contested correction of this survey."
    assert "settle this one" in wrong["fields"]["readings[3].replaces"]
    settled = field.correction(holds, "3", settles=late["id"])
    field.post(settled)
    second = field.post(field.correction(settled, "2", settles=late["id"]), expect=400)
    assert second["fields"] == {"readings[0].settles": "This contested correction is settled already."}


def test_corrections_stay_inside_a_survey_and_out_of_circles(field: Field, api_for: Any, lead: User) -> None:
    foreign = Field(api_for(lead))
    theirs = foreign.reading("1")
    foreign.post(theirs)
    refused = field.post(field.correction(theirs, "2"), expect=400)
    assert refused["fields"] == {"readings[0].replaces": "There is no such reading in this survey."}
    one = field.reading("1")
    itself = one | {"replaces": one["id"], "reason": "x"}
    assert "circle" in field.post(itself, expect=400)["fields"]["readings[0].replaces"]
    a, b = field.reading("1"), field.reading("2")
    a, b = a | {"replaces": b["id"], "reason": "x"}, b | {"replaces": a["id"], "reason": "x"}
    assert sorted(field.post(a, b, expect=400)["fields"]) == ["readings[0].replaces", "readings[1].replaces"]


def test_a_late_correction_raises_the_revision_and_a_repeat_does_not(field: Field) -> None:
    first = field.reading("1")
    field.post(first)
    submit_survey(survey=field.survey)
    correction = field.correction(first, "2")
    assert field.post(correction)["revision"] == 2
    assert field.post(correction)["revision"] == 2
    field.survey.refresh_from_db()
    assert field.survey.revision == 2
