"""What the engine is asked: readings, layout and rules as they stand, floats only here."""

import datetime
import hashlib
import json
import math
from decimal import Decimal
from typing import Any

import pytest

from calcs import snapshots
from calcs.engine.levels import LevelHeight, LevelsInput, LevelsResult
from calcs.engine.lift import LiftMove, LiftOption
from calcs.engine.stacks import solve_stacks
from calcs.engine.strap_spacing import solve_strap_spacing
from jobs.models import Connection, DrainNode, DrainRun, Home, NeighbourPair, Point, Strap, Support
from jobs.rulebook import RULES
from surveys.models import Method, Reading, Setup, Survey
from tests.calcs.working import label_to_key, read_survey
from tests.factories import CompanyFactory, RuleSetFactory, SetupFactory, SurveyFactory, make_reading

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(db: None) -> Survey:
    return read_survey()


@pytest.fixture
def keys(survey: Survey) -> dict[str, str]:
    return label_to_key(survey)


def record(survey: Survey) -> snapshots.Record:
    return snapshots.Record(Survey.objects.get(pk=survey.pk))


def heights_of(codes: list[str], *, covariance: bool = True) -> LevelsResult:
    """Heights 0, 1, 2 ... and a covariance whose entries tell their row and column."""
    size = range(len(codes))
    return LevelsResult(
        heights=tuple(
            LevelHeight(point=code, height_in=float(n), sd_in=0.5, sd_posterior_in=None)
            for n, code in enumerate(codes)
        ),
        setups=(),
        readings=(),
        datum=(),
        degrees_of_freedom=0,
        reference_sd=None,
        global_test=None,
        points=tuple(codes),
        covariance_in2=tuple(tuple(float(10 * row + column) for column in size) for row in size)
        if covariance
        else None,
        engine_version="1.0.0",
        sources=(),
        cautions=(),
        warnings=(),
    )


def option_of(moves: dict[str, tuple[float, float]]) -> LiftOption:
    """An option from moves and support changes by point."""
    return LiftOption(
        name="least_work",
        status="optimal",
        minutes=1.0,
        bound_min=1.0,
        moves=tuple(
            LiftMove(code=code, move_in=move, support_change_in=change, from_in=0.0, to_in=move)
            for code, (move, change) in moves.items()
        ),
        touched=len(moves),
        freed=(),
        raised_max_in=1.0,
        lowered_max_in=0.0,
        worst_pair=None,
        range_in=0.0,
        excess_in=None,
        binding=(),
    )


# -- levels


def test_levels_holds_every_standing_reading_in_the_order_received(survey: Survey) -> None:
    document = snapshots.levels_input(record(survey))
    rows = list(Reading.objects.filter(survey=survey))
    assert [reading.id for reading in document.readings] == [str(row.pk) for row in rows]
    assert [reading.value_in for reading in document.readings] == [float(row.value_in or 0) for row in rows]
    assert document.readings[0].taken_at == "2026-03-03T12:00:00+00:00"
    assert document.datum == ()
    assert document.covariance
    assert (document.alpha, document.power, document.confidence) == (0.001, 0.8, 0.95)


def test_levels_takes_the_newest_of_a_chain_and_leaves_out_what_was_withdrawn(survey: Survey) -> None:
    first, second = Reading.objects.filter(survey=survey)[:2]
    newer = make_reading(setup=first.setup, point=first.point, value_in="9.5", replaces=first, reason="read again")
    make_reading(setup=second.setup, point=second.point, value_in=None, replaces=second, reason="wrong point")
    ids = {reading.id for reading in snapshots.levels_input(record(survey)).readings}
    assert str(newer.pk) in ids
    assert not {str(first.pk), str(second.pk)} & ids


def test_levels_leaves_out_a_setup_that_nothing_was_read_from(survey: Survey) -> None:
    SetupFactory(survey=survey, code="S9")
    used = Setup.objects.filter(survey=survey).exclude(code="S9")
    assert {setup.code for setup in snapshots.levels_input(record(survey)).setups} == {
        str(setup.pk) for setup in used
    }


@pytest.mark.parametrize(
    ("method", "sd_in"),
    [
        (Method.WATER_LEVEL, 0.0625),
        (Method.PLAIN_TUBE, 0.0625 * math.sqrt(2)),
        (Method.HYDROSTATIC, 0.05),
        (Method.LASER, 0.09),
    ],
)
def test_levels_takes_the_sd_of_the_method_from_the_rule_book(method: str, sd_in: float) -> None:
    survey = SurveyFactory(method=method)
    make_reading(setup=SetupFactory(survey=survey), point=_point(survey))
    assert snapshots.levels_input(record(survey)).setups[0].reading_sd_in == pytest.approx(sd_in, abs=1e-15)


def test_levels_prefers_the_sd_of_the_setup_to_the_surveys_and_both_to_the_rule_book() -> None:
    survey = SurveyFactory(reading_sd_in=Decimal("0.04"))
    for code, own in (("S1", None), ("S2", Decimal("0.02"))):
        setup = SetupFactory(survey=survey, code=code, reading_sd_in=own, sense="down", has_drift=True)
        make_reading(setup=setup, point=_point(survey))
    setups = snapshots.levels_input(record(survey)).setups
    assert [(setup.reading_sd_in, setup.sense, setup.drift) for setup in setups] == [
        (0.04, "down", True),
        (0.02, "down", True),
    ]


def test_levels_of_an_empty_survey_is_an_empty_document() -> None:
    document = snapshots.levels_input(record(SurveyFactory()))
    assert (document.setups, document.readings) == ((), ())


# -- rules


def test_the_homes_rule_set_goes_before_the_companys_and_that_before_the_rule_book(survey: Survey) -> None:
    assert record(survey).rules["step_in"] == RULES["step_in"].value
    CompanyFactory(rule_set=RuleSetFactory(values={"step_in": 0.125}))
    assert record(survey).rules["step_in"] == 0.125
    home = survey.siting.home
    home.rule_set = RuleSetFactory(values={"step_in": 0.25})
    home.save()
    assert record(survey).rules["step_in"] == 0.25
    assert record(survey).rule_set == home.rule_set


# -- flatness


def test_flatness_takes_read_points_with_a_support_and_their_covariance(survey: Survey, keys: dict[str, str]) -> None:
    # The outside mark lies between two frame points in the heights' order; its row and column must fall out.
    heights = heights_of([keys["A2"], keys["BM1"], keys["A1"]])
    document = snapshots.flatness_input(record(survey), heights)
    assert [(point.code, point.height_in, point.x_ft) for point in document.points] == [
        (keys["A1"], 2.0, 2.0),
        (keys["A2"], 0.0, 12.0),
    ]
    assert document.covariance_in2 == ((22.0, 20.0), (2.0, 0.0))
    assert [{pair.a, pair.b} for pair in document.neighbours] == [{keys["A1"], keys["A2"]}]
    assert document.tolerance_in == 0.25


def test_flatness_keeps_a_pairs_own_tolerance_and_needs_no_covariance(survey: Survey, keys: dict[str, str]) -> None:
    NeighbourPair.objects.filter(a=keys["A1"], b=keys["A2"]).update(tolerance_in=Decimal("0.5"))
    document = snapshots.flatness_input(record(survey), heights_of([keys["A1"], keys["A2"]], covariance=False))
    assert [pair.tolerance_in for pair in document.neighbours] == [0.5]
    assert document.covariance_in2 is None


# -- lift


def test_lift_takes_a_supports_own_limit_before_the_rule_book(survey: Survey, keys: dict[str, str]) -> None:
    Support.objects.filter(point=keys["A1"]).update(
        max_raise_in=Decimal("0.5"), max_lower_in=Decimal(0), gap_in=Decimal("0.25")
    )
    first, second = snapshots.lift_input(record(survey), heights_of([keys["A1"], keys["A2"]])).supports
    assert (first.max_raise_in, first.max_lower_in, first.gap_in) == (0.5, 0.0, 0.25)
    assert (second.max_raise_in, second.max_lower_in, second.gap_in) == (2.0, 1.0, 0.0)
    assert (second.touch_min, second.snug_min, second.rebuild_min) == (15.0, 8.0, 38.0)


def test_lift_leaves_out_a_removed_support_an_archived_point_and_what_was_not_read(
    survey: Survey, keys: dict[str, str]
) -> None:
    Support.objects.filter(point=keys["A1"]).update(removed_on=datetime.date(2026, 1, 1))
    Point.objects.filter(pk=keys["A2"]).archive()  # type: ignore[attr-defined]
    document = snapshots.lift_input(record(survey), heights_of([keys[name] for name in ("A1", "A2", "A3", "B1")]))
    assert [support.code for support in document.supports] == [keys["A3"], keys["B1"]]


def test_lift_lets_an_unmeasured_connection_not_move_at_all(survey: Survey, keys: dict[str, str]) -> None:
    Connection.objects.filter(siting=survey.siting).update(
        measured="not_measured", free_up_in=None, free_down_in=None, free_min=None
    )
    (drain,) = snapshots.lift_input(record(survey), heights_of([keys["A1"], keys["B1"]])).connections
    assert (drain.free_up_in, drain.free_down_in, drain.free_min) == (0.0, 0.0, None)


def test_lift_hangs_a_connection_on_the_supports_that_were_read(survey: Survey, keys: dict[str, str]) -> None:
    # The drain lies at x 12, y 7: half way between the beams A (y 3) and B (y 11), at their second supports.
    whole = snapshots.lift_input(record(survey), heights_of(list(keys.values()))).connections[0]
    assert whole.weights == pytest.approx({keys["A2"]: 0.5, keys["B2"]: 0.5})
    # With A2 unread its share falls half and half to A1 (x 2) and A3 (x 22).
    part = snapshots.lift_input(
        record(survey), heights_of([keys[name] for name in ("A1", "A3", "B1", "B2", "B3")])
    ).connections[0]
    assert part.weights == pytest.approx({keys["A1"]: 0.25, keys["A3"]: 0.25, keys["B2"]: 0.5})


def test_lift_leaves_a_gap_only_where_no_load_is_told(survey: Survey, keys: dict[str, str]) -> None:
    told = snapshots.lift_input(record(survey), heights_of(list(keys.values())))
    untold = snapshots.lift_input(record(survey), heights_of([keys["A1"], keys["B1"]]))
    assert (told.frame is None, told.gap_leave_in) == (False, 0.0)
    assert (untold.frame is None, untold.gap_leave_in) == (True, RULES["gap_leave_in"].value)


def test_lift_without_a_read_support_asks_with_empty_lists(survey: Survey, keys: dict[str, str]) -> None:
    document = snapshots.lift_input(record(survey), heights_of([keys["BM1"]]))
    assert (document.supports, document.neighbours, document.connections) == ((), (), ())


# -- stacks and straps


def test_stacks_changes_a_known_height_by_the_frames_move(survey: Survey, keys: dict[str, str]) -> None:
    # A2's gap is closed while the beam stays: the recorded height reaches to the beam and stays too.
    option = option_of({keys["A1"]: (0.5, 0.5), keys["A2"]: (0.0, 0.25), keys["A3"]: (0.0, 0.0)})
    supports = snapshots.stacks_input(record(survey), option).supports
    assert [(support.code, support.height_in, support.corner) for support in supports] == [
        (keys["A1"], 22.0, True),
        (keys["A2"], 21.5, False),
    ]
    assert supports[0].current == ("shims", "plate_2x", "cap", "block", "block")
    assert supports[0].current_tier is None


def test_stacks_leaves_out_an_unknown_height_and_builds_anew_where_no_stack_is_known(
    survey: Survey, keys: dict[str, str]
) -> None:
    Support.objects.filter(point=keys["A1"]).update(height_in=None)
    Support.objects.filter(point=keys["A2"]).update(stack=None, tier="double", keep_courses=None)
    option = option_of({keys["A1"]: (0.5, 0.5), keys["A2"]: (0.5, 0.5)})
    (support,) = snapshots.stacks_input(record(survey), option).supports
    assert (support.code, support.current, support.current_tier, support.keep_courses) == (
        keys["A2"],
        None,
        "double",
        None,
    )


def test_supports_stand_straight_only_where_the_stack_is_laid_anew_from_its_footing_up(
    survey: Survey, keys: dict[str, str]
) -> None:
    """A leaning stack that gets other shims or another plate leans on (24 CFR 3285.306: 1/2 in at most)."""
    of = Support.objects.filter(point__siting=survey.siting)
    of.update(offset_in=Decimal("1.5"), tier="single")
    of.filter(point__label="B1").update(keep_courses=0)
    option = option_of({keys["A2"]: (1.5, 1.5), keys["B1"]: (0.25, 0.25)})
    stacks = solve_stacks(snapshots.stacks_input(record(survey), option))
    found = snapshots.supports_input(record(survey), None, option, stacks)

    assert found is not None
    courses_that_stay = {stack.code: len(stack.stack) - 1 - len(stack.added) for stack in stacks.supports}
    assert courses_that_stay == {keys["A2"]: 3, keys["B1"]: 0}
    offsets = {support.code: support.offset_in for support in found.supports}
    assert (offsets[keys["A2"]], offsets[keys["B1"]], offsets[keys["C1"]]) == (1.5, 0.0, 1.5)


def test_straps_as_they_stand_are_not_raised(survey: Survey) -> None:
    document = snapshots.straps_input(record(survey))
    assert [strap.raise_in for strap in document.straps] == [0.0, 0.0]
    assert [strap.slack_in for strap in document.straps] == [0.0, 0.5]
    assert (document.working_lb, document.ultimate_lb) == (3150.0, 4725.0)
    assert (document.angle_fail_deg, document.angle_flag_deg) == ((30.0, 60.0), (40.0, 50.0))


@pytest.mark.parametrize(
    ("move_in", "raise_in"),
    [(0.5, 0.625), (0.0, 0.0), (-0.25, 0.125)],
    ids=["a raise ends a jack's clearance higher", "no move", "a lowering starts with the load on the jack"],
)
def test_straps_go_as_high_as_the_jack_takes_the_frame(
    survey: Survey, keys: dict[str, str], move_in: float, raise_in: float
) -> None:
    option = option_of({key: (move_in if label == "A1" else 0.0, 0.0) for label, key in keys.items()})
    first = snapshots.straps_input(record(survey), option).straps[0]
    assert first.raise_in == raise_in


def test_a_strap_between_supports_follows_those_beside_it(survey: Survey, keys: dict[str, str]) -> None:
    # At x 7 on beam A: half way between A1 (x 2) and A2 (x 12).
    between = Point.objects.create(siting=survey.siting, label="AX", surface="i_beam", beam="A", x_ft=7, y_ft=3)
    Strap.objects.filter(code="T1").update(point=between)
    moved = {"A1": 0.5, "A2": 0.25}
    option = option_of({keys[label]: (moved.get(label, 0.0), 0.0) for label in keys if not label.startswith("BM")})
    first = snapshots.straps_input(record(survey), option).straps[0]
    assert first.raise_in == pytest.approx((0.625 + 0.375) / 2)


# -- spelling


def test_a_strap_may_hang_from_a_point_a_little_beyond_the_home(survey: Survey, keys: dict[str, str]) -> None:
    """As beams do, the home ends there then: every strap stays between its ends, as far from the next as before."""
    Home.objects.filter(pk=survey.siting.home_id).update(wind_zone=1)
    Point.objects.filter(pk=keys["A1"]).update(x_ft=Decimal("-0.5"))
    asked = snapshots.strap_spacing_input(record(survey))
    assert asked is not None
    length_ft = float(survey.siting.home.length_ft)
    assert asked.length_ft == length_ft + 0.5
    assert [strap.x_ft for side in asked.sides for strap in side.straps] == [0.0, 22.5]
    solve_strap_spacing(asked)


@pytest.mark.parametrize(
    ("kind", "built_on", "rule"),
    [
        ("manufactured", "1994-05-01", "24CFR3285.604"),
        ("manufactured", None, "24CFR3285.604"),
        ("manufactured", "1971-05-01", "IPC704.1"),
        ("pier_and_beam", "1895-01-01", "IPC704.1"),
    ],
)
def test_drains_of_a_home_older_than_the_federal_code_get_no_federal_slope(
    survey: Survey, kind: str, built_on: str | None, rule: str
) -> None:
    Home.objects.filter(pk=survey.siting.home_id).update(kind=kind, built_on=built_on)
    run = DrainRun.objects.create(siting=survey.siting, code="DN1", diameter_in=3)
    for at_ft in (0, 10):
        DrainNode.objects.create(run=run, at_ft=at_ft, invert_in=10 - at_ft / 4, x_ft=2 + at_ft, y_ft=4)
    asked = snapshots.drains_input(record(survey))
    assert asked is not None
    assert asked.rule == rule


def test_canonical_is_plain_sorted_json_with_its_hash(survey: Survey) -> None:
    plain, sha256 = snapshots.canonical(LevelsInput(setups=(), readings=()))
    spelling = json.dumps(plain, sort_keys=True, separators=(",", ":"))
    assert sha256 == hashlib.sha256(spelling.encode()).hexdigest()
    assert plain["alpha"] == 0.001


def test_the_hash_is_told_without_the_plain_values_too(survey: Survey, keys: dict[str, str]) -> None:
    document = snapshots.lift_input(record(survey), heights_of(list(keys.values())))
    assert snapshots.sha256_of(document) == snapshots.canonical(document)[1]


def test_the_same_record_gives_the_same_hash_and_a_changed_one_another(survey: Survey, keys: dict[str, str]) -> None:
    def sha256() -> str:
        return snapshots.canonical(snapshots.lift_input(record(survey), heights_of(list(keys.values()))))[1]

    before = sha256()
    assert sha256() == before
    Connection.objects.filter(siting=survey.siting).update(free_up_in=Decimal("0.75"))
    assert sha256() != before


def test_a_record_is_read_in_a_fixed_number_of_queries(
    survey: Survey, keys: dict[str, str], django_assert_num_queries: Any
) -> None:
    heights = heights_of(list(keys.values()))
    fresh = record(survey)
    # siting, home, company (its rule set joined); supports, pairs, connections, drain nodes.
    with django_assert_num_queries(7):
        snapshots.lift_input(fresh, heights)
        snapshots.flatness_input(fresh, heights)


def _point(survey: Survey) -> Point:
    return Point.objects.create(
        siting=survey.siting, label=f"P{survey.siting.points.count()}", surface="i_beam", x_ft=1, y_ft=1
    )
