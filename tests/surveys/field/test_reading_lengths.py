"""What phones read and write as lengths is what the service reads and writes: the same texts, generated, to both."""

import random
from decimal import Decimal
from typing import Any

from calcs.engine.errors import InvalidInput
from calcs.engine.units import LengthUnit, format_sixteenths, parse_length
from jobs.lengths import figure
from tests.surveys.field.conftest import UseModule

UNITS: tuple[LengthUnit, ...] = ("in", "mm", "ft")
CASES = 10_000
PIECES = [
    *"0123456789/'\"-+,.e ",
    *("1/2", "7/16", "63/64", "100000", "100001", ".5", "3.25", "ft", "FT", "foot", "feet.", "in", "in.", "Inches"),
    *("mm", "MM", "''", "- ", " -", "  ", "½", "⅜", "\u2044", "\u2032", "\u201d", "\u2212", "\u2013", "\u2009"),
    *("\xa0", "\x85", "\ufeff", "\u0130", "\x00", "\u0663", "x" * 60, "1" * 58),
]
PARSE = "(lengths, cases) => cases.map(([text, unit]) => [lengths.parse(text, unit), lengths.error(text, unit)])"
WRITE = """(lengths, cases) => cases.map(([inches, signed, thirtySeconds]) =>
  [lengths.sixteenths(inches, {signed, thirtySeconds}), lengths.millimetres(inches, {signed})])"""


def pieced(chance: random.Random) -> str:
    """Anything that keys can make."""
    return "".join(chance.choice(PIECES) for _ in range(chance.randint(0, 6)))


def as_typed(chance: random.Random) -> str:
    """A length as a crew might type it, now and then wrong."""
    sign = chance.choice(["", "", "-", "\u2212", "+", "- "])
    feet = chance.choice(["", "", "", f"{chance.randint(0, 9)}' ", f"{chance.randint(0, 9)}.5 ft ", "2'-"])
    whole = chance.choice(["", str(chance.randint(0, 130))])
    gap = chance.choice([" ", "-", "", "\u2009"]) if whole else ""
    bottom = chance.choice([2, 4, 8, 16, 32, 64, 16, 3, 128])
    fraction = chance.choice([f"{chance.randint(0, bottom)}/{bottom}", chance.choice("½¼¾⅛⅜⅝⅞")])
    rest = chance.choice(["", gap + fraction, f".{chance.randint(0, 10 ** chance.randint(1, 9))}"])
    return sign + feet + whole + rest + chance.choice(["", "", " in", '"', " mm", "''"])


def told_by_service(text: str, unit: LengthUnit) -> float | None:
    try:
        return float(parse_length(text, unit=unit))
    except InvalidInput:
        return None


def test_a_phone_reads_what_the_service_reads(module: UseModule) -> None:
    chance = random.Random(20261130)  # noqa: S311
    cases = [[chance.choice([pieced, as_typed, as_typed])(chance), chance.choice(UNITS)] for _ in range(CASES)]
    wanted: list[Any] = [told_by_service(text, unit) for text, unit in cases]
    found = module("lengths", PARSE, cases)
    wrong = [(case, want, got) for case, want, (got, _) in zip(cases, wanted, found, strict=True) if got != want]
    assert wrong == []
    assert [bool(error) for _, error in found] == [want is None for want in wanted]
    assert {want is None for want in wanted} == {True, False}


def test_a_phone_writes_what_the_service_writes(module: UseModule) -> None:
    chance = random.Random(1959)  # noqa: S311
    lengths = [
        chance.choice([round(chance.uniform(-40, 40), 6), chance.randint(-9999, 9999) / 64]) for _ in range(CASES)
    ]
    cases = [
        [value, chance.random() < 0.5, chance.random() < 0.5] for value in [*lengths, 0.0, 1e5 - 1 / 32, -0.03125]
    ]
    wanted = [
        [
            format_sixteenths(value, signed=signed, denominator=32 if is_fine else 16),
            figure(value, "mm", signed=signed),
        ]
        for value, signed, is_fine in cases
    ]
    assert module("lengths", WRITE, cases) == wanted


def test_what_is_written_is_read_as_the_same_length(module: UseModule) -> None:
    """There and back, in sixteenths and thirty-seconds, for every length of a hundred inches."""
    script = """(lengths) => Array.from({length: 6401}, (_, i) => (i - 3200) / 32).filter((inches) =>
      lengths.parse(lengths.sixteenths(inches, {thirtySeconds: true})) !== inches).length"""
    assert module("lengths", script) == 0
    millimetres = "(lengths) => lengths.parse(lengths.millimetres(lengths.parse('312.5', 'mm')), 'mm')"
    assert module("lengths", millimetres) == float(parse_length("312.5", unit="mm")) == float(Decimal("12.303150"))


def test_each_wrong_text_says_what_may_be_written(module: UseModule) -> None:
    told = module("lengths", "(lengths) => ['11/8', '3 5/7', '3,5', ''].map((text) => lengths.error(text, 'in'))")
    assert told[0].startswith("11/8 has a fraction of one or more; write the whole number before it.")
    assert "2, 4, 8, 16, 32 or 64" in told[1]
    assert "a point" in told[2]
    assert told[3].startswith("Nothing is typed yet.")
    assert all(sentence.endswith("or 3.625.") for sentence in told)
