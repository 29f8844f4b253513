"""What a person should know before relying on the heights, in plain words, and where the methods come from."""

from calcs.engine.common import ResultWarning
from calcs.engine.levels.network import named
from calcs.engine.levels.types import DatumCheck, LevelReading, LevelsGlobalTest, LevelsInput, ReadingCheck
from calcs.engine.units import format_length

Pair = tuple[LevelReading, ReadingCheck]

SOURCES = (
    "weighted least squares by orthogonal factorisation: Björck, Numerical Methods for Least Squares Problems "
    "(SIAM 1996), from memory",
    "suspect readings, slips and smallest detectable slips: Baarda, A Testing Procedure for Use in Geodetic Networks "
    "(Delft 1968), whose convention is 0.1 % and 80 %, from memory",
    "tau: Pope, The Statistics of Residuals and the Detection of Outliers (NOAA TR NOS 65 NGS 1, 1976), from memory",
    "global test: chi-square test of the reference variance, Ghilani, Adjustment Computations, 5th ed. (Wiley 2010), "
    "from memory",
)


def warnings_of(
    document: LevelsInput,
    checks: tuple[ReadingCheck, ...],
    datum: tuple[DatumCheck, ...],
    test: LevelsGlobalTest | None,
) -> tuple[ResultWarning, ...]:
    """Every warning that this survey calls for, the most pressing first."""
    pairs = list(zip(document.readings, checks, strict=True))
    made = [
        *_suspect_readings([pair for pair in pairs if pair[1].suspect]),
        *_suspect_datum(datum),
        *_scatter(document, test),
        *_unchecked_readings([pair for pair in pairs if not pair[1].checked], len(pairs)),
        *_unchecked_datum(document, datum),
    ]
    if not document.datum:
        text = "No datum is given: heights are relative to the mean of all points read."
        made.append(ResultWarning(code="no_datum", text=text))
    return tuple(made)


def _suspect_readings(found: list[Pair]) -> list[ResultWarning]:
    if not found:
        return []
    reading, check = found[0]
    slip_in = check.slip_in or 0.0
    points = named(dict.fromkeys(reading.point for reading, _ in found))
    if len(found) == 1:
        name = f"reading {named([reading.id])} of {points} from setup {named([reading.setup])}"
        text = f"Read {points} again: {name} looks off by about {format_length(slip_in, signed=True)}."
    else:
        ids = named(reading.id for reading, _ in found)
        text = (
            f"One of the readings {ids} ({points}) looks off by about {format_length(abs(slip_in))}; "
            "these readings alone can't say which: read there again."
        )
    return [ResultWarning(code="suspect_reading", text=text)]


def _suspect_datum(datum: tuple[DatumCheck, ...]) -> list[ResultWarning]:
    points = [check.point for check in datum if check.suspect]
    if not points:
        return []
    text = f"The given height of {named(points)} doesn't fit the readings: it may have moved or be wrong."
    return [ResultWarning(code="suspect_datum", text=text)]


def _scatter(document: LevelsInput, test: LevelsGlobalTest | None) -> list[ResultWarning]:
    if test is None or test.passed:
        return []
    how = "more" if test.direction == "noisier" else "less"
    text = (
        f"The readings scatter {how} than their standard deviations say: {test.ratio:.2f} times, where "
        f"{test.lower:.2f} to {test.upper:.2f} passes at {document.confidence:.4g}."
    )
    return [ResultWarning(code=f"readings_{test.direction}", text=text)]


def _unchecked_readings(found: list[Pair], count: int) -> list[ResultWarning]:
    if not found:
        return []
    if len(found) == count:
        text = (
            "No reading is checked: a slip in any of them would not show. Read the points again from another setup."
        )
        return [ResultWarning(code="nothing_checked", text=text)]
    points = named(dict.fromkeys(reading.point for reading, _ in found))
    text = f"{len(found)} of {count} readings are unchecked: a slip there would not show. Points: {points}."
    return [ResultWarning(code="unchecked_readings", text=text)]


def _unchecked_datum(document: LevelsInput, datum: tuple[DatumCheck, ...]) -> list[ResultWarning]:
    """One known height can't be checked, held or weighted; it may have moved since it was measured."""
    unchecked = [check.point for check in datum if check.w is None]
    alone = [datum.point for datum in document.datum if len(document.datum) == 1]
    if not unchecked and not alone:
        return []
    text = f"Nothing checks the given height of {named(unchecked or alone)}: if it moved, every height moved with it."
    return [ResultWarning(code="unchecked_datum", text=text)]
