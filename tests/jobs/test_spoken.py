"""What was said in English is said again in the reader's language; every refusal of the engine's has a template."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.utils import translation

from calcs.engine import common
from calcs.engine.errors import InvalidInput
from calcs.engine.units import parse_length
from jobs import layout, spoken
from jobs.rule_words import ABOUT
from jobs.rulebook import RULES
from jobs.spoken import retold

ENGINE = Path(common.__file__).parent
SOURCES = [*ENGINE.rglob("*.py"), Path(layout.__file__)]
# Pieces that the engine puts together elsewhere, as they read once they are.
FILLED = {
    "must be B7, not B7": ("must be above 0 and at most 7, not 9", "must be from 0 to 7, not 9"),
    "must be one of B7, not B7": ("must be one of up, down, not B7",),
    "B7 in, not B7 in": ("must be at most 9 steps of 0.25 in, not 9 in",),
    "must be given for B7": ("must be given for a pluck", "must be given for a gauge"),
    "B7, not B7 in": ("must be at most 9 steps of 0.25 in, not 9 in",),
}


def _text(node: ast.expr) -> str | None:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "B7" for part in node.values)
    return None


def _refusals() -> Iterator[str]:
    """Every text that a source gives ``InvalidInput``, itself or by a name; what is put together as one is."""
    for path in SOURCES:
        for function in ast.walk(ast.parse(path.read_text())):
            if not isinstance(function, ast.FunctionDef):
                continue
            named: dict[str, str] = {}
            for node in sorted(ast.walk(function), key=lambda node: getattr(node, "lineno", 0)):
                if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                    named[node.targets[0].id] = _text(node.value) or ""
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "InvalidInput":
                    given = node.args[0]
                    if isinstance(given, ast.Attribute):  # another kind's refusal, passed on
                        continue
                    text = named.get(given.id) if isinstance(given, ast.Name) else _text(given)
                    assert text, ast.unparse(node)
                    if isinstance(given, ast.JoinedStr) and isinstance(given.values[0], ast.FormattedValue):
                        first = ast.unparse(given.values[0].value)
                        text = text.replace("B7", named.get(first) or "B7", 1)
                    yield from FILLED.get(text, (text,))


NOT_SHOWN = {  # faults of whoever calls, never of what a person typed
    *("unit must be one of B7, not B7", "denominator must be B7, not B7", "a length must be finite"),
    "B7; B7",  # of lengths, tried below
}


@pytest.mark.parametrize("sentence", sorted(set(_refusals()) - NOT_SHOWN))
def test_every_refusal_of_the_engine_s_is_said_in_spanish(sentence: str) -> None:
    with translation.override("es"):
        assert retold(sentence) != sentence
    with translation.override("en"):
        assert retold(sentence) == sentence


LENGTHS = ("", "x" * 61, "3,5", "999999999", "about 3", "3 inch mm", "3/8 ft 1", "1.5' 3\"", "2' 13\"", "3/7", "9/8")


@pytest.mark.parametrize("typed", LENGTHS)
@pytest.mark.parametrize("unit", ["in", "mm", "ft"])
def test_why_a_length_is_none_is_said_in_spanish(typed: str, unit: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        parse_length(typed, unit=unit)  # type: ignore[arg-type]  # one of the three above
    message = refused.value.message
    with translation.override("es"):
        said = retold(message)
        what, _, instead = said.rpartition("; escriba ")
        assert instead
        assert what not in message
    with translation.override("en"):
        assert retold(message) == message


def test_what_is_in_a_blank_is_said_too() -> None:
    with translation.override("es"):
        assert retold("This needs one of the roles: crew lead, crew.") == (
            "Para esto hace falta uno de estos roles: jefe de cuadrilla, cuadrilla."
        )
        parts = "setups S1 and 4 more with points A1; setups S9 with points C7 and 2 more"
        said = retold(
            f"without a datum the readings must hang together, but they fall into 2 parts: {parts}; "
            "read a point of one from a setup of the other"
        )
    assert "las estaciones S1 y 4 más con los puntos A1; las estaciones S9 con los puntos C7 y 2 más;" in said


def test_several_sentences_of_one_field_are_said_one_by_one() -> None:
    both = "Ensure this value is less than or equal to 9. This field is required."
    with translation.override("es"):
        assert retold(both) == "Asegúrese de que este valor es menor o igual a 9. Este campo es obligatorio."
    with translation.override("en"):
        assert retold(both) == both


@pytest.mark.parametrize("text", ["", "Nobody said {this} of 100 %s.", "A. B. C?"])
def test_what_nobody_knows_stays_as_it_is(text: str) -> None:
    with translation.override("es"):
        assert retold(text) == text


@pytest.mark.parametrize("template", spoken.FRAMEWORK)
def test_the_frameworks_own_catalogues_have_their_sentences(template: str) -> None:
    with translation.override("es"):
        assert translation.gettext(template) != template


def test_what_rules_are_about_is_said_in_spanish() -> None:
    abouts = {rule.about for rule in RULES.values()}
    assert abouts == set(ABOUT)
    with translation.override("es"):
        assert [about for about in abouts if translation.gettext(about) == about] == []
