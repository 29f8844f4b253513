"""Where figures come from is said in the reader's language; only bare references stay as they are."""

import ast
import dataclasses
import re
from pathlib import Path
from typing import Any

import pytest
from django.utils import translation

from calcs.citations import OF_TABLES, cited
from calcs.engine import common
from calcs.engine.stacks import parts
from calcs.engine.standards import sources
from calcs.engine.standards.piers import footing_source
from calcs.engine.supports import Footing
from tests.calcs.engine import test_strap_spacing as straps
from tests.calcs.engine import test_supports as supports

BARE = re.compile(r"\d+ CFR [\d.]+(\(\w+\))*")  # a paragraph of a rule, and nothing else
ENGINE = Path(common.__file__).parent
OWN_PART = dataclasses.replace(parts.DEFAULT_PARTS[0], source=parts.GIVEN)
OWN_RULES = dataclasses.replace(parts.DEFAULT_RULES, shims_lb=0.7)
TABLES = [sources.source(path.stem) for path in sources.HERE.glob("*.toml")]
# What the engine's modules call the sources that they give.
NAMES = {"SOURCES", "LISTING_SOURCE", "NO_TABLE", "MEASURED", "SUNK", "ARITHMETIC", "_GIVEN"}


def _written(path: Path) -> set[str]:
    """Every source that stands in a module, whether by one of those names or beside what it is the source of."""
    found = set[ast.AST]()
    for node in ast.walk(ast.parse(path.read_text())):
        match node:
            case ast.Assign(targets=[ast.Name(id=name)]) if name in NAMES:
                found |= set(ast.walk(node.value))
            case ast.keyword(arg="source", value=ast.Constant()):
                found.add(node.value)
    return {node.value for node in found if isinstance(node, ast.Constant) and isinstance(node.value, str)}


def _sources() -> set[str]:
    found = {*parts.part_sources((*parts.DEFAULT_PARTS, OWN_PART))}
    found |= {*parts.rule_sources(parts.DEFAULT_RULES), *parts.rule_sources(OWN_RULES)}
    for path in ENGINE.rglob("*.py"):
        found |= _written(path)
    for table in TABLES:
        found |= {table.cited(), *table.oddities, *table.assumes}
    of_parts = tuple(part.source for part in (*parts.DEFAULT_PARTS, OWN_PART))  # told with the part before them
    return {source for source in found if not any(whole.startswith(source) for whole in of_parts)}


@pytest.mark.parametrize("source", sorted(_sources()))
def test_every_source_is_said_in_spanish(source: str) -> None:
    with translation.override("es"):
        assert BARE.fullmatch(source) or cited(source) != source
    with translation.override("en"):
        assert cited(source) == source


def test_the_words_in_a_tables_name_are_known_one_by_one() -> None:
    for table in TABLES:
        assert {table.title, table.edition, table.confidence} <= set(OF_TABLES)
        assert table.table in OF_TABLES or not re.search(r" (as|to|again) ", table.table)


FOOTINGS = (supports.PAD, Footing(length_in=12.0, width_in=12.0, thickness_in=6.0), None)
HOMES: list[dict[str, Any]] = [
    {},
    {"soil_class": None},
    {"bearing_psf": 2000.0},
    {"built_year": 1970},
    {"roof_psf": 50},
]


def _found() -> set[str]:
    """The sources of checks, as results have them: one, two with a semicolon between, or one behind another."""
    found = set[str]()
    for home in HOMES:
        for footing in FOOTINGS:
            for support in ({}, {"sunk": True}, {"rated_lb": 9000.0}):
                standing = supports.on("A", 2.0, 26.0, footing=footing, **support)
                found |= {check.source for one in supports.solve(standing, **home).supports for check in one.checks}
    for home in ({}, {"wind_zone": "II", "least_spacing_in": 48.0}, {"built_year": 1970}):
        found |= {check.source for check in straps.side(**home).checks}
    return found


def test_every_source_of_a_check_is_said_in_spanish() -> None:
    found = _found()
    assert f"{footing_source().cited()}; {sources.source('soils').cited()}" in found
    assert {"24 CFR", "area x", "no bea", "no fed", "the st", "the an"} <= {source[:6] for source in found}
    for source in found:
        with translation.override("en"):
            assert cited(source) == source
        with translation.override("es"):
            assert not {*cited(source).split("; ")} & {*source.split("; ")}, source


def test_the_sources_were_found() -> None:
    assert {"common practice, no source", "29 CFR 1926.651(b)", "shims_lb 0.7: given with the document"} <= _sources()
    assert len(_sources()) > 100
