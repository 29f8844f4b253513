"""The inspection's pure parts against the service's own: the order of a walk, words, figures, conditions, stacks."""

import datetime
import random
from collections.abc import Callable
from typing import Any, get_args

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from calcs.engine.stacks.parts import DEFAULT_PARTS, DEFAULT_RULES, SHIMS
from jobs.inspection_figures import OF_CONNECTION, OF_SUPPORT
from jobs.inspection_findings import note_finding
from jobs.inspection_walk import Kind, walk_of
from jobs.models import Condition, Finding, Hazard, Point, StrapCheck, Support, Visit
from jobs.models.attached import Connection, ConnectionKind, Strap
from jobs.models.layout import Footing, SupportKind, Tier
from jobs.part_words import PART_WORDS
from tests.factories import ConnectionFactory, DrainRunFactory, StrapFactory
from tests.surveys.field.conftest import UseModule
from tests.surveys.field.world import FieldWorld

WALK = "screens/inspect_walk"
WORDS = {  # functions of the page's words, and what they are held against
    "supportKinds": SupportKind,
    "footings": Footing,
    "tiers": Tier,
    "connectionKinds": ConnectionKind,
    "travelMeasured": Connection.Measured,
    "tensionMethods": StrapCheck.Method,
    "anchorKinds": Strap.AnchorKind,
    "hazardKinds": Hazard.Kind,
}


@pytest.mark.parametrize(("kind", "most"), [("strap", 200), ("support", 2000), ("home", 2000)])
def test_words_too_long_are_told_before_they_are_kept(module: UseModule, kind: str, most: int) -> None:
    """What the service would set aside is said on the phone, where nothing is cut off."""
    call = "(entry, { kind, text }) => entry.problemsOf({ kind, row: {} }, { grade: 'fix', text, figures: {} })"
    told = module("screens/inspect_entry", call, {"kind": kind, "text": "w" * (most - 1) + "\U0001f6a7\U0001f6a7"})
    assert told == [f"Give at most {most} characters, not {most + 1}."]
    assert module("screens/inspect_entry", call, {"kind": kind, "text": " " + "w" * (most - 1) + "\U0001f6a7"}) == []


@pytest.fixture
def world(field_world: Callable[..., FieldWorld]) -> FieldWorld:
    world = field_world()
    last = Point.objects.get(siting=world.siting, label="D5")
    first = Point.objects.get(siting=world.siting, label="A1")
    StrapFactory(siting=world.siting, point=last, code="S9")
    StrapFactory(siting=world.siting, point=first, code="S1")
    Support.objects.filter(
        point__siting=world.siting, point__label="B3"
    ).delete()  # a strap may hang where none stands
    StrapFactory(siting=world.siting, point=Point.objects.get(siting=world.siting, label="B3"), code="S4")
    ConnectionFactory(siting=world.siting, code="G1", kind="gas")
    DrainRunFactory(siting=world.siting, code="R1")
    return world


@pytest.fixture
def day(world: FieldWorld) -> dict[str, Any]:
    client = APIClient()
    client.force_authenticate(world.lead)
    answer = client.get("/api/v1/day/")
    assert answer.status_code == 200, answer.data
    told: dict[str, Any] = answer.json()
    return told


def test_the_walk_is_the_one_of_the_service(world: FieldWorld, day: dict[str, Any], module: UseModule) -> None:
    visit = Visit.objects.select_related("siting__home").get(pk=world.visit.pk)
    ours = [(place.kind, place.key) for place in walk_of(visit, unit="in").places]
    use = """(module, [day, visit]) => {
      const walk = module.walkOf(day.places[0], day.inspection_items, visit, []);
      return walk.things.map((thing) => [thing.kind, thing.id]);
    }"""
    theirs = module(WALK, use, [day, str(visit.pk)])
    assert [tuple(each) for each in theirs] == ours
    assert len(ours) == 48  # 19 supports, 5 straps, 2 connections, a drain run, 21 items: less would test too little


def test_what_was_found_and_what_is_open(world: FieldWorld, day: dict[str, Any], module: UseModule) -> None:
    a1, a2 = (str(Point.objects.get(siting=world.siting, label=label).pk) for label in ("A1", "A2"))
    visit = str(world.visit.pk)
    at = "2026-03-03T12:00:0{}Z".format
    rows = [
        {"id": "1", "visit": visit, "point": a1, "grade": "fix", "noted_at": at(1), "sequence": 1},
        {"id": "2", "visit": visit, "point": a1, "grade": "ok", "noted_at": at(2), "sequence": 2},
        {"id": "3", "visit": "another", "point": a2, "grade": "note", "noted_at": at(1), "sequence": 3},
        {"id": "4", "visit": visit, "item": "trees", "grade": "ok", "noted_at": at(1), "sequence": 4},
    ]
    use = """(module, [day, visit, rows, a1]) => {
      const walk = module.walkOf(day.places[0], day.inspection_items, visit, rows);
      const [first, strap, ...rest] = walk.things;
      const a2 = rest.find((thing) => thing.before);
      const last = walk.things.at(-1);
      return {
        found: first.found.map((row) => row.id),
        before: [a2.title, a2.before.id, a2.found.length],
        progress: module.progressOf(walk).map((part) => [part.kind, part.done, part.count]),
        next: [["", ""], ["support", a1], [last.kind, last.id]].map((after) => module.nextOpen(walk, ...after).id),
        strap: strap.id,
      };
    }"""
    told = module(WALK, use, [day, visit, rows, a1])
    assert told["found"] == ["2", "1"]
    assert told["before"] == ["A2", "3", 0]
    assert told["progress"] == [
        ["support", 1, 19],
        ["strap", 0, 5],
        ["connection", 0, 2],
        ["drain_run", 0, 1],
        ["item", 1, 21],
    ]
    assert told["next"] == [told["strap"]] * 3  # the strap at A1 comes next, and from the end the walk begins anew


def test_a_support_s_condition_is_told_as_the_service_keeps_it(world: FieldWorld, module: UseModule) -> None:
    chance = random.Random(7)  # noqa: S311 - not a secret
    asked, kept = [], []
    for support in Support.objects.filter(point__siting=world.siting).select_related("point"):
        rows = _found_at_random(chance, world, support)
        stood = chance.choice(Condition.values)
        Support.objects.filter(pk=support.pk).update(condition=stood)
        for row in rows:
            note_finding(row)
        told = [_as_row(row) for row in rows]
        asked.append([stood, told])
        kept.append(Support.objects.get(pk=support.pk).condition)
    use = """(module, [asked, lead]) => {
      const leads = (author) => author === lead;
      return asked.map(([stood, rows]) => module.conditionAfter(stood, rows, new Set(), leads));
    }"""
    assert module(WALK, use, [asked, str(world.lead.pk)]) == kept
    assert len(set(kept)) > 2


def _found_at_random(chance: random.Random, world: FieldWorld, support: Support) -> list[Finding]:
    now = timezone.now()
    return [
        Finding(
            siting=world.siting,
            point=support.point,
            grade=(grade := chance.choice(Condition.values)),
            text=chance.choice(["", "put right"]) if grade == "ok" else "seen",
            author=chance.choice([world.lead, world.crew]),
            noted_at=now + datetime.timedelta(minutes=number),
            sequence=number,
        )
        for number in range(chance.randint(0, 4))
    ]


def _as_row(row: Finding) -> dict[str, Any]:
    return {
        "id": str(row.pk),
        "grade": row.grade,
        "text": row.text,
        "author": str(row.author_id),
        "noted_at": row.noted_at.isoformat(),
        "sequence": row.sequence,
    }


def test_everything_is_called_what_the_service_calls_it(module: UseModule) -> None:
    use = """(module, [names, grades]) => ({
      ...Object.fromEntries(names.map((name) => [name, module[name]()])),
      grades: Object.fromEntries(grades.map((code) => [code, module.gradeWords(code)])),
    })"""
    told = module("screens/inspect_words", use, [[*WORDS, "partWords"], Condition.values])
    ours = {name: {value: str(label) for value, label in choices.choices} for name, choices in WORDS.items()}
    parts = {code: str(said) for code, said in PART_WORDS.items()}
    assert told == {**ours, "partWords": parts, "grades": {value: str(label) for value, label in Condition.choices}}


def test_kinds_of_things_and_their_figures_are_those_of_the_service(module: UseModule) -> None:
    figures = module("screens/inspect_entry", "(module) => module.FIGURES")
    assert list(figures) == ["support", "connection", "strap", "drain_run", "item"]
    assert set(figures) == set(get_args(Kind))
    assert set(figures["support"]) == set(OF_SUPPORT)
    assert figures["connection"] == list(OF_CONNECTION)


# -- stacks --------------------------------------------------------------------------------------------------------


ROOM = [  # courses, footing to beam, gap; what is left for the shims, and whether that can be
    ("shims plate_2x cap block block", 21.0, 0, 0.625, True),
    ("shims plate_2x cap block block", 21.0, 0.5, 0.125, False),
    ("shims block", 9.0, 0, 1.375, False),
    ("shims shims block", 9.0, 0, 1.375, True),
    ("plate_2x block", 9.25, 0, 0.125, True),
    ("plate_2x block", 9.5, 0, 0.375, False),
    ("block", None, 0, None, None),
]


def test_parts_are_as_high_as_the_engine_has_them_and_the_rest_is_shims(module: UseModule) -> None:
    use = """(module, cases) => ({
      heights: module.HEIGHTS_IN,
      shims: [module.SHIMS, module.SHIM_LEAST_IN, module.SHIM_MOST_IN],
      room: cases.map(([courses, height, gap]) => module.roomFor(courses.split(" "), height, gap)),
    })"""
    told = module("screens/inspect_stack", use, ROOM)
    assert told["heights"] == {part.code: part.height_in for part in DEFAULT_PARTS}
    assert told["shims"] == [SHIMS, DEFAULT_RULES.shim_least_in, DEFAULT_RULES.shim_most_in]
    assert [(room["left_in"], room["fits"]) for room in told["room"]] == [(left, fits) for *_, left, fits in ROOM]


def test_courses_go_in_at_the_mark_and_come_off_above_it(module: UseModule) -> None:
    use = """(module) => {
      let stack = { courses: [], mark: 0 };
      for (const part of ["shims", "cap", "block"]) stack = module.putPart(stack, part);
      stack = module.putPart(module.moveMark(stack, -2), "plate_2x");
      const put = structuredClone(stack);
      stack = module.takeOff(module.moveMark(stack, 9));
      return [put, stack, module.moveMark(stack, -9), module.takeOff({ courses: ["block"], mark: 0 })];
    }"""
    put, off, up, none = module("screens/inspect_stack", use)
    assert put == {"courses": ["shims", "plate_2x", "cap", "block"], "mark": 2}
    assert off == {"courses": ["shims", "plate_2x", "cap"], "mark": 3}
    assert up == {"courses": ["shims", "plate_2x", "cap"], "mark": 0}
    assert none == {"courses": ["block"], "mark": 0}
