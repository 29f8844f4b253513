"""Blanks in the words of mail: which there are, which are needed, and that nothing filled in does harm."""

import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from jobs.blanks import BLANKS, NEEDED, fill, one_line, problems
from jobs.mail_words import defaults
from jobs.models import MailKind, MailText
from jobs.models.people import LANGUAGES

GOOD = {"subject": "We come on {day}", "body": "Dear {customer}, {day}, {from} to {until}."}


def test_there_are_good_words_for_every_kind_in_every_language() -> None:
    assert set(defaults()) == {(kind, language) for kind in MailKind.values for language, _words in LANGUAGES}
    assert BLANKS.keys() == set(MailKind.values)
    for (kind, _language), words in defaults().items():
        assert problems(kind, subject=words.subject, body=words.body) == {}
        assert "\\" not in words.body
        assert words.body.endswith("{letterhead}")


def test_every_blank_can_be_filled_and_the_needed_ones_are_among_them() -> None:
    for kind, needed in NEEDED.items():
        assert set(needed) <= BLANKS[kind].keys()


@pytest.mark.parametrize(
    ("kind", "change", "field", "said"),
    [
        ("booked", {"subject": "  "}, "subject", "Give a subject."),
        ("booked", {"subject": "{day}\nBcc: eve@evil.example"}, "subject", "A subject is one line."),
        ("booked", {"subject": "{day}\rBcc: eve@evil.example"}, "subject", "A subject is one line."),
        ("booked", {"subject": "{day} {letterhead}"}, "subject", "The letterhead has several lines"),
        ("booked", {"subject": "{day}" + "x" * 200}, "subject", "Give at most 200 characters."),
        ("booked", {"body": ""}, "body", "Say something."),
        ("booked", {"body": "{from}" + "x" * 4000}, "body", "Give at most 4000 characters."),
        (
            "booked",
            {"body": "at {time}, {from}"},
            "body",
            "{time} is no blank here. There are: {customer}, {address}",
        ),
        ("due", {"subject": "due", "body": "on {day}"}, "body", "{day} is no blank here."),
        ("booked", {"body": "{from} {customer.email}"}, "body", "A brace belongs to a blank, such as {day}"),
        ("booked", {"body": "{from} {} "}, "body", "A brace belongs to a blank"),
        ("booked", {"body": "{from} }"}, "body", "A brace belongs to a blank"),
        ("booked", {"body": "{{from}} {from}"}, "body", "A brace belongs to a blank"),
        ("booked", {"subject": "a visit", "body": "we come"}, "body", "put in {day}, {from}."),
        ("changed", {"body": "we come"}, "body", "put in {from}."),
        ("cancelled", {"subject": "off", "body": "off"}, "body", "put in {day}."),
    ],
)
def test_words_that_would_go_wrong_are_refused(kind: str, change: dict[str, str], field: str, said: str) -> None:
    found = problems(kind, **{**GOOD, **change})
    assert list(found) == [field]
    assert said in found[field]
    with pytest.raises(ValidationError) as refused:
        MailText(kind=kind, language="en", **{**GOOD, **change}).clean()
    assert refused.value.message_dict == {field: [found[field]]}


@pytest.mark.parametrize("kind", ["booked", "changed", "cancelled"])
def test_good_words_are_taken(kind: str) -> None:
    assert problems(kind, **GOOD) == {}
    MailText(kind=kind, language="en", **GOOD).clean()


@given(st.text(), st.text())
def test_what_is_filled_in_is_not_read_again(name: str, address: str) -> None:
    assert (
        fill("{customer}|{address}|{other}", {"customer": name, "address": address}) == f"{name}|{address}|{{other}}"
    )


@given(st.text(), st.integers(1, 20))
def test_one_line_is_one_line(text: str, most: int) -> None:
    line = one_line(text, most)
    assert len(line) <= most
    assert len(line.splitlines()) <= 1
    assert not {chr(code) for code in range(32)} & set(line)
    assert one_line(line, most) == line


def test_what_ends_with_a_full_stop_has_no_second_one() -> None:
    values = {"until": "11 a.m.", "day": "Monday"}
    assert fill("To {until}.", values) == "To 11 a.m."
    assert fill("{until}, {day}. {none}. {until}", values) == "11 a.m., Monday. {none}. 11 a.m."
