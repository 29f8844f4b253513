"""Where figures come from is said in the reader's language; only bare references stay as they are."""

import dataclasses
import re
from pathlib import Path

import pytest
from django.utils import translation

from calcs.citations import cited
from calcs.engine import common, flatness, straps
from calcs.engine.levels import words as levels
from calcs.engine.lift import answer as lift
from calcs.engine.stacks import parts
from calcs.survey_page.progress import KIND_WORDS

BARE = re.compile(r"\d+ CFR [\d.]+(\(\w+\))*")  # a paragraph of a rule, and nothing else
ENGINE = Path(common.__file__).parent
OWN_PART = dataclasses.replace(parts.DEFAULT_PARTS[0], source=parts.GIVEN)
OWN_RULES = dataclasses.replace(parts.DEFAULT_RULES, shims_lb=0.7)


def _sources() -> set[str]:
    found = {*levels.SOURCES, *flatness.SOURCES, *lift.SOURCES, *straps.SOURCES}
    found |= {*parts.part_sources((*parts.DEFAULT_PARTS, OWN_PART))}
    found |= {*parts.rule_sources(parts.DEFAULT_RULES), *parts.rule_sources(OWN_RULES)}
    for path in ENGINE.rglob("*.py"):  # of cautions, which stand in no list
        if KIND_WORDS.keys() & {path.stem, *path.relative_to(ENGINE).parts}:
            found |= set(re.findall(r'^ +(?:.*\b)?source="([^"]+)"\)?,?$', path.read_text(), re.MULTILINE))
    of_parts = tuple(part.source for part in (*parts.DEFAULT_PARTS, OWN_PART))  # told with the part before them
    return {source for source in found if not any(whole.startswith(source) for whole in of_parts)}


@pytest.mark.parametrize("source", sorted(_sources()))
def test_every_source_is_said_in_spanish(source: str) -> None:
    with translation.override("es"):
        assert BARE.fullmatch(source) or cited(source) != source
    with translation.override("en"):
        assert cited(source) == source


def test_the_sources_were_found() -> None:
    assert {"common practice, no source", "29 CFR 1926.651(b)", "shims_lb 0.7: given with the document"} <= _sources()
    assert len(_sources()) > 40
