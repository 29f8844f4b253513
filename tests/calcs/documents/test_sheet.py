"""The crew's sheet: every number on it is a stored calculation's, and its mark tells whether it may be built."""

import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import pytest
from django.utils import translation

from calcs import chain
from calcs.documents.blocks import Beside, Cards, List, Note, Paper, Section, Table
from calcs.engine.passes import PassHanging, PassStop
from calcs.engine.units import format_sixteenths, parse_length
from calcs.models import Plan
from calcs.sheet_page import passes as passes_part
from calcs.sheet_page import safety, sheet_of
from calcs.sheet_page import supports as supports_part
from calcs.sheet_page.known import read_known
from calcs.sheet_page.loading import IN3_PER_FT3, loads_of, pad_side_in
from jobs.cautions import CAUTIONS, Moment, told
from jobs.models import Company, Hazard, Home, RuleSet, Strap, StrapCheck, Support, User
from surveys.models import Survey
from tests.calcs.documents.planned import approved, furnished, planned, read_downwards
from tests.calcs.working import check, label_to_key, leave_out, standing, submit, work_off
from tests.factories import NOON, CautionReadFactory, CompanyFactory, VisitFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan(db: None) -> Plan:
    return planned()


def sheet(plan: Plan, *, unit: str = "in", language: str = "en") -> Paper:
    beside = ("lift", "survey__siting__home__rule_set", "survey__author")
    with translation.override(language):
        return sheet_of(Plan.objects.select_related(*beside).get(pk=plan.pk), unit=unit, language=language)


def section(paper: Paper, key: str) -> Section:
    return next(each for each in paper.sections if each.key == key)


def tables(part: Section) -> Iterator[Table]:
    for block in part.blocks:
        if isinstance(block, Table):
            yield block
        elif isinstance(block, Beside):
            yield from block.tables


def words(table: Table) -> list[list[str]]:
    return [[cell.words for cell in row] for row in table.rows]


def said(part: Section) -> str:
    """All that lists, notes and paragraphs of a section say."""
    told = []
    for block in part.blocks:
        if isinstance(block, List):
            told += [f"{item.title} {item.words} {item.more}" for item in block.items]
        elif not isinstance(block, Table | Beside | Cards):
            told.append(getattr(block, "words", ""))
    return " | ".join(map(str, told))


# -- numbers to read ----------------------------------------------------------------------------------------------


def test_every_number_to_read_is_the_stored_one(plan: Plan) -> None:
    labels = {key: label for label, key in label_to_key(plan.survey).items()}
    result = check(plan, "passes").result
    heights = {each["point"]: each["height_in"] for each in standing(plan.survey, "levels").result["heights"]}
    mark_in = heights[label_to_key(plan.survey)["BM1"]]
    found = list(tables(section(sheet(plan), "passes")))
    groups, numbers = found[0::2], found[1::2]
    assert len(numbers) == len(result["passes"]) >= 2
    for table, stored in zip(numbers, result["passes"], strict=True):
        expected = [
            [
                labels[each["code"]],
                format_sixteenths(each["read_in"]),
                format_sixteenths(each["frame_in"] - mark_in, signed=True),
            ]
            for each in stored["numbers"]
        ]
        assert [row[:3] for row in words(table)] == expected
    for table, stored in zip(groups, result["passes"], strict=True):
        steps = [step for group in stored["groups"] for step in group]
        assert [row[1] for row in words(table)] == [labels[step["code"]] for step in steps]
        assert [row[3] for row in words(table)] == [f"{step['jack_lb']:,.0f}" for step in steps]
        ways = [("up " if step["by_in"] > 0 else "down ") + format_sixteenths(abs(step["by_in"])) for step in steps]
        assert [row[2].removesuffix("\u00a0in") for row in words(table)] == ways


@pytest.mark.parametrize("sense", ["up", "down"])
def test_a_level_set_up_anew_gives_the_same_height(sense: str) -> None:
    """The mark as read now, plus the figure where bigger is higher, less it where bigger is lower."""
    survey = furnished()
    if sense == "down":
        read_downwards(survey)
    plan = planned(survey)
    asked = check(plan, "passes").input["setup"]
    assert asked["sense"] == sense
    heights = {each["point"]: each["height_in"] for each in standing(plan.survey, "levels").result["heights"]}
    mark_in = heights[label_to_key(plan.survey)["BM1"]]
    line_in = asked["line_height_in"]
    mark_reads = mark_in - line_in if sense == "up" else line_in - mark_in
    for stored in check(plan, "passes").result["passes"]:
        for number in stored["numbers"]:
            from_mark = number["frame_in"] - mark_in
            assert number["read_in"] == pytest.approx(mark_reads + (from_mark if sense == "up" else -from_mark))
    facts = dict(next(block.rows for block in section(sheet(plan), "passes").blocks if block.kind == "facts"))
    shown = "higher" if sense == "up" else "lower"
    assert facts["setup S2"] == f"bigger is {shown}; BM1 reads {format_sixteenths(mark_reads)} there"
    assert facts["bigger is higher"] == "number = BM1 as read now plus “from BM1”"
    assert facts["bigger is lower"] == "number = BM1 as read now less “from BM1”"


@pytest.mark.parametrize("sense", ["up", "down"])
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_what_a_row_says_adds_up_whatever_is_rounded(plan: Plan, sense: str, unit: str) -> None:
    """The mark as it reads there plus “from” it, or less it, is the number to read: to the last figure shown."""
    known = read_known(plan, unit=unit)
    setup = replace(known.passes_input.setup, sense=sense, line_height_in=-20.0 + 0.7 / 16)  # all ends in odd bits
    line = {"up": 1.0, "down": -1.0}[sense]
    first = known.passes.passes[0]
    numbers = tuple(
        replace(
            one, frame_in=one.frame_in + 0.4 / 16 * n, read_in=line * (one.frame_in + 0.4 / 16 * n + 20 - 0.7 / 16)
        )
        for n, one in enumerate((*first.numbers, *first.numbers), start=1)
    )
    known.__dict__["passes_input"] = replace(known.passes_input, setup=setup)
    known.__dict__["passes"] = replace(known.passes, passes=(replace(first, numbers=numbers),))
    part = passes_part.passes_section(known)
    (mark,) = [
        says.rsplit(" reads ", 1)[1].removesuffix(" there")
        for block in part.blocks
        if block.kind == "facts"
        for _word, says in block.rows
        if " reads " in says
    ]
    rows = words(list(tables(part))[1])
    assert len(rows) == len(numbers) >= 4
    least_in = 1 / 16 if unit == "in" else 0.1 / 25.4
    for row, number in zip(rows, numbers, strict=True):
        mark_in, read_in, from_in = (float(parse_length(shown, unit=unit)) for shown in (mark, row[1], row[2]))
        assert mark_in + line * from_in == pytest.approx(read_in, abs=1e-5)
        assert from_in == pytest.approx(number.frame_in - known.reference[1], abs=least_in)


@pytest.mark.parametrize(
    ("move_in", "change_in", "expected"),
    [
        (0.1875, 0.375, "hangs 3/16 in below the frame: its support goes up by 3/8 in, the gap first."),
        (-0.375, -0.1875, "hangs 3/16 in below the frame: its support goes down by 3/16 in only."),
        (-0.25, 0.0, "hangs 1/4 in below the frame, which comes down onto it: its support stays."),
        (0.25, 0.25, ""),
        (0.0, 0.25, ""),  # it is snugged, which says so
    ],
)
def test_a_support_that_hangs_says_how_it_goes_itself(
    plan: Plan, move_in: float, change_in: float, expected: str
) -> None:
    """What the plan moves is the frame; the passes tell how far the support goes, the gap with it."""
    known = read_known(plan, unit="in")
    first = next(move for move in known.option.moves if move.move_in)
    moved = replace(first, move_in=move_in, support_change_in=change_in)
    known.__dict__["option"] = replace(known.option, moves=(moved,))
    (card,) = supports_part.supports_section(known).blocks[0].cards
    lines = [line.replace("\u00a0", " ") for line in card.lines if "hangs" in line]
    assert lines == ([f"{known.record.name(first.code)} {expected}"] if expected else [])
    assert ("below the frame" in said(passes_part.passes_section(known))) is bool(expected)


def test_who_hangs_after_a_pass_is_told_what_to_do(plan: Plan) -> None:
    known, keys = read_known(plan, unit="in"), label_to_key(plan.survey)
    first, *others = known.passes.passes
    advice = (PassHanging(code=keys["A2"], advice="snug_now"), PassHanging(code=keys["B1"], advice="leave"))
    known.__dict__["passes"] = replace(known.passes, passes=(replace(first, hanging_advice=advice), *others))
    told = said(passes_part.passes_section(known))
    assert "A2 hangs after this pass: snug it now." in told
    assert "B1 hangs after this pass: leave it, it bears again after the last pass." in told


def test_what_no_pass_tells_of_has_its_height(db: None) -> None:
    survey = leave_out(furnished(), ["A3"])  # so that the line of A tells no loads
    plan = planned(submit(survey))
    keys = label_to_key(survey)
    move = next(
        m
        for o in plan.lift.result["options"]
        if o["name"] == plan.option
        for m in o["moves"]
        if m["code"] == keys["A1"]
    )
    heights = {each["point"]: each["height_in"] for each in standing(survey, "levels").result["heights"]}
    below_in = heights[keys["BM1"]] - move["to_in"]
    ends = list(tables(section(sheet(plan), "passes")))[-1]
    row = next(row for row in words(ends) if row[0] == "A1")
    assert row[2] == f"{format_sixteenths(below_in)}\u00a0in below BM1"


def test_without_any_order_the_sheet_says_stop(plan: Plan) -> None:
    plan.checks.filter(kind="passes").delete()
    part = section(sheet(plan), "passes")
    assert any(
        isinstance(block, Note) and block.is_stop and "No order of jacking" in block.words for block in part.blocks
    )
    assert [row[0] for row in words(next(tables(part)))] == ["A1"]
    assert "no jack's load is told" in said(section(sheet(plan), "loading"))


# -- what is loaded -----------------------------------------------------------------------------------------------


def test_pads_are_large_enough_for_the_hardest_jack(plan: Plan) -> None:
    steps = [step for each in check(plan, "passes").result["passes"] for group in each["groups"] for step in group]
    known = read_known(plan, unit="in")
    side_in = pad_side_in(known)
    assert side_in is not None
    needed_in2 = max(step["pad_in2"] for step in steps)
    assert (side_in - 1) ** 2 < needed_in2 <= side_in**2
    assert f"1 pad of at least {side_in} by {side_in} in" in said(section(sheet(plan), "loading"))
    pad = next(load for load in loads_of(known) if load.words.startswith("pad"))
    # Softwood at 35 lb a cubic foot (common practice, no source), 3 in thick.
    assert pad.each_lb == pytest.approx(side_in**2 * 3 / IN3_PER_FT3 * 35)


def test_a_pad_is_not_guessed_where_a_support_has_sunk(db: None) -> None:
    survey = furnished()
    Home.objects.filter(pk=survey.siting.home_id).update(soil_class="unknown")
    Support.objects.filter(point__siting=survey.siting, point__label="A1").update(has_sunk=True)
    plan = planned(Survey.objects.select_related("siting__home").get(pk=survey.pk))
    part = section(sheet(plan), "loading")
    assert any(isinstance(block, Note) and block.is_stop and "is not known" in block.words for block in part.blocks)
    assert "leave room for it" in said(part)


def test_weights_add_up_and_are_held_against_the_truck(plan: Plan) -> None:
    table = next(tables(section(sheet(plan), "loading")))
    *rows, total = words(table)
    loads = loads_of(read_known(plan, unit="in"))
    assert [(row[0], row[1]) for row in rows] == [(load.words, str(load.count)) for load in loads]
    total_lb = sum(load.count * load.each_lb for load in loads)
    assert total[2] == f"{total_lb:,.0f}"
    stacks = check(plan, "stacks").result["totals"]
    assert {row[1] for row in rows} >= {str(count) for count in stacks.values() if count}
    assert "of the 1,500 lb that the truck may carry" in said(section(sheet(plan), "loading"))
    rules = RuleSet.objects.create(name="small truck", source="its door", values={"truck_payload_lb": 300})
    CompanyFactory(rule_set=rules)
    part = section(sheet(plan), "loading")
    trips = math.ceil(total_lb / 300)
    assert any(
        isinstance(block, Note) and block.is_stop and f"{trips} trips, or a larger truck" in block.words
        for block in part.blocks
    )
    assert Company.objects.count() == 1


# -- what is attached, supports -----------------------------------------------------------------------------------


def test_straps_drains_and_connections_are_those_that_were_computed(plan: Plan) -> None:
    paper = sheet(plan)
    assert "drain DR1" in said(section(paper, "free"))
    trade = next(block.words for block in section(paper, "free").blocks if block.kind == "heading")
    assert trade == "By: licensed plumber"
    codes = {str(strap.pk): strap.code for strap in plan.survey.siting.straps.all()}
    stored = {codes[each["code"]]: each for each in check(plan, "straps").result["straps"]}
    rows = {row[0]: row for row in words(next(tables(section(paper, "straps"))))}
    assert {code for code, each in stored.items() if each["handling"] != "leave"} == set(rows)
    loosened = next(code for code, each in stored.items() if each["handling"] == "loosen_first")
    assert rows[loosened][2] == f"{format_sixteenths(stored[loosened]['slack_needed_in'])}\u00a0in"
    assert f"{stored[loosened]['wraps_after']:.1f} wraps on it" in rows[loosened][4]
    segments = check(plan, "drains").result["runs"][0]["segments"]
    assert [row[2] for row in words(next(tables(section(paper, "drains"))))] == [
        f"{each['slope_after_in_per_ft']:.2f}\u00a0in"
        for each in segments  # not sixteenths: the limit is 1/4 in
    ]


def test_every_touched_support_has_its_stack_from_the_top_down(plan: Plan) -> None:
    (block,) = section(sheet(plan), "supports").blocks
    assert isinstance(block, Cards)
    keys = label_to_key(plan.survey)
    stacks = {each["code"]: each for each in check(plan, "stacks").result["supports"]}
    assert {keys[card.title.split(":")[0]] for card in block.cards} == set(stacks)
    for card in block.cards:
        stack = stacks[keys[card.title.split(":")[0]]]
        assert card.svg.count("<text") >= len(stack["stack"])
        assert format_sixteenths(stack["shim_in"]) in dict(card.facts)["from the top"]


# -- hazards, cautions, names -------------------------------------------------------------------------------------


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_caution_stands_under_its_moment(plan: Plan, language: str) -> None:
    part = section(sheet(plan, language=language), "cautions")
    under: dict[str, str] = {}
    for block in part.blocks:
        if block.kind == "heading":
            heading = block.words
        elif isinstance(block, List):
            under[heading] = " ".join(item.words for item in block.items)
    with translation.override(language):
        for caution in CAUTIONS.values():
            for moment in caution.moments:
                assert translation.gettext(caution.text) in under[str(Moment(moment).label)]


def test_hazards_and_who_has_read_what_stand_on_it_by_name(plan: Plan, lead: User) -> None:
    visit = VisitFactory(siting=plan.survey.siting, kind="releveling", lead=lead)
    with translation.override("en"):
        known = read_known(plan, unit="in")
        assert known.visit == visit
    CautionReadFactory(
        visit=visit,
        code="carrying",
        moment="loading",
        reader_name=str(lead),
        text_sha256=told("carrying", "en").text_sha256,
    )
    paper = sheet(plan)
    assert "dog behind the shed" in said(section(paper, "hazards"))
    table = next(tables(section(paper, "read")))
    assert table.heads[1].words == str(lead)
    assert {row[0]: row[1] for row in words(table) if row[1]} == {"before loading": "read"}
    Hazard.objects.all().delete()
    assert "No hazard is open." in said(section(sheet(plan), "hazards"))


def test_stops_of_the_passes_come_first(plan: Plan) -> None:
    known = read_known(plan, unit="in")
    key = label_to_key(plan.survey)["A1"]
    text = f"{key} goes further than 0.5 in in all: an engineer decides first"
    known.__dict__["passes"] = replace(known.passes, stops=(PassStop(code=key, text=text),))
    first = safety.stops_section(known).blocks[0]
    assert isinstance(first, Note)
    assert first.is_stop
    assert first.words == "A1: A1 goes further than 0.5 in in all: an engineer decides first"


# -- the mark -----------------------------------------------------------------------------------------------------


def marks(plan: Plan) -> tuple[str, str]:
    paper = sheet(plan)
    return paper.mark, " ".join(note.words for note in paper.notes)


def test_a_plan_that_nobody_approved_says_so(plan: Plan) -> None:
    assert marks(plan) == ("NOT APPROVED", "NOT APPROVED: to look at only. Nothing is built from this sheet.")


def test_an_approved_plan_names_number_and_person(plan: Plan, manager: User) -> None:
    approved(plan, manager, number=3, reason="engineer agreed")
    mark, notes = marks(plan)
    assert mark == "Approved, number 3"
    assert f"Approval number 3 by {manager}" in notes
    assert "engineer agreed" in notes
    assert sheet(plan).date == plan.approvals.get().approved_at.date()


def test_readings_that_came_later_make_it_stale_and_take_the_numbers_away(plan: Plan, manager: User) -> None:
    approved(plan, manager)
    submit(Survey.objects.get(pk=plan.survey_id))
    assert marks(plan)[0] == "STALE"
    survey = leave_out(Survey.objects.get(pk=plan.survey_id), ["C2"])
    work_off(chain.ask(submit(survey).pk).new)
    assert not Plan.objects.current().filter(pk=plan.pk).exists()
    paper = sheet(plan)
    assert paper.mark == "STALE"
    assert any("STALE" in note.words and note.is_stop for note in paper.notes)
    assert {"passes", "supports", "loading", "map"}.isdisjoint(each.key for each in paper.sections)


def test_a_changed_record_makes_it_stale(plan: Plan, manager: User) -> None:
    approved(plan, manager)
    Home.objects.filter(pk=plan.survey.siting.home_id).update(wall_finish="plaster")
    assert marks(plan)[0] == "STALE"


def test_work_that_has_begun_makes_no_sheet_stale_though_it_changes_the_record(plan: Plan, manager: User) -> None:
    """On the second day the crew prints the sheet again: straps are loose by then, and supports stand elsewhere."""
    approval = approved(plan, manager)
    strap = Strap.objects.filter(siting=plan.survey.siting).first()
    Strap.objects.filter(pk=strap.pk).update(slack_in="0.25")
    assert marks(plan)[0] == "STALE"
    usual = {"author": manager, "noted_at": approval.approved_at + timedelta(hours=1), "grade": "note"}
    StrapCheck.objects.create(strap=strap, slack_in="0.25", text="loosened", **usual)
    assert marks(plan)[0] == "Approved, number 1"
    assessment = approval.assessment
    assessment.water = "not_cured"
    assessment.save()
    assert marks(plan)[0] == "STALE"


def test_a_withdrawn_approval_is_none(plan: Plan, manager: User) -> None:
    approved(plan, manager, withdrawn_at=plan.created_at, withdrawn_by=manager, withdrawn_why="rain")
    mark, notes = marks(plan)
    assert mark == "NOT APPROVED"
    assert "rain" in notes


def test_a_changed_assessment_makes_an_approval_stale(plan: Plan, manager: User) -> None:
    assessment = approved(plan, manager).assessment
    assessment.water = "not_cured"
    assessment.save()
    assert marks(plan)[0] == "STALE"


def test_papers_that_are_missing_on_the_day_of_the_visit_are_said(plan: Plan, manager: User) -> None:
    approved(plan, manager)
    assert "Not to start" not in marks(plan)[1]
    VisitFactory(siting=plan.survey.siting, kind="releveling", starts_at=NOON, ends_at=NOON + timedelta(hours=8))
    CompanyFactory(licence_number="L 1", licence_expires_on=NOON.date() - timedelta(days=1))
    assert "Not to start on 3 Mar 2026: " in marks(plan)[1]
    Company.objects.update(licence_expires_on=NOON.date())
    before = marks(plan)[1].count("Not to start")
    Company.objects.update(licence_expires_on=NOON.date() - timedelta(days=1))
    assert marks(plan)[1].count("Not to start") == before + 1


def test_millimetres_for_those_who_chose_them(plan: Plan) -> None:
    stored = check(plan, "passes").result["passes"][0]["numbers"][0]["read_in"]
    shown = words(list(tables(section(sheet(plan, unit="mm"), "passes")))[1])[0][1]
    assert float(shown) == pytest.approx(stored * 25.4, abs=0.051)
