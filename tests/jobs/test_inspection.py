"""Findings at an inspection: the list of items, what a finding makes of a support, and figures to record."""

import re
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from rest_framework.test import APIClient

from jobs import inspection, inspection_words
from jobs.inspection_stops import open_stops
from jobs.models import Finding, Siting, StrapCheck, User, Visit
from tests.factories import NOON, DrainNodeFactory, VisitFactory, lay_out_home
from tests.jobs.inspecting import find, support_at

pytestmark = pytest.mark.django_db
FINDINGS = "/api/v1/findings/"


@pytest.fixture
def siting() -> Siting:
    return lay_out_home()


@pytest.fixture
def visit(siting: Siting, lead: User, crew: User) -> Visit:
    visit: Visit = VisitFactory(siting=siting, lead=lead)
    visit.crew.add(crew)
    return visit


# -- the list ------------------------------------------------------------------------------------------------------


def test_the_words_to_translate_are_those_of_the_list() -> None:
    for said, name in (("WORDS", "words"), ("LOOKS", "look"), ("SOURCES", "source")):
        listed = {getattr(item, name) for item in inspection.ITEMS.values()}
        assert set(getattr(inspection_words, said)) == listed


def test_every_item_says_where_it_is_from_and_fits_its_column() -> None:
    longest = Finding._meta.get_field("item").max_length
    assert longest is not None
    for code, item in inspection.ITEMS.items():
        assert len(code) <= longest
        assert re.search(r"\b24 CFR 3285\.\d+\b|common practice, no source|from memory", item.source), code
        assert item.look.endswith("."), code


def test_an_item_that_is_none_is_refused(siting: Siting, lead: User, api_for: Callable[[User], APIClient]) -> None:
    body = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "siting": str(siting.pk), "grade": "ok"}
    answer = api_for(lead).post(FINDINGS, body | {"item": "roof"})
    assert (answer.status_code, list(answer.json()["fields"])) == (400, ["item"])
    assert "belly" in answer.json()["fields"]["item"]
    taken = api_for(lead).post(FINDINGS, body | {"item": "belly"})
    assert (taken.status_code, taken.json()["item"]) == (201, "belly")
    with pytest.raises(ValidationError) as refused:
        Finding(siting=siting, author=lead, grade="ok", item="roof", noted_at=NOON).full_clean()
    assert refused.value.message_dict.keys() == {"item"}


def test_a_finding_is_about_a_drain_run_of_its_home(
    siting: Siting, lead: User, api_for: Callable[[User], APIClient]
) -> None:
    own, other = DrainNodeFactory(run__siting=siting).run, DrainNodeFactory().run
    body = {"noted_at": NOON.isoformat(), "siting": str(siting.pk), "grade": "fix", "text": "the hanger is loose"}
    refused = api_for(lead).post(FINDINGS, body | {"id": str(uuid.uuid4()), "drain_run": str(other.pk)})
    assert (refused.status_code, list(refused.json()["fields"])) == (400, ["drain_run"])
    taken = api_for(lead).post(FINDINGS, body | {"id": str(uuid.uuid4()), "drain_run": str(own.pk)})
    assert (taken.status_code, Finding.objects.get().drain_run) == (201, own)
    listed = api_for(lead).get(FINDINGS, {"drain_run": str(own.pk)}).json()["results"]
    assert [row["drain_run"] for row in listed] == [str(own.pk)]


# -- what a finding makes of a support -----------------------------------------------------------------------------


def test_a_worse_finding_holds_at_once_whoever_made_it(siting: Siting, crew: User) -> None:
    for number, grade in enumerate(("note", "fix", "stop")):
        find(siting, crew, grade, after_min=number)
        assert support_at(siting, "A1").condition == grade
    assert support_at(siting, "A2").condition == "ok"


@pytest.mark.parametrize(
    ("who", "text", "after"),
    [("crew", "two new blocks", "stop"), ("lead", "", "stop"), ("lead", "two new blocks", "ok")],
)
def test_only_a_lead_with_words_takes_a_support_back(
    siting: Siting, request: pytest.FixtureRequest, crew: User, *, who: str, text: str, after: str
) -> None:
    find(siting, crew, "stop")
    find(siting, request.getfixturevalue(who), "ok", text, after_min=5)
    assert support_at(siting, "A1").condition == after
    assert Finding.objects.count() == 2  # it is kept all the same


def test_what_comes_in_late_counts_when_it_was_noted(siting: Siting, crew: User, lead: User) -> None:
    find(siting, lead, "note", "two new blocks", after_min=30)
    find(siting, crew, "stop", after_min=10)  # noted before the lead's, and taken back by it
    assert support_at(siting, "A1").condition == "note"
    find(siting, crew, "fix", after_min=40)
    assert support_at(siting, "A1").condition == "fix"
    find(siting, lead, "ok", "swept clean", after_min=35)  # what came after it stands
    assert support_at(siting, "A1").condition == "fix"


def test_the_order_of_arrival_makes_no_difference(siting: Siting, crew: User, lead: User) -> None:
    notes = [(crew, "stop", "cracked", 0), (lead, "ok", "rebuilt", 10), (crew, "fix", "leans", 20)]
    for label, order in (("A1", (0, 1, 2)), ("A2", (2, 1, 0)), ("B1", (1, 2, 0)), ("B2", (2, 0, 1))):
        for who, grade, text, after_min in (notes[place] for place in order):
            find(siting, who, grade, text, after_min=after_min, point=siting.points.get(label=label))
        assert support_at(siting, label).condition == "fix", label


def test_the_change_of_a_condition_is_in_the_record(
    siting: Siting, crew: User, api_for: Callable[[User], APIClient], visit: Visit
) -> None:
    body = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "grade": "stop", "text": "cracked"}
    where = {"siting": str(siting.pk), "point": str(siting.points.get(label="A1").pk)}
    assert api_for(crew).post(FINDINGS, body | where).status_code == 201
    told = api_for(crew).get("/api/v1/changes/", {"thing": "home", "id": str(siting.home_id)}).json()
    newest = told["results"][0]
    assert newest["changes"][0]["fields"] == [
        {"field": "condition", "label": "condition", "before": "OK", "after": "stop"}
    ]


def test_what_stops_the_work_is_told_until_it_is_taken_back(siting: Siting, crew: User, lead: User) -> None:
    connection, strap = siting.connections.get(), siting.straps.get(code="T2")
    noted = {"author": crew, "noted_at": NOON}
    find(siting, crew, "stop", "cracked through")
    find(siting, crew, "note", "cobwebs", after_min=1)  # takes nothing back
    find(siting, crew, "stop", "hard pipe", connection=connection)
    find(siting, crew, "stop", "wet wire", item="wiring")
    find(siting, crew, "fix", "sags", item="belly")
    StrapCheck.objects.create(strap=strap, grade="stop", text="anchor pulled", **noted)
    assert [(stop.what, stop.text) for stop in open_stops(siting)] == [
        ("A1", "cracked through"),
        ("drain DR1", "hard pipe"),
        ("strap T2", "anchor pulled"),
        ("wiring and bonding", "wet wire"),
    ]
    find(siting, lead, "ok", "rebuilt", after_min=2)
    find(siting, crew, "ok", "", after_min=2, connection=connection)
    siting.straps.filter(code="T2").archive()
    assert [stop.what for stop in open_stops(siting)] == ["wiring and bonding"]


# -- figures -------------------------------------------------------------------------------------------------------


def test_figures_of_a_crew_wait_until_a_lead_records_them(
    siting: Siting, visit: Visit, crew: User, lead: User, api_for: Callable[[User], APIClient]
) -> None:
    support = support_at(siting, "A1")
    body = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "siting": str(siting.pk), "grade": "ok"}
    body |= {"point": str(support.point_id), "figures": {"gap_in": "3/8", "has_sunk": "yes"}}
    taken = api_for(crew).post(FINDINGS, body)
    assert (taken.status_code, taken.json()["figures"]) == (201, {"gap_in": "0.375", "has_sunk": "yes"})
    support.refresh_from_db()
    assert (support.gap_in, support.has_sunk) == (0, False)
    record = f"{FINDINGS}{body['id']}/record/"
    assert api_for(crew).post(record, {"version": support.version}).status_code == 403
    assert api_for(lead).post(record, {"version": support.version + 1}).status_code == 412
    assert api_for(lead).post(record, {"version": support.version}).status_code == 200
    support.refresh_from_db()
    assert (support.gap_in, support.has_sunk) == (Decimal("0.375"), True)
    again = api_for(crew).post(FINDINGS, body)
    assert again.status_code == 200  # the same, sent twice


@pytest.mark.parametrize(
    ("about", "figures", "field"),
    [
        ("point", {"colour": "red"}, "figures.colour"),
        ("point", {"gap_in": "-1/4"}, "figures.gap_in"),
        ("point", {"gap_in": "much"}, "figures.gap_in"),
        ("point", {"footing_length_in": "16"}, "figures.footing_length_in"),
        ("point", {"footing": "cheese"}, "figures.footing"),
        ("point", {"stack": "shims marble"}, "figures.stack"),
        ("connection", {"free_up_in": "1", "free_down_in": "1", "measured": "not_measured", "x": "1"}, "figures.x"),
        ("item", {"gap_in": "1"}, "figures"),
        ("mark", {"gap_in": "1"}, "figures"),
    ],
)
def test_figures_that_the_record_does_not_take_are_refused(
    siting: Siting, lead: User, api_for: Callable[[User], APIClient], *, about: str, figures: Any, field: str
) -> None:
    known = {
        "point": {"point": str(siting.points.get(label="A1").pk)},
        "mark": {"point": str(siting.points.get(label="BM1").pk)},
        "connection": {"connection": str(siting.connections.get().pk)},
        "item": {"item": "belly"},
    }
    body = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "siting": str(siting.pk), "grade": "ok"}
    answer = api_for(lead).post(FINDINGS, body | known[about] | {"figures": figures})
    assert (answer.status_code, list(answer.json()["fields"])) == (400, [field]), answer.json()
    assert not Finding.objects.exists()
    assert support_at(siting, "A1").version == 1
