"""The letter to a customer when the answer is no: plain facts, two languages, page and paper, and no promises."""

import datetime
import re
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import translation
from rest_framework.test import APIClient

from jobs.assessing import BLOCKS
from jobs.letters import DO, SEEN, Letter, letter_of
from jobs.models import Assessment, Company, User
from tests.calcs.documents.reading import text_of
from tests.factories import (
    AssessmentFactory,
    BlockOverrideFactory,
    CompanyFactory,
    HazardFactory,
    HomeContactFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]
NO: dict[str, dict[str, Any]] = {
    "wait": {"verdict": "wait", "reason": "The clay has to dry first.", "wait_until": datetime.date(2026, 8, 1)},
    "decline": {"verdict": "decline", "reason": "The frame is rusted through."},
    "engineer": {"verdict": "engineer", "reason": "The beam is bent."},
}
PROMISES = re.compile(
    r"\b(certif\w*|prove[ns]?|safe\w*|guarante\w*|complian\w*|garantiz\w*|comprobad\w*|demostrad\w*|segur\w*)\b",
    re.IGNORECASE,
)


def written(assessment: Assessment, language: str = "en") -> Letter:
    return letter_of(assessment, company=Company.objects.first(), language=language)


def section(letter: Letter, number: int) -> str:
    return " ".join(letter.sections[number].sentences)


@pytest.mark.parametrize(
    ("verdict", "not_now", "again"),
    [
        ("wait", "We don't lift your home now. We wait.", "We come again from Aug. 1, 2026 on, and look again."),
        ("decline", "We don't lift your home.", "No further visit is planned."),
        ("engineer", "before an engineer has looked at it.", "When the engineer has answered in writing"),
    ],
)
def test_each_no_says_what_is_not_done_why_and_when_we_come_again(verdict: str, not_now: str, again: str) -> None:
    letter = written(AssessmentFactory(**NO[verdict]))
    assert [one.title for one in letter.sections] == [
        "What we saw",
        "What we don't do now, and why",
        "What you can do",
        "When we come again",
    ]
    assert not_now in section(letter, 1)
    assert NO[verdict]["reason"] in section(letter, 1)
    assert again in section(letter, 3)


def test_a_wait_without_a_day_ends_when_things_have_changed() -> None:
    assert section(written(AssessmentFactory(verdict="wait", reason="snow")), 3).startswith("Call us when")


def test_the_facts_are_those_of_the_assessment() -> None:
    leak = {"cause": "water", "water": "not_cured", "evidence": "the bath drips", "soil": "wet"}
    assessment = AssessmentFactory(**NO["decline"], **leak, has_active_leak=True)
    HazardFactory(home=assessment.siting.home, kind="gas_smell")
    letter = written(assessment)
    seen = section(letter, 0)
    for words in (
        "We looked at your home on March 3, 2026.",
        "What made it move: water from roof, leak or runoff. What shows it: the bath drips",
        "It was spring; the soil was: wet.",
        "As to water: water is at work: not mended.",
        "There was a smell of gas.",
        "Something leaks.",
    ):
        assert words in seen
    to_do = section(letter, 2)
    for words in ("touch no switch", "licensed gas fitter", "licensed plumber", "Lead roof and surface water away"):
        assert words in to_do


def test_where_nothing_is_to_be_done_it_says_so() -> None:
    letter = written(AssessmentFactory(**NO["decline"], cause="unknown", evidence=""))
    assert "What made it move is not known yet." in section(letter, 0)
    assert section(letter, 2) == "There is nothing for you to do now."


def test_every_block_has_its_words_for_the_customer() -> None:
    verdicts = {"verdict_engineer", "verdict_decline", "verdict_wait"}  # the letter's own sentences
    assert SEEN.keys() == BLOCKS.keys() - verdicts
    takes_time = {"verdict_decline", "verdict_wait", "frozen_soil", "wind_forecast"}
    assert DO.keys() == BLOCKS.keys() - takes_time


def test_it_goes_to_the_owner_under_the_companys_letterhead() -> None:
    CompanyFactory(letterhead="Plumb and True\r\n12 Any Street\r\n\r\n555 0100")
    assessment = AssessmentFactory(**NO["wait"], author__first_name="Ana", author__last_name="Ruiz")
    home = assessment.siting.home
    assert written(assessment).greeting == "To the owner of the home,"
    HomeContactFactory(home=home, part="tenant", customer__name="Tess Tenant")
    former = HomeContactFactory(home=home, customer__name="Fred Former", to_on=datetime.date(2020, 1, 1))
    HomeContactFactory(home=home, customer__name="Olive Owner", customer__postal_address="PO Box 9\nSomewhere")
    letter = written(assessment)
    assert letter.greeting == "Dear Olive Owner,"
    assert letter.address == ("Olive Owner", "PO Box 9", "Somewhere")
    assert letter.letterhead == ("12 Any Street", "555 0100")
    assert letter.signed == ("Ana Ruiz", "Plumb and True")
    assert former.customer.name not in str(letter)


def every_letter() -> list[Letter]:
    """Letters of every verdict with everything in the way, in both languages."""
    ticks = {field.name: True for field in Assessment._meta.fields if field.name.startswith(("has_", "is_"))}
    letters = []
    for verdict in NO.values():
        for soil in Assessment.Soil.values:
            for land in Assessment.Land.values:
                assessment = AssessmentFactory(**verdict, **ticks, soil=soil, land=land, water="not_cured")
                home = assessment.siting.home
                home.has_foundation_letter = True
                home.save()
                for kind in ("gas_smell", "wiring", "wet_ground", "soft_ground"):
                    HazardFactory(home=home, kind=kind)
                letters += [written(assessment, language) for language in ("en", "es")]
    return letters


def test_no_letter_promises_anything() -> None:
    for letter in every_letter():
        found = [words for one in letter.sections for words in one.sentences if PROMISES.search(words)]
        assert found == []
        assert not PROMISES.search(f"{letter.foot} {letter.title}")
    assert PROMISES.search("a safe home")


# -- page and paper ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["manager", "office", "lead"])
def test_who_may_know_the_customer_reads_it_in_either_language(
    role: str, client_for: ClientFor, request: pytest.FixtureRequest
) -> None:
    assessment = AssessmentFactory(**NO["wait"])
    client = client_for(request.getfixturevalue(role))
    address = reverse("assessment-letter", args=[assessment.pk])
    assert "About your home at" in client.get(address).content.decode()
    spanish = client.get(address, {"lang": "es"}).content.decode()
    assert '<article class="letter prose" lang="es">' in spanish
    assert "3 de marzo de 2026" in spanish
    assert '<html lang="en">' in spanish  # the page about it speaks the reader's own
    assert 'lang="en">' in client.get(address, {"lang": "fr"}).content.decode()
    assert f'href="{address}"' in client.get(reverse("assessment", args=[assessment.siting_id])).content.decode()


def test_a_crew_reads_no_letter(crew: User, client_for: ClientFor) -> None:
    assessment = AssessmentFactory(**NO["wait"])
    VisitFactory(siting=assessment.siting).crew.add(crew)
    client = client_for(crew)
    for name in ("assessment-letter", "assessment-letter-pdf"):
        address = reverse(name, args=[assessment.pk])
        assert client.get(address).status_code == 403
        assert address not in client.get(reverse("assessment", args=[assessment.siting_id])).content.decode()


def test_where_the_verdict_is_to_lift_there_is_no_letter(lead: User, client_for: ClientFor) -> None:
    assessment = AssessmentFactory()
    client = client_for(lead)
    for name in ("assessment-letter", "assessment-letter-pdf"):
        assert client.get(reverse(name, args=[assessment.pk])).status_code == 404
    page = client.get(reverse("assessment", args=[assessment.siting_id])).content.decode()
    assert "Letter to the customer" not in page


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_paper_says_what_the_page_says(
    language: str, lead: User, client_for: ClientFor, api_for: Callable[[User], APIClient]
) -> None:
    CompanyFactory(letterhead="12 Any Street\n555 0100")
    assessment = AssessmentFactory(**NO["engineer"], has_bent_beam=True)
    HomeContactFactory(home=assessment.siting.home, customer__name="Olive Owner")
    client, address = client_for(lead), reverse("assessment-letter-pdf", args=[assessment.pk])
    first, second = (client.get(address, {"lang": language}) for _ in range(2))
    assert first["Content-Type"] == "application/pdf"
    assert first.content == second.content
    file = api_for(lead).get(f"/api/v1/assessments/{assessment.pk}/letter/", {"lang": language})
    assert (file["Content-Type"], file.content) == ("application/pdf", first.content)
    text, letter = text_of(first.content), written(assessment, language)
    sentences = [words for one in letter.sections for words in (one.title, *one.sentences)]
    for words in (letter.company, *letter.letterhead, letter.day, *letter.address, letter.title, *sentences):
        assert words in text, words


def test_the_paper_takes_as_many_queries_as_ever(
    lead: User, client_for: ClientFor, django_assert_num_queries: Any
) -> None:
    assessment = AssessmentFactory(**NO["engineer"], has_bent_beam=True)
    BlockOverrideFactory(assessment=assessment, code="roof_snow")
    HomeContactFactory(home=assessment.siting.home)
    HomeContactFactory(home=assessment.siting.home)
    client = client_for(lead)
    # session, person, time zone; assessment, company, contacts; findings, straps' checks, hazards, signatures
    with django_assert_num_queries(10):
        client.get(reverse("assessment-letter", args=[assessment.pk]))
    with translation.override("en"):
        assert letter_of(assessment, company=None, language="en").company == ""
