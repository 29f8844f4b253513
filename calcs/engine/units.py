"""Lengths as crews write and read them, and the exact constants behind them; nothing else in the project converts.

References
----------
International yard and pound agreement (1959), NIST SP 811 (2008) B.6: 1 in = 25.4 mm exactly, 1 ft = 12 in.
"""

import math
import re
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from calcs.engine.errors import InvalidInput

LengthUnit = Literal["in", "mm", "ft"]

MM_PER_IN = Decimal("25.4")
IN_PER_FT = 12
LONGEST_IN = 100_000
DECIMALS = 6  # 1/64 in is 0.015625: every fraction that is allowed has an exact decimal
DENOMINATORS = (2, 4, 8, 16, 32, 64)

THIN_SPACE = "\u2009"
MINUS = "\u2212"

_LONGEST_TEXT_CHARS = 60
_FOOT_MARKS = "\u2032\u2018\u2019\u02b9\u02bc"
_INCH_MARKS = "\u2033\u201c\u201d\u02ba"
_MINUSES = "\u2010\u2011\u2012\u2013\u2212\ufe63\uff0d"
_PLAIN = str.maketrans(
    {"\u2044": "/", "\u2215": "/"}
    | dict.fromkeys(_FOOT_MARKS, "'")
    | dict.fromkeys(_INCH_MARKS, '"')
    | dict.fromkeys(_MINUSES, "-")
    # The space keeps 3 and a half from turning into thirty-one halves.
    | {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅛": " 1/8", "⅜": " 3/8", "⅝": " 5/8", "⅞": " 7/8"}
)

_DECIMAL = r"[0-9]+(?:\.[0-9]+)?|\.[0-9]+"
_NUMBER = rf"(?:(?:(?P<whole>[0-9]+)(?:\ |-\ ?))?(?P<top>[0-9]+)\ ?/\ ?(?P<bottom>[0-9]+)|(?P<decimal>{_DECIMAL}))"
_FEET_AND_INCHES = re.compile(
    rf"""(?P<feet>{_DECIMAL})\ ?(?:'(?!')|ft\.?|foot|feet)          # 2'  2 ft
         (?:(?:\ ?|-|\ -\ ){_NUMBER}\ ?(?:"|''|in\.?|inch|inches)?)?""",  # 3 1/4"  -3-1/4
    re.VERBOSE,
)
_ONE_NUMBER = re.compile(rf"{_NUMBER}\ ?(?P<suffix>\"|''|in\.?|inch|inches|mm|)", re.VERBOSE)

_EXAMPLES: dict[LengthUnit, str] = {
    "in": 'write inches such as 3 5/8, 3-5/8", -1/2, 2\' 3 1/4" or 3.625',
    "ft": "write feet such as 28, 28.5, 28 1/2 or 28' 6\"",
    "mm": "write millimetres such as 92, -12.5 or 92 mm",
}


def parse_length(text: str, *, unit: LengthUnit = "in") -> Decimal:
    """Read a length as crews type it.

    Parameters
    ----------
    text : str
        A whole number, a decimal or a fraction in halves to sixty-fourths; a sign covers the whole value, so
        ``-3-5/8`` is minus three and five eighths. Feet and inches (``2' 3 1/4"``) are understood where the unit
        is ``in`` or ``ft``.
    unit : {'in', 'mm', 'ft'}
        What a number without a mark stands for. A mark that contradicts it is an error; in ``mm`` only whole
        numbers and decimals are allowed.

    Returns
    -------
    Decimal
        The length [in], exact to six decimals, half to even.

    Raises
    ------
    InvalidInput
        Saying what is wrong and what may be written instead.
    """
    if unit not in _EXAMPLES:
        raise InvalidInput(f"unit must be one of {', '.join(_EXAMPLES)}, not {unit!a}")
    if len(text) > _LONGEST_TEXT_CHARS:
        raise _not_a_length(f"longer than {_LONGEST_TEXT_CHARS} characters", unit)
    plain = " ".join(text.translate(_PLAIN).split()).lower()
    if not plain:
        raise _not_a_length("empty", unit)
    if "," in plain:
        raise _not_a_length(f"{text!r} has a comma; the decimal sign is a point", unit)
    sign, magnitude = _split_sign(plain)
    value_in = sign * _magnitude_in(magnitude, text, unit)
    if abs(value_in) > LONGEST_IN:
        raise _not_a_length(f"{text!r} is more than {LONGEST_IN} in", unit)
    return Decimal(round(value_in * 10**DECIMALS)).scaleb(-DECIMALS)


def format_sixteenths(value: float | Decimal, *, signed: bool = False, denominator: int = 16) -> str:
    """Write a length [in] as crews say it: whole inches and a reduced fraction, such as 1 7/16.

    Parameters
    ----------
    value : float or Decimal
        The length [in]; halves of the last fraction round away from zero.
    signed : bool
        Whether a plus stands before lengths above zero. A minus always stands before those below; zero has no sign.
    denominator : int
        The finest fraction: 2, 4, 8, 16, 32 or 64.

    Returns
    -------
    str
        With a thin space (U+2009) before the fraction and a true minus sign (U+2212).

    Raises
    ------
    InvalidInput
        When the value is not finite or the denominator not one of those.
    """
    if denominator not in DENOMINATORS:
        raise InvalidInput(f"denominator must be {_denominators()}, not {denominator}")
    if not math.isfinite(value):
        raise InvalidInput("a length must be finite")
    parts = math.floor(abs(Fraction(value)) * denominator + Fraction(1, 2))
    if parts == 0:
        return "0"
    whole, rest = divmod(parts, denominator)
    words = [str(whole)] if whole else []
    if rest:
        words.append(str(Fraction(rest, denominator)))
    sign = MINUS if value < 0 else "+" if signed else ""
    return sign + THIN_SPACE.join(words)


def format_length(value: float | Decimal, *, signed: bool = False, denominator: int = 16) -> str:
    """Write a length [in] as :func:`format_sixteenths` does, with its unit: 1 7/16 in."""
    return f"{format_sixteenths(value, signed=signed, denominator=denominator)} in"


def _split_sign(plain: str) -> tuple[int, str]:
    if plain[0] in "+-":
        return (-1 if plain[0] == "-" else 1), plain[1:].strip()
    return 1, plain


def _magnitude_in(plain: str, text: str, unit: LengthUnit) -> Fraction:
    """The length [in], exactly, of text without its sign."""
    both = _FEET_AND_INCHES.fullmatch(plain)
    if both and unit != "mm":
        return _feet_and_inches_in(both, text, unit)
    one = _ONE_NUMBER.fullmatch(plain)
    if not one:
        what = "is not in mm" if both else "is not a length"
        raise _not_a_length(f"{text!r} {what}", unit)
    suffix = one["suffix"]
    if suffix and (unit == "ft" or (suffix == "mm") != (unit == "mm")):
        raise _not_a_length(f"{text!r} is not in {unit}", unit)
    number = _number(one, text, unit)
    if unit != "mm":
        return number * (IN_PER_FT if unit == "ft" else 1)
    if one["bottom"]:
        raise _not_a_length(f"{text!r} has a fraction", unit)
    return number / Fraction(MM_PER_IN)


def _feet_and_inches_in(both: re.Match[str], text: str, unit: LengthUnit) -> Fraction:
    feet = Fraction(both["feet"])
    if both["decimal"] is None and both["bottom"] is None:
        return feet * IN_PER_FT
    inches = _number(both, text, unit)
    if feet.denominator != 1 or "." in both["feet"]:
        raise _not_a_length(f"{text!r} has inches after a decimal of feet", unit)
    if inches >= IN_PER_FT:
        raise _not_a_length(f"{text!r} has {IN_PER_FT} or more inches beside its feet", unit)
    return feet * IN_PER_FT + inches


def _number(match: re.Match[str], text: str, unit: LengthUnit) -> Fraction:
    if match["decimal"] is not None:
        return Fraction(match["decimal"])
    top, bottom = int(match["top"]), int(match["bottom"])
    if bottom not in DENOMINATORS:
        raise _not_a_length(f"{text!r}: below the line may stand {_denominators()}, not {bottom}", unit)
    if top >= bottom:
        # 11/8 is as likely a lost space in 1 1/8 as eleven eighths.
        raise _not_a_length(f"{text!r} has a fraction of one or more; write the whole number before it", unit)
    return int(match["whole"] or 0) + Fraction(top, bottom)


def _denominators() -> str:
    return f"{', '.join(map(str, DENOMINATORS[:-1]))} or {DENOMINATORS[-1]}"


def _not_a_length(what: str, unit: LengthUnit) -> InvalidInput:
    return InvalidInput(f"{what}; {_EXAMPLES[unit]}")
