"""What the survey page says of the years: what moved, how sure that is, and when to come back."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from jobs.models import LengthUnit, Siting, User
from surveys.models import Survey
from tests.calcs.years import read_again, sinking
from tests.factories import CompanyFactory, lay_out_home

pytestmark = pytest.mark.django_db


@pytest.fixture
def siting(db: None) -> Siting:
    CompanyFactory()
    return lay_out_home()


@pytest.fixture
def shown(client_for: Any, lead: User) -> Any:
    client: Client = client_for(lead)

    def show(survey: Survey) -> str:
        text: str = client.get(reverse("survey", args=[survey.pk])).content.decode()
        return " ".join(text.split())

    return show


def test_nothing_is_said_where_nothing_was_read_before(siting: Siting, shown: Any) -> None:
    assert "What moved over the years" not in shown(read_again(siting, 0))


def test_a_sunken_corner_is_named_with_what_the_change_lies_between(siting: Siting, shown: Any) -> None:
    read_again(siting, 0)
    text = shown(read_again(siting, 365.25, sinking(1.0, 365.25)))
    assert "Moved beyond the noise: A1." in text
    assert "when to come back" in text.lower()
    assert "the chance that a pair has passed its limit is" in text
    row = text.partition('<tbody><tr><th scope="row">A1</th>')[2].partition("</tr>")[0]
    assert "\u22121" in row
    assert "<strong>moved</strong>" in row
    assert "stayed with the others" in text


def test_where_nothing_is_seen_it_says_what_would_have_been(siting: Siting, shown: Any) -> None:
    read_again(siting, 0)
    text = shown(read_again(siting, 365))
    assert "No point is seen to have moved; a change of" in text
    assert "The whole home against its marks: 0" in text
    assert "<strong>moved</strong>" not in text


def test_a_reader_of_millimetres_gets_them(siting: Siting, shown: Any, lead: User) -> None:
    read_again(siting, 0)
    survey = read_again(siting, 365.25, sinking(1.0, 365.25))
    lead.length_unit = LengthUnit.MILLIMETRES
    lead.save()
    assert "\u221225.4" in shown(survey)


def test_years_cost_no_query_more(
    siting: Siting, client_for: Any, lead: User, django_assert_max_num_queries: Any
) -> None:
    client = client_for(lead)
    surveys = [read_again(siting, days) for days in (0, 300, 600)]
    counts = []
    for survey in (surveys[1], surveys[2]):
        with django_assert_max_num_queries(40) as counted:
            client.get(reverse("survey", args=[survey.pk]))
        counts.append(len(counted))
    assert counts[0] == counts[1]
