"""What is asked when somebody calls about a home: a closed list of questions, and what the answers call for."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

TEXT_AT_MOST = 300
UNKNOWN = "unknown"  # asked, and not known; what was not asked has no answer
_YES_NO = {"yes": gettext_lazy("yes"), "no": gettext_lazy("no")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question: what is asked and what for, the words of its choices by code, and where it is from.

    Without choices it is answered in words. ``alert`` is what the office is told where the answer is one of
    ``alert_on``. ``source`` says so where there is none, or only memory.
    """

    code: str
    words: str
    why: str
    source: str
    yes_no: bool = False
    choices: Mapping[str, str] = field(default_factory=dict)
    alert_on: tuple[str, ...] = ()
    alert: str = ""

    @property
    def asked(self) -> str:
        """The question, in the reader's language."""
        return _(self.words)

    @property
    def reason(self) -> str:
        """What it is asked for, in the reader's language."""
        return _(self.why)

    @property
    def offered(self) -> dict[str, str]:
        """What can be chosen, in the reader's language; empty where the answer is in words."""
        choices = {code: _(words) for code, words in self.choices.items()}
        choices |= {code: str(words) for code, words in _YES_NO.items()} if self.yes_no else {}
        return {**choices, UNKNOWN: _("not known")} if choices else {}

    def in_words(self, answer: str) -> str:
        """Return an answer as people read it."""
        return self.offered.get(answer, answer)

    def problem_with(self, answer: object) -> str:
        """Say what is wrong with an answer; nothing where it will do."""
        if self.offered and answer not in list(self.offered):
            return _("Give one of: {known}.").format(known=", ".join(self.offered))
        if not isinstance(answer, str) or not 0 < len(answer) <= TEXT_AT_MOST:
            return _("Give a text of at most {count} characters.").format(count=TEXT_AT_MOST)
        return ""


def _load() -> dict[str, Question]:
    read: dict[str, dict[str, Any]] = tomllib.loads(Path(__file__).with_suffix(".toml").read_text())
    return {
        code: Question(code=code, **{**entry, "alert_on": tuple(entry.get("alert_on", ()))})
        for code, entry in read.items()
    }


QUESTIONS: dict[str, Question] = _load()


def problem_with(answers: object) -> str:
    """Say what is wrong with the answers of an enquiry, the first thing; nothing where they will do."""
    if not isinstance(answers, Mapping):
        return _("Give the answers by the codes of their questions.")
    for code, answer in answers.items():
        question = QUESTIONS.get(str(code))
        if question is None:
            known = ", ".join(QUESTIONS)
            return _("{code}: there is no such question; there are {known}.").format(code=code, known=known)
        if problem := question.problem_with(answer):
            return f"{code}: {problem}"
    return ""


def told(answers: Mapping[str, str]) -> list[tuple[str, str]]:
    """Return the questions that were answered, in the order of the list, each with its answer, in words."""
    return [
        (question.asked, question.in_words(answers[code])) for code, question in QUESTIONS.items() if code in answers
    ]


def alerts_of(answers: Mapping[str, str]) -> list[str]:
    """Return what the office is told because of the answers, a sentence each."""
    return [_(one.alert) for code, one in QUESTIONS.items() if answers.get(code) in one.alert_on]
