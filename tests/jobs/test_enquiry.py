"""The questions of an enquiry: a closed list with sources, what an answer may be, what it calls for."""

import re
from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from jobs import enquiry, enquiry_words
from jobs.enquiry import QUESTIONS, TEXT_AT_MOST, alerts_of, problem_with, told
from jobs.models import User

SOURCED = r"\b24 CFR 3285(\.\d+)?\b|common practice, no source|from memory"


def test_the_words_to_translate_are_those_of_the_list() -> None:
    listed = {
        "QUESTIONS": {one.words for one in QUESTIONS.values()},
        "WHYS": {one.why for one in QUESTIONS.values()},
        "CHOICES": {words for one in QUESTIONS.values() for words in one.choices.values()},
        "ALERTS": {one.alert for one in QUESTIONS.values() if one.alert},
        "SOURCES": {one.source for one in QUESTIONS.values()},
    }
    assert {name: set(getattr(enquiry_words, name)) for name in listed} == listed


def test_every_question_says_what_for_and_where_it_is_from() -> None:
    for code, one in QUESTIONS.items():
        assert one.words.endswith("?"), code
        assert one.why.endswith("."), code
        assert re.search(SOURCED, one.source), code
        assert bool(one.alert) == bool(one.alert_on), code
        assert set(one.alert_on) <= set(one.offered), code
        assert not (one.yes_no and one.choices), code
        assert "unknown" not in one.choices, code


@pytest.mark.parametrize(
    ("answers", "problem"),
    [
        ({}, ""),
        ({"gas": "none", "water": "unknown", "added": "a porch", "loan": "no"}, ""),
        ({"added": "x" * TEXT_AT_MOST}, ""),
        ({"added": "x" * (TEXT_AT_MOST + 1)}, "added: Give a text of at most 300 characters."),
        ({"added": ""}, "added: Give a text of at most 300 characters."),
        ({"added": 3}, "added: Give a text of at most 300 characters."),
        ({"gas": "coal"}, "gas: Give one of: natural, propane, none, unknown."),
        ({"loan": True}, "loan: Give one of: yes, no, unknown."),
        ({"loan": ["yes"]}, "loan: Give one of: yes, no, unknown."),
        (["yes"], "Give the answers by the codes of their questions."),
        (None, "Give the answers by the codes of their questions."),
    ],
)
def test_what_an_answer_may_be(answers: Any, problem: str) -> None:
    assert problem_with(answers) == problem


def test_an_unknown_question_names_those_that_there_are() -> None:
    sentence = problem_with({"roof": "yes"})
    assert sentence.startswith("roof: there is no such question; there are gas_smell, ours,")


def test_answers_are_told_in_words_and_in_the_order_of_the_talk() -> None:
    assert told({"added": "a porch", "gas_smell": "no", "land": "unknown"}) == [
        ("Does it smell of gas there now?", "no"),
        ("What was built onto it: porch, deck, carport, room, chimney?", "a porch"),
        ("Who owns the land?", "not known"),
    ]
    assert told({"a question of old": "yes"}) == []


@pytest.mark.parametrize(
    ("answers", "begins"),
    [
        ({"gas_smell": "yes"}, ["Smell of gas"]),
        ({"gas_smell": "no", "loan": "unknown", "land": "own"}, []),
        ({"land": "park", "care": "yes"}, ["The land is somebody else's", "Somebody there needs help"]),
        ({"loan": "yes"}, ["A foundation letter is asked for"]),
    ],
)
def test_what_the_office_is_told_at_once(answers: dict[str, str], begins: list[str]) -> None:
    sentences = alerts_of(answers)
    assert len(sentences) == len(begins)
    assert all(sentence.startswith(begin) for sentence, begin in zip(sentences, begins, strict=True))


def test_the_list_is_read_over_the_api(office: User, api_for: Callable[[User], APIClient]) -> None:
    listed = api_for(office).get("/api/v1/enquiry-questions/").json()
    assert [one["code"] for one in listed] == list(QUESTIONS)
    by_code = {one["code"]: one for one in listed}
    assert by_code["gas_smell"] == {
        "code": "gas_smell",
        "words": "Does it smell of gas there now?",
        "why": "It can't wait for a visit.",
        "choices": {"yes": "yes", "no": "no", "unknown": "not known"},
        "alert": enquiry.QUESTIONS["gas_smell"].alert,
        "alert_on": ["yes"],
        "source": "common practice, no source",
    }
    assert (by_code["added"]["choices"], by_code["added"]["alert"]) == ({}, "")
