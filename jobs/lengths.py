"""Lengths as a person reads them on a page: inches in sixteenths, or millimetres for those who chose them."""

from decimal import ROUND_HALF_UP, Decimal

from calcs.engine.units import MINUS, MM_PER_IN, format_sixteenths
from jobs.models.people import LengthUnit

NO_BREAK_SPACE = "\u00a0"


def figure(
    value_in: float | Decimal, unit: str = LengthUnit.INCHES, *, signed: bool = False, denominator: int = 16
) -> str:
    """Write a length [in] as a bare number in the reader's unit: ``1 7/16`` or ``36.5``; ``signed`` adds a plus."""
    if unit != LengthUnit.MILLIMETRES:
        return format_sixteenths(value_in, signed=signed, denominator=denominator)
    exact = Decimal(value_in) * MM_PER_IN
    millimetres = exact.quantize(Decimal("0.1"), ROUND_HALF_UP)  # halves away from zero, as with sixteenths
    if millimetres == 0:
        return "0"
    sign = MINUS if millimetres < 0 else "+" if signed else ""
    return sign + f"{abs(millimetres):.1f}".removesuffix(".0")


def as_shown(value_in: float, unit: str = LengthUnit.INCHES) -> float:
    """Return a length [in] rounded as ``figure`` writes it: what is taken from such lengths adds up as shown."""
    per_in, least = (MM_PER_IN, Decimal("0.1")) if unit == LengthUnit.MILLIMETRES else (Decimal(16), Decimal(1))
    return float((Decimal(value_in) * per_in).quantize(least, ROUND_HALF_UP) / per_in)


def length(
    value_in: float | Decimal, unit: str = LengthUnit.INCHES, *, signed: bool = False, denominator: int = 16
) -> str:
    """Write a length [in] with its unit, never broken over two lines: ``1 7/16 in`` or ``36.5 mm``."""
    name = "mm" if unit == LengthUnit.MILLIMETRES else "in"
    return f"{figure(value_in, unit, signed=signed, denominator=denominator)}{NO_BREAK_SPACE}{name}"


def fine(value_in: float, unit: str = LengthUnit.INCHES, *, signed: bool = False) -> str:
    """Write a small length [in] in hundredths of an inch or tenths of a millimetre: ``0.03 in``, ``< 0.01 in``."""
    per_in, digits, name = (Decimal(1), 2, "in") if unit != LengthUnit.MILLIMETRES else (MM_PER_IN, 1, "mm")
    least = Decimal(1).scaleb(-digits)
    exact = (Decimal(value_in) * per_in).quantize(least, ROUND_HALF_UP)
    if exact == 0:
        return f"<{NO_BREAK_SPACE}{least}{NO_BREAK_SPACE}{name}"
    sign = MINUS if exact < 0 else "+" if signed else ""
    return f"{sign}{abs(exact)}{NO_BREAK_SPACE}{name}"
