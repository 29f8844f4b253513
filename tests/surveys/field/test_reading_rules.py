"""What keys make of a text, what is read next, when the reference is due: the pure rules of reading on the phone."""

import datetime
from typing import Any

from calcs.engine.units import parse_length
from tests.surveys.field.conftest import UseModule

PRESSED = (
    """(keypad, [keys, unit]) => keypad.finished(keys.reduce((text, key) => keypad.press(text, key, unit), ""))"""
)
PLAN = "screens/read_plan"
MOST_TAPS = 4
NOON = datetime.datetime(2026, 11, 30, 12, tzinfo=datetime.UTC)


# -- keys --------------------------------------------------------------------------------------------------------


TYPED = [
    (["1", "2", "7/16"], "12 7/16"),
    (["7/16", "1", "2"], "12 7/16"),
    (["1", "2", "1/2", "7/16"], "12 7/16"),
    (["1", "2", "7/16", "even"], "12"),
    (["1", "2", "7/16", "back", "3"], "123"),
    (["1", "2", "back"], "1"),
    (["7/16", "-"], "-7/16"),
    (["-", "3", "5/8", "-"], "3 5/8"),
    (["0", "5"], "5"),
    (["1", "2", "+1/32"], "12 1/32"),
    (["1", "2", "7/16", "+1/32"], "12 15/32"),
    (["1", "2", "7/16", "+1/32", "+1/32"], "12 7/16"),
    ([*"12 7/16"], "12 7/16"),
    ([*"7/16"], "7/16"),
    ([*"-3 1/2"], "-3 1/2"),
    ([*"12.4375"], "12.4375"),
    ([*".5"], "0.5"),
    ([*"12."], "12"),
    ([*"12345"], "1234"),
    (["1", "2", ".", "5", "7/16"], "12 7/16"),
    ([*"12  7"], "12 7"),
]


def test_keys_make_a_text(module: UseModule) -> None:
    for keys, text in TYPED:
        assert module("keypad", PRESSED, [keys, "in"]) == text, keys


def test_millimetres_take_no_fractions(module: UseModule) -> None:
    assert module("keypad", PRESSED, [["3", "1", "2", "7/16", "/", " ", ".", "5"], "mm"]) == "312.5"


def test_every_usual_reading_takes_four_taps_at_most(module: UseModule) -> None:
    """Two digits, one key for the fraction, Next."""
    for whole in (0, 3, 12, 99):
        for sixteenths in range(16):
            top, bottom = sixteenths, 16
            while top and top % 2 == 0:
                top, bottom = top // 2, bottom // 2
            keys = [*(str(whole) if whole or not top else ""), *([f"{top}/{bottom}"] if top else [])]
            typed = module("keypad", PRESSED, [keys, "in"])
            assert float(parse_length(typed)) == whole + sixteenths / 16
            assert len([*keys, "Next"]) <= MOST_TAPS


def test_lengths_are_said_as_crews_say_them(module: UseModule) -> None:
    said = module(
        "echo",
        "(echo, lengths) => lengths.map((length) => echo.spoken(length, 'in'))",
        [12.4375, -0.5, 3.25, 9, 0.75],
    )
    assert said == ["12 and 7 sixteenths", "minus a half", "3 and a quarter", "9 even", "three quarters"]
    assert (
        module("echo", "(echo) => echo.spoken(12.46875, 'in', {thirtySeconds: true})") == "12 and 15 thirty-seconds"
    )
    assert module("echo", "(echo) => [echo.spoken(-2.5, 'mm'), echo.decimal(-2.5, 'mm')]") == [
        "minus 63.5 millimetres",
        "\u221263.5",
    ]
    assert module("echo", "(echo) => [12.4375, 12.5, 10, 0].map((length) => echo.decimal(length, 'in'))") == [
        *("12.4375", "12.5", "10", "0"),
    ]


# -- what is next ------------------------------------------------------------------------------------------------


def place(count: int = 12) -> dict[str, Any]:
    """A home of some points in a row, and a mark."""
    points = [{"id": f"p{n}", "label": f"A{n}", "walk_order": n, "surface": "i_beam"} for n in range(count)]
    mark = {"id": "m", "label": "BM1", "walk_order": 99, "surface": "outside"}
    marks = [{"point": "m", "mark_class": "slab", "retired_on": None}]
    rules = {"reading_sd_water_level_in": 0.0625, "reading_sd_hydrostatic_in": 0.02, "reading_sd_laser_in": 0.09}
    return {"points": [*points, mark], "benchmarks": marks, "rules": rules, "last_survey": None}


def survey(*shots: str, method: str = "water_level", **fields: Any) -> dict[str, Any]:
    """A survey from one setup: each shot is a point with its kind and round, such as ``m reference 1``."""
    rows = []
    for n, shot in enumerate(shots):
        point, kind, round_ = (*shot.split(), "point", "1")[:3] if " " in shot else (shot, "point", "1")
        taken_at = (NOON + datetime.timedelta(minutes=n)).isoformat().replace("+00:00", "Z")
        row = {"id": f"r{n}", "setup": "s", "point": point, "shot": kind, "round": int(round_), "sequence": n}
        rows.append({**row, "value_in": 12.0, "reference_value_in": 0.0, "taken_at": taken_at, "replaces": None})
    setup = {"id": "s", "code": "1-K7Q", "sense": "up", "has_drift": method == "hydrostatic", "reading_sd_in": None}
    survey = {"method": method, "stage": "as_found", "setups": [setup], "readings": rows, "all": rows}
    return {**survey, "reading_sd_in": None, **fields}


def next_shot(module: UseModule, of: dict[str, Any], round_: int = 1, *, later_min: float = 0) -> Any:
    now = NOON.timestamp() * 1000 + (len(of["readings"]) + later_min) * 60_000
    script = "(plan, [place, survey, round, now]) => plan.nextShot(place, survey, 's', round, now)"
    return module(PLAN, script, [place(), of, round_, now])


def test_the_reference_comes_first_and_its_mark_is_chosen(module: UseModule) -> None:
    assert next_shot(module, survey()) == {"shot": "reference", "point": None}


def test_points_come_in_walking_order_from_where_one_is(module: UseModule) -> None:
    assert next_shot(module, survey("m reference 1"))["point"] == "p0"
    assert next_shot(module, survey("m reference 1", "p0"))["point"] == "p1"
    assert next_shot(module, survey("m reference 1", "p0", "p7"))["point"] == "p8"
    assert next_shot(module, survey("m reference 1", "p0", "p7", "p11"))["point"] == "p1"


def test_the_reference_is_due_after_ten_readings(module: UseModule) -> None:
    ten = [f"p{n}" for n in range(10)]
    assert next_shot(module, survey("m reference 1", *ten[:9])) == {"shot": "point", "point": "p9"}
    assert next_shot(module, survey("m reference 1", *ten)) == {"shot": "closing", "point": "m"}
    assert next_shot(module, survey("m reference 1", *ten, "m closing 1")) == {"shot": "point", "point": "p10"}


def test_a_display_that_warms_up_is_closed_by_the_clock_too(module: UseModule) -> None:
    warm = survey("m reference 1", "p0", method="hydrostatic")
    assert next_shot(module, warm, later_min=12)["shot"] == "point"
    assert next_shot(module, warm, later_min=15)["shot"] == "closing"


def test_a_round_ends_on_its_reference_and_the_next_begins_anew(module: UseModule) -> None:
    walk = [f"p{n}" for n in range(12)]
    read = ["m reference 1", *walk[:10], "m closing 1", *walk[10:]]
    assert next_shot(module, survey(*read)) == {"shot": "closing", "point": "m"}
    assert next_shot(module, survey(*read, "m closing 1")) is None
    assert next_shot(module, survey(*read, "m closing 1"), 2) == {"shot": "point", "point": "p0"}


def test_a_correction_of_an_earlier_number_leaves_a_line_closed(module: UseModule) -> None:
    of = survey("m reference 1", "p0", "m closing 1", "p0")
    of["readings"][3]["replaces"] = "r1"
    of["readings"] = [row for row in of["all"] if row["id"] != "r1"]
    assert module(PLAN, "(plan, survey) => plan.isClosed(survey, 's')", of) is True
    assert module(PLAN, "(plan, survey) => plan.ofSetup(survey, 's').map(({id}) => id)", of) == ["r0", "r3", "r2"]


def test_what_a_point_would_read_if_nothing_had_moved(module: UseModule) -> None:
    home = place()
    home["last_survey"] = {"heights": [{"point": "m", "height_in": 3.0}, {"point": "p0", "height_in": 0.5}]}
    of = survey("m reference 1")
    script = """(plan, [place, survey, sense]) =>
      plan.expectedFrom(place, survey, {...survey.setups[0], sense}, 'p0')"""
    assert module(PLAN, script, [home, of, "up"]) == 9.5  # 2.5 in lower than the mark
    assert module(PLAN, script, [home, of, "down"]) == 14.5


def test_a_fine_method_earns_thirty_seconds(module: UseModule) -> None:
    script = """(plan, [place, methods]) => methods.map((method) =>
      plan.earnsThirtySeconds(plan.sdOf(place, {method, reading_sd_in: null}, null)))"""
    methods = ["water_level", "plain_tube", "hydrostatic", "laser"]
    assert module(PLAN, script, [place(), methods]) == [False, False, True, False]


def test_what_is_missing_is_said_before_handing_in(module: UseModule) -> None:
    script = """(plan, [place, survey]) =>
      plan.missingOf(place, survey, new Map(place.points.map(({id, label}) => [id, label])))"""
    walk = [f"p{n}" for n in range(11)]
    assert module(PLAN, script, [place(), survey("m reference 1", *walk)]) == [
        "Not read: A11.",
        "There is no second round: nothing checks single readings.",
        "Setup 1 has no closing shot at its end.",
    ]
    both = [f"p{n} point {round_}" for round_ in (1, 2) for n in range(12)]
    whole = survey("m reference 1", *both, "m closing 2", method="hydrostatic")
    assert module(PLAN, script, [place(), whole]) == [
        "Setup 1 may drift: it wants three shots on its reference, and has 2."
    ]
    assert module(PLAN, script, [place(), survey("m reference 1", *both, "m closing 2")]) == []


def test_two_phones_never_give_a_setup_the_same_code(module: UseModule) -> None:
    script = "(plan, [survey, devices]) => devices.map((device) => plan.nextCode(survey, device))"
    codes = module(PLAN, script, [survey(), ["phone-4k7q", "phone-9zzt"]])
    assert codes == ["2-K7Q", "2-ZZT"]
    assert all(len(code) <= 8 for code in codes)  # what the service's field takes
