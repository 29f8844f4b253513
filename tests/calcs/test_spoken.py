"""Every sentence of the engine's has a template, so that it can be said in the reader's language."""

import ast
import re
from pathlib import Path

import pytest
from django.utils import translation

from calcs import spoken
from calcs.engine import common

ENGINE = Path(common.__file__).parent


def _sentence(node: ast.expr) -> str | None:
    """A text as the engine would say it, with a word for whatever is filled in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "B7" for part in node.values)
    return None


def _said() -> set[str]:
    """Every text that the engine's source gives a caution, a warning or a stop, or that there is no answer."""
    found = set()
    for path in ENGINE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            match node:
                case ast.Assign(targets=[ast.Name(id="text" | "NOT_FOUND" | "TOO_FAR_APART")]):
                    found.add(_sentence(node.value))
                case ast.Call(func=ast.Name(id="NoConvergence"), args=[text]):
                    found.add(_sentence(text))
                case ast.Call(func=ast.Name(id="Caution" | "ResultWarning")):
                    found |= {_sentence(word.value) for word in node.keywords if word.arg == "text"}
                case ast.Call(func=ast.Attribute(attr="append"), args=[ast.Tuple(elts=[_, text])]):
                    found.add(_sentence(text))
    return {text for text in found if text}


# Filled in by the engine with "more" or "less", or with a phrase: told here as the templates have them.
FILLED = {
    "The readings scatter B7 than": "The readings scatter more than",
    "Read B7 again: B7 looks": "Read B7 again: reading 1 of B7 from setup S1 looks",
}


@pytest.mark.parametrize("sentence", sorted(_said()))
def test_every_sentence_of_the_engine_is_known(sentence: str) -> None:
    for said, filled in FILLED.items():
        sentence = sentence.replace(said, filled)
    known = [template for template, pattern in spoken._patterns() if pattern.fullmatch(sentence)]
    assert len(known) == 1, sentence


def test_the_source_was_searched() -> None:
    assert len(_said()) > len(spoken.CAUTIONS) + 20
    assert {
        "The whole move of B7 is B7 in, over B7 in: an engineer decides.",  # a stop
        "the numbers are too large or too small to compute with",
        "the stiffnesses, heights and loads are too far apart to compute with",
    } <= _said()


def test_a_sentence_keeps_its_numbers_and_names() -> None:
    with translation.override("es"):
        said = spoken.spoken("12 of 150 readings are unchecked: a slip there would not show. Points: A1, C7.")
    assert re.findall(r"\d+|[A-Z]\d", said) == ["12", "150", "A1", "C7"]
    assert "unchecked" not in said


def test_in_english_it_says_what_the_engine_said() -> None:
    with translation.override("en"):
        for sentence in _said():
            assert spoken.spoken(sentence) == sentence


def test_codes_and_endings_that_the_engine_fills_in_become_words() -> None:
    assert spoken.spoken("within_budget: time ran out; a plan with less work may exist, none below the bound") == (
        "within the budget: time ran out; a plan with less work may exist, none below the bound"
    )
    with translation.override("es"):
        said = spoken.spoken(
            "12 of 150 readings are unchecked: a slip there would not show. Points: A1, C7 and 4 more."
        )
    assert said.endswith("A1, C7 y 4 más.")


def test_what_the_engine_never_said_stays_as_it_is() -> None:
    assert spoken.spoken("A {brace} and a 100 % stay.") == "A {brace} and a 100 % stay."
