"""What keeps a home from being lifted, who may go past it, and what warns: rule by rule."""

import datetime
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from jobs.assessing import (
    BLOCKS,
    Season,
    blocks_of,
    doors_words,
    open_blocks,
    override_block,
    problems_of,
    season_of,
    standing_assessment,
    warnings_of,
)
from jobs.errors import DomainError, Stale
from jobs.models import Assessment, BlockOverride, Finding, Hazard, Siting, StrapCheck, User
from tests.factories import (
    NOON,
    AssessmentFactory,
    BlockOverrideFactory,
    ConnectionFactory,
    HazardFactory,
    PointFactory,
    SitingFactory,
    StrapFactory,
    UserFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
DAY = datetime.date(2026, 3, 3)
WAIT = {"verdict": "wait", "reason": "the ground is frozen"}

# Written from what was decided: what is noted, the code it blocks with, whether nobody at all may go past it.
ASSESSED: list[tuple[dict[str, Any], str, bool]] = [
    ({"verdict": "engineer", "reason": "a bent beam"}, "verdict_engineer", True),
    ({"has_bent_beam": True}, "bent_beam", True),
    ({"has_tied_masonry": True}, "tied_masonry", True),
    ({"has_gas_question": True}, "gas", True),
    ({"has_standing_water": True}, "standing_water", True),
    ({"verdict": "decline", "reason": "too far gone"}, "verdict_decline", False),
    (WAIT, "verdict_wait", False),
    ({"has_active_leak": True}, "active_leak", False),
    ({"soil": "frozen"}, "frozen_soil", False),
    ({"soil": "swollen"}, "swollen_clay", False),
    ({"has_roof_snow": True}, "roof_snow", False),
    ({"has_wind_forecast": True}, "wind_forecast", False),
    ({"is_loan_pending": True}, "loan_pending", False),
    ({"siting__home__has_foundation_letter": True}, "foundation_letter", False),
    ({"land": "refused"}, "land_refused", False),
    ({"land": "not_asked"}, "land_not_asked", False),
]
HAZARDS = [
    ("gas_smell", "gas_smell", True),
    ("wiring", "bare_wiring", True),
    ("wet_ground", "wet_ground", False),
    ("soft_ground", "soft_ground", False),
]


def codes(assessment: Assessment) -> list[str]:
    return [block.code for block in open_blocks(assessment)]


def found(siting: Siting, **fields: Any) -> Finding:
    usual = {"grade": "stop", "text": "cracked through", "author": UserFactory(), "noted_at": NOON}
    row: Finding = Finding.objects.create(siting=siting, **usual | fields)
    return row


def test_every_code_is_tried_below() -> None:
    tried = {code for _noted, code, _absolute in ASSESSED} | {code for _kind, code, _absolute in HAZARDS}
    assert tried | {"stop_finding"} == BLOCKS.keys()


def test_a_home_with_nothing_in_the_way_has_no_block() -> None:
    assert blocks_of(AssessmentFactory()) == ()


@pytest.mark.parametrize(("noted", "code", "is_absolute"), ASSESSED, ids=lambda value: str(value)[:30])
def test_what_is_assessed_blocks_and_who_may_go_past_it(
    noted: dict[str, Any], code: str, is_absolute: bool, manager: User
) -> None:
    assessment = AssessmentFactory(**noted)
    (block,) = blocks_of(assessment)
    assert (block.code, block.is_absolute, block.override) == (code, is_absolute, None)
    goes_past(assessment, code, is_absolute=is_absolute, manager=manager)


@pytest.mark.parametrize(("kind", "code", "is_absolute"), HAZARDS)
def test_an_open_hazard_blocks_until_it_is_cleared(kind: str, code: str, is_absolute: bool, manager: User) -> None:
    assessment = AssessmentFactory()
    HazardFactory(kind=kind)  # at another home
    hazard = HazardFactory(home=assessment.siting.home, kind=kind)
    goes_past(assessment, code, is_absolute=is_absolute, manager=manager)
    hazard.cleared_at, hazard.cleared_by, hazard.cleared_why = timezone.now(), manager, "settled"
    hazard.save()
    assert blocks_of(assessment) == ()


def goes_past(assessment: Assessment, code: str, *, is_absolute: bool, manager: User) -> None:
    """Try to sign past the only block: nobody may where it is absolute, else it is open no more."""
    assert codes(assessment) == [code]
    if is_absolute:
        with pytest.raises(DomainError, match="Nobody goes past") as refused:
            override_block(assessment, code, manager, "it will do")
        assert (refused.value.status, set(refused.value.fields)) == (409, {"code"})
        assert codes(assessment) == [code]
        return
    signed = override_block(assessment, code, manager, " the owner wants it ")
    assert (signed.reason, signed.signed_by) == ("the owner wants it", manager)
    assert codes(assessment) == []
    assert [block.override for block in blocks_of(assessment)] == [signed]


@pytest.mark.parametrize("code", [code for _noted, code, absolute in [*ASSESSED, *HAZARDS] if absolute])
def test_a_signature_that_came_in_round_about_opens_no_absolute_block(code: str) -> None:
    noted: Any = next((noted for noted, one, _absolute in ASSESSED if one == code), {})
    assessment = AssessmentFactory(**noted)
    for kind, one, _absolute in HAZARDS:
        if one == code:
            HazardFactory(home=assessment.siting.home, kind=kind)
    BlockOverrideFactory(assessment=assessment, code=code)
    assert codes(assessment) == [code]


@pytest.mark.parametrize("kind", sorted(set(Hazard.Kind.values) - {kind for kind, _code, _absolute in HAZARDS}))
def test_other_hazards_are_told_at_visits_and_block_no_plan(kind: str) -> None:
    assessment = AssessmentFactory()
    HazardFactory(home=assessment.siting.home, kind=kind, text="behind the shed")
    assert blocks_of(assessment) == ()


# -- findings ------------------------------------------------------------------------------------------------


def test_a_thing_graded_stop_blocks_until_it_is_looked_at_again() -> None:
    assessment = AssessmentFactory()
    point = PointFactory(siting=assessment.siting, label="B4")
    found(assessment.siting, point=point)
    (block,) = blocks_of(assessment)
    assert (block.code, block.words, block.is_absolute) == (
        "stop_finding",
        "found and graded stop: B4: cracked through",
        False,
    )
    later = NOON + datetime.timedelta(days=1)
    found(assessment.siting, point=point, grade="ok", text="rebuilt", noted_at=later)
    assert blocks_of(assessment) == ()


def test_another_thing_or_another_home_answers_for_itself() -> None:
    assessment = AssessmentFactory()
    found(assessment.siting, point=PointFactory(siting=assessment.siting, label="B4"))
    later = NOON + datetime.timedelta(days=1)
    found(assessment.siting, point=PointFactory(siting=assessment.siting), grade="ok", noted_at=later)
    found(SitingFactory())
    assert codes(assessment) == ["stop_finding"]


def test_a_finding_on_the_home_as_a_whole_stands_until_it_is_archived() -> None:
    assessment = AssessmentFactory()
    one = found(assessment.siting, text="the porch hangs on it")
    found(assessment.siting, grade="ok", text="", noted_at=NOON + datetime.timedelta(days=1))
    assert "the porch hangs on it" in blocks_of(assessment)[0].words
    Finding.objects.filter(pk=one.pk).archive()
    assert blocks_of(assessment) == ()


def test_an_item_of_the_home_goes_by_its_newest_finding() -> None:
    assessment = AssessmentFactory()
    found(assessment.siting, item="belly")
    found(assessment.siting, item="belly", grade="note", noted_at=NOON + datetime.timedelta(days=1))
    assert blocks_of(assessment) == ()


def test_the_newest_check_of_a_strap_counts_too_and_an_archived_strap_does_not() -> None:
    assessment = AssessmentFactory()
    strap = StrapFactory(point=PointFactory(siting=assessment.siting), code="T3")
    noted = {"strap": strap, "author": UserFactory(), "text": "anchor pulled out"}
    StrapCheck.objects.create(grade="stop", noted_at=NOON, **noted)
    assert blocks_of(assessment)[0].words == "found and graded stop: T3: anchor pulled out"
    strap.archived_at = NOON
    strap.save()
    assert blocks_of(assessment) == ()


def test_many_findings_are_counted() -> None:
    assessment = AssessmentFactory()
    for n in range(5):
        found(assessment.siting, connection=ConnectionFactory(siting=assessment.siting, code=f"D{n}"))
    assert blocks_of(assessment)[0].words.endswith("D2: cracked through and 2 more")


def test_what_comes_in_after_the_signature_was_not_signed_for(manager: User) -> None:
    assessment = AssessmentFactory()
    found(assessment.siting)
    override_block(assessment, "stop_finding", manager, "it is the neighbor's")
    assert codes(assessment) == []
    found(assessment.siting, text="another one")
    assert codes(assessment) == ["stop_finding"]
    with pytest.raises(DomainError, match="assess anew"):
        override_block(assessment, "stop_finding", manager, "this one too")
    anew = AssessmentFactory(siting=assessment.siting)
    override_block(anew, "stop_finding", manager, "both are the neighbor's")
    assert codes(anew) == []


def test_blocks_take_as_many_queries_for_many_findings() -> None:
    counts = []
    assessment = AssessmentFactory(has_active_leak=True)
    for more in (1, 3):
        for _ in range(more):
            found(assessment.siting, point=PointFactory(siting=assessment.siting))
            HazardFactory(home=assessment.siting.home, kind="soft_ground")
        standing = standing_assessment(assessment.siting)
        assert standing is not None
        with CaptureQueriesContext(connection) as queries:
            blocks_of(standing)
        counts.append(len(queries))
    assert counts == [4, 4]  # findings, checks of straps, hazards, signatures


# -- signing -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("role", ["office", "lead", "crew"])
def test_only_the_manager_signs(role: str, request: pytest.FixtureRequest) -> None:
    assessment = AssessmentFactory(has_active_leak=True)
    with pytest.raises(DomainError) as refused:
        override_block(assessment, "active_leak", request.getfixturevalue(role), "because")
    assert (refused.value.status, BlockOverride.objects.count()) == (403, 0)


@pytest.mark.parametrize(
    ("code", "reason", "field", "status"),
    [
        ("active_leak", "", "reason", 400),
        ("active_leak", "  ", "reason", 400),
        ("active_leak", "x" * 501, "reason", 400),
        ("bad_mood", "because", "code", 400),
        ("roof_snow", "because", "code", 409),  # there is none
    ],
)
def test_a_signature_needs_a_reason_and_something_to_go_past(
    code: str, reason: str, field: str, status: int, manager: User
) -> None:
    assessment = AssessmentFactory(has_active_leak=True)
    with pytest.raises(DomainError) as refused:
        override_block(assessment, code, manager, reason)
    assert (list(refused.value.fields), refused.value.status) == ([field], status)
    assert not BlockOverride.objects.exists()


def test_a_block_is_signed_once(manager: User) -> None:
    assessment = AssessmentFactory(has_active_leak=True)
    override_block(assessment, "active_leak", manager, "because")
    with pytest.raises(DomainError, match="signed for already") as refused:
        override_block(assessment, "active_leak", manager, "because")
    assert refused.value.status == 409


def test_a_signature_is_for_the_assessment_as_it_was_read(manager: User) -> None:
    assessment = AssessmentFactory(has_active_leak=True)
    Assessment.objects.filter(pk=assessment.pk).update(evidence="the bath leaks on the beam")
    with pytest.raises(Stale):
        override_block(assessment, "active_leak", manager, "because")


def test_a_signature_is_for_the_assessment_that_counts_and_ends_with_it(manager: User) -> None:
    first = AssessmentFactory(has_active_leak=True)
    override_block(first, "active_leak", manager, "because")
    second = AssessmentFactory(siting=first.siting, has_active_leak=True)
    assert codes(second) == ["active_leak"]
    with pytest.raises(DomainError, match="newer assessment"):
        override_block(first, "active_leak", manager, "because")


def test_under_an_archived_home_nothing_is_signed(manager: User) -> None:
    assessment = AssessmentFactory(has_active_leak=True, siting__home__archived_at=NOON)
    with pytest.raises(DomainError, match="archived") as refused:
        override_block(assessment, "active_leak", manager, "because")
    assert (refused.value.status, BlockOverride.objects.count()) == (409, 0)


def test_the_database_takes_no_signature_without_a_reason_and_no_second_one() -> None:
    signed = BlockOverrideFactory()
    for fields in ({"code": "roof_snow", "reason": ""}, {"code": signed.code}):
        with pytest.raises(IntegrityError), transaction.atomic():
            BlockOverrideFactory(assessment=signed.assessment, **fields)


# -- which assessment counts, and what is one ------------------------------------------------------------------


def test_the_newest_day_counts_and_of_one_day_the_last_made() -> None:
    siting = SitingFactory()
    assert standing_assessment(siting) is None
    AssessmentFactory()  # elsewhere
    newest = AssessmentFactory(siting=siting)
    AssessmentFactory(siting=siting, assessed_on=DAY - datetime.timedelta(days=1))
    assert standing_assessment(siting) == newest
    last = AssessmentFactory(siting=siting)
    assert standing_assessment(siting) == last


def problems(**fields: Any) -> dict[str, str]:
    return problems_of(AssessmentFactory.build(siting=SitingFactory(), **fields))


def test_what_contradicts_itself_is_told_at_its_field() -> None:
    tomorrow = timezone.localdate() + datetime.timedelta(days=1)
    assert problems() == {}
    assert list(problems(assessed_on=tomorrow)) == ["assessed_on"]
    assert list(problems(**WAIT, wait_until=DAY)) == ["wait_until"]
    assert problems(**WAIT, wait_until=DAY + datetime.timedelta(days=1)) == {}
    assert list(problems(cause="water", water="none")) == ["water"]
    assert problems(cause="water", water="cured") == {}
    assert list(problems(visit=VisitFactory())) == ["visit"]


@pytest.mark.parametrize(
    ("fields", "name"),
    [
        ({"evidence": ""}, "assessment_cause_has_evidence"),
        ({"verdict": "decline"}, "assessment_no_has_a_reason"),
        ({"wait_until": DAY}, "assessment_waits_when_it_says_until"),
    ],
)
def test_the_database_holds_what_an_assessment_needs(fields: dict[str, Any], name: str) -> None:
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        AssessmentFactory(**fields)
    AssessmentFactory(cause="unknown", evidence="")


# -- warnings ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("month", "season"),
    [
        *((12, "winter"), (1, "winter"), (2, "winter"), (3, "spring"), (5, "spring")),
        *((6, "summer"), (8, "summer"), (9, "fall"), (11, "fall")),
    ],
)
def test_seasons_go_by_whole_months(month: int, season: str) -> None:
    """Meteorological seasons of the northern hemisphere, as the US weather service has them (from memory)."""
    assert season_of(datetime.date(2026, month, 1)) == season
    assert len(Season) == 4


CLAY = {"siting__home__soil_class": "4B"}
WARNED: list[tuple[dict[str, Any], str]] = [
    ({"water": "not_cured"}, "The water is not mended"),
    (CLAY | {"soil": "dry"}, "Clay at an extreme (dry)"),
    (CLAY | {"soil": "wet"}, "Clay at an extreme (wet)"),
    ({"cause": "clay", "soil": "dry"}, "Clay at an extreme (dry)"),
    ({"soil": "swollen"}, "Clay at an extreme (clay at its swollen peak)"),
    ({"doors_windows": "not_tested"}, "'Within' needs doors and windows tested"),
    (WAIT | {"wait_until": DAY + datetime.timedelta(days=7)}, "The wait is over"),
]


@pytest.mark.parametrize(("noted", "begins"), WARNED, ids=lambda value: str(value)[:30])
def test_what_warns_without_blocking(noted: dict[str, Any], begins: str) -> None:
    (warning,) = warnings_of(AssessmentFactory(**noted), DAY + datetime.timedelta(days=7))
    assert warning.startswith(begins)


@pytest.mark.parametrize("noted", [{}, CLAY, {"cause": "clay"}, {"soil": "dry"}, {"water": "cured"}])
def test_what_needs_no_warning(noted: dict[str, Any]) -> None:
    assert warnings_of(AssessmentFactory(**noted), DAY) == ()


def test_in_another_season_it_is_time_to_look_again() -> None:
    (warning,) = warnings_of(AssessmentFactory(), datetime.date(2026, 6, 1))
    assert warning == "Soil, snow and wind are as of 3 Mar 2026; now it is summer: look again."


def test_the_wait_ends_on_its_day() -> None:
    until = DAY + datetime.timedelta(days=7)
    assessment = AssessmentFactory(**WAIT, wait_until=until)
    assert warnings_of(assessment, until - datetime.timedelta(days=1)) == ()
    assert codes(assessment) == ["verdict_wait"]  # until somebody assesses anew


def test_untested_doors_are_told_where_nobody_has_assessed_too() -> None:
    told = "'Within' needs doors and windows tested: they were not."
    assert doors_words(None) == told
    assert doors_words(AssessmentFactory(doors_windows="not_tested")) == told
    assert doors_words(AssessmentFactory(doors_windows="work")) == ""
    assert doors_words(AssessmentFactory(doors_windows="stick")) == ""
