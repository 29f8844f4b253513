"""Lengths as typed and as written; the constants are those of NIST SP 811 (2008) appendix B."""

import contextlib
import re
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.engine.errors import InvalidInput
from calcs.engine.units import IN_PER_FT, MM_PER_IN, LengthUnit, format_length, format_sixteenths, parse_length

EIGHTHS = {"½": "0.5", "¼": "0.25", "¾": "0.75", "⅛": "0.125", "⅜": "0.375", "⅝": "0.625", "⅞": "0.875"}


def test_constants_are_exact() -> None:
    # NIST SP 811 (2008), B.6 and footnote: 1 in = 25.4 mm, 1 ft = 0.3048 m, both exactly.
    assert Decimal("25.4") == MM_PER_IN
    assert Decimal("304.8") == IN_PER_FT * MM_PER_IN


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("3 5/8", "3.625"),
        ("3-5/8", "3.625"),
        ('3-5/8"', "3.625"),
        ("3 5/8 in", "3.625"),
        ("3 5/8in.", "3.625"),
        ("3 5/8 inches", "3.625"),
        ("  3   5/8  ", "3.625"),
        ("3 5 / 8", "3.625"),
        ("3.625", "3.625"),
        ("+3.625", "3.625"),
        ("+ 3 5/8", "3.625"),
        (".5", "0.5"),
        ("-.5", "-0.5"),
        ("-1/2", "-0.5"),
        ("- 1/2", "-0.5"),
        ("-3-5/8", "-3.625"),
        ("-3 5/8", "-3.625"),
        ("\u22123\u20135/8", "-3.625"),
        ("2'", "24"),
        ("2 ft", "24"),
        ("2.5'", "30"),
        ("2' 3 1/4\"", "27.25"),
        ("2'3 1/4", "27.25"),
        ("2'-3 1/4\"", "27.25"),
        ("2' - 3-1/4\"", "27.25"),
        ("-2' 3 1/4\"", "-27.25"),
        ("2' 1/2\"", "24.5"),
        ("2' 3''", "27"),
        ("3''", "3"),
        ("2\u2032 3\u00bc\u2033", "27.25"),
        ("2\u2019 3 1\u20444\u201d", "27.25"),
        ("2 FT 3 IN", "27"),
        ("3½", "3.5"),
        ("3 ½", "3.5"),
        ("3-½", "3.5"),
        ("-½", "-0.5"),
        ("1\u20097/16", "1.4375"),
        ("3\u00a05/8", "3.625"),
        ("63/64", "0.984375"),
        ("0", "0"),
        ("-0", "0"),
        ("3 0/8", "3"),
        ("007", "7"),
        ("0.1234565", "0.123456"),
        ("0.1234575", "0.123458"),
        ("100000", "100000"),
    ],
)
def test_what_crews_type_is_read(text: str, inches: str) -> None:
    assert parse_length(text) == Decimal(inches)
    assert parse_length(text).as_tuple().exponent == -6


@pytest.mark.parametrize(("sign", "inches"), EIGHTHS.items())
def test_one_character_fractions_are_read(sign: str, inches: str) -> None:
    assert parse_length(sign) == Decimal(inches)
    assert parse_length(f'12{sign}"') == 12 + Decimal(inches)


@pytest.mark.parametrize(
    ("text", "inches"),
    [("25.4", "1"), ("92", "3.622047"), ("-12.7 mm", "-0.5"), ("12.7MM", "0.5"), ("1", "0.039370")],
)
def test_millimetres_become_inches(text: str, inches: str) -> None:
    assert parse_length(text, unit="mm") == Decimal(inches)


@pytest.mark.parametrize(
    ("text", "inches"), [("28", "336"), ("28.5", "342"), ("3 1/2", "42"), ("28' 6\"", "342"), ("28 ft", "336")]
)
def test_feet_become_inches(text: str, inches: str) -> None:
    assert parse_length(text, unit="ft") == Decimal(inches)


@pytest.mark.parametrize(
    ("text", "unit", "what"),
    [
        ("", "in", "empty"),
        ("   ", "in", "empty"),
        ("3,625", "in", "comma"),
        ("3 5/0", "in", "below the line may stand 2, 4, 8, 16, 32 or 64, not 0"),
        ("3 5/7", "in", "not 7"),
        ("3 5/128", "in", "not 128"),
        ("3/8/2", "in", "not a length"),
        ("11/8", "in", "a fraction of one or more"),
        ("3 8/8", "in", "a fraction of one or more"),
        ("three", "in", "not a length"),
        ("nan", "in", "not a length"),
        ("inf", "in", "not a length"),
        ("1e3", "in", "not a length"),
        ("3 5", "in", "not a length"),
        ("3 - 5/8", "in", "not a length"),
        ("3 -5/8", "in", "not a length"),
        ("3.5 1/2", "in", "not a length"),
        ("3.", "in", "not a length"),
        ("--3", "in", "not a length"),
        ("-", "in", "not a length"),
        ("3\"'", "in", "not a length"),
        ("٣", "in", "not a length"),
        ("2' 13\"", "in", "12 or more inches"),
        ("2.5' 3\"", "in", "inches after a decimal of feet"),
        ("92 mm", "in", "not in in"),
        ("100000.000001", "in", "more than 100000 in"),
        ("-8334'", "in", "more than 100000 in"),
        ("9" * 61, "in", "longer than 60 characters"),
        ('3"', "mm", "not in mm"),
        ("2'", "mm", "not in mm"),
        ("3 1/2", "mm", "has a fraction"),
        ("½", "mm", "has a fraction"),
        ("2540001", "mm", "more than 100000 in"),
        ('6"', "ft", "not in ft"),
        ("6 mm", "ft", "not in ft"),
    ],
)
def test_what_is_no_length_is_refused_with_examples(text: str, unit: str, what: str) -> None:
    with pytest.raises(InvalidInput, match=re.escape(what)) as refused:
        parse_length(text, unit=unit)  # type: ignore[arg-type]  # parametrised words
    assert "such as" in refused.value.message
    assert "\n" not in refused.value.message


def test_an_unknown_unit_is_refused() -> None:
    with pytest.raises(InvalidInput, match="in, ft, mm"):
        parse_length("3", unit="cm")  # type: ignore[arg-type]  # what is refused


@given(
    st.text(max_size=70) | st.text("0123456789/-+.,'\" ½⅝ftinm\u2212", max_size=8),
    st.sampled_from(["in", "mm", "ft"]),
)
def test_any_text_is_a_length_or_invalid_input(text: str, unit: LengthUnit) -> None:
    with contextlib.suppress(InvalidInput):
        assert abs(parse_length(text, unit=unit)) <= 100_000


@given(
    st.integers(0, 90_000),
    st.sampled_from([2, 4, 8, 16, 32, 64]).flatmap(lambda n: st.tuples(st.integers(0, n - 1), st.just(n))),
    st.booleans(),
)
def test_written_then_read_is_the_same_length(whole: int, part: tuple[int, int], negative: bool) -> None:
    exact = (whole + Fraction(*part)) * (-1 if negative else 1)
    value = parse_length(f"{'-' if negative else ''}{whole} {part[0]}/{part[1]}")
    assert Fraction(value) == exact
    for written in (format_sixteenths(value, denominator=64), format_length(value, signed=True, denominator=64)):
        assert parse_length(written) == value


@given(st.decimals(-1000, 1000, places=3))
def test_millimetres_round_to_the_nearest_millionth(millimetres: Decimal) -> None:
    value = parse_length(f"{millimetres:f}", unit="mm")
    assert abs(Fraction(value) * Fraction("25.4") - Fraction(millimetres)) <= Fraction("25.4") / 2_000_000


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (0.0, "0"),
        (-0.0, "0"),
        (0.03, "0"),
        (-0.03, "0"),
        (0.03125, "1/16"),
        (-0.03125, "\u22121/16"),
        (0.5, "1/2"),
        (1.4375, "1\u20097/16"),
        (Decimal("1.4375"), "1\u20097/16"),
        (-1.4375, "\u22121\u20097/16"),
        (1.97, "2"),
        (12, "12"),
        (1000.75, "1000\u20093/4"),
    ],
)
def test_lengths_are_written_in_sixteenths(value: float | Decimal, written: str) -> None:
    assert format_sixteenths(value) == written


def test_signs_and_other_denominators() -> None:
    assert format_sixteenths(0.25, signed=True) == "+1/4"
    assert format_sixteenths(-0.25, signed=True) == "\u22121/4"
    assert format_sixteenths(0.001, signed=True) == "0"
    assert format_sixteenths(0.4, denominator=8) == "3/8"
    assert format_sixteenths(0.4, denominator=2) == "1/2"
    assert format_length(1.4375) == "1\u20097/16 in"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), Decimal("NaN")])
def test_no_length_cannot_be_written(value: float | Decimal) -> None:
    with pytest.raises(InvalidInput, match="finite"):
        format_sixteenths(value)


def test_a_fraction_of_thirds_cannot_be_written() -> None:
    with pytest.raises(InvalidInput, match="2, 4, 8, 16, 32 or 64"):
        format_sixteenths(1.0, denominator=3)
