"""Heights of several surveys on one scale: each survey's own datum is an accident of how it was computed."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

Read = Mapping[str, tuple[float, float]]  # by point: height and standard deviation [in], on the survey's own datum


@dataclass(frozen=True, slots=True, kw_only=True)
class OnOneScale:
    """The heights of some points over all surveys.

    Parameters
    ----------
    heights : tuple of dict
        For each survey, by point: height and standard deviation [in].
    datums : tuple of (float, float) or None
        For each survey: where the scale's zero lies on the survey's own datum, and the standard deviation of the
        mean of its points [in]; None where it read none of them.
    """

    heights: tuple[dict[str, tuple[float, float]], ...]
    datums: tuple[tuple[float, float] | None, ...]


def on_one_scale(surveys: Sequence[Read], codes: Collection[str]) -> OnOneScale:
    """Put the heights of the points ``codes`` on one scale, on which their mean doesn't change.

    Parameters
    ----------
    surveys : sequence of dict
        In time order; they may hold different points.
    codes : collection of str
        The points; what else was read doesn't count.

    Notes
    -----
    The mean of the first survey's points is 0. From then on the points that a survey has in common with what was
    read before keep their mean, so that a point read now and then bends nothing. Where all are read every time this
    is each survey's mean. A survey that has none in common begins anew at 0.
    """
    last: dict[str, float] = {}
    heights: list[dict[str, tuple[float, float]]] = []
    datums: list[tuple[float, float] | None] = []
    for survey in surveys:
        read = {code: survey[code] for code in survey if code in codes}
        if not read:
            heights.append({})
            datums.append(None)
            continue
        common = [code for code in read if code in last]
        zero = sum(read[code][0] - last[code] for code in common) / len(common) if common else _mean(read)
        scaled = {code: (height_in - zero, sd_in) for code, (height_in, sd_in) in read.items()}
        last |= {code: height_in for code, (height_in, _sd_in) in scaled.items()}
        heights.append(scaled)
        datums.append((zero, sum(sd_in**2 for _height_in, sd_in in read.values()) ** 0.5 / len(read)))
    return OnOneScale(heights=tuple(heights), datums=tuple(datums))


def since_first(heights: Sequence[dict[str, tuple[float, float]]]) -> tuple[dict[str, tuple[float, float]], ...]:
    """Return heights less what each point had when it was first read: how it drifted since."""
    first: dict[str, float] = {}
    drifts = []
    for survey in heights:
        for code, (height_in, _sd_in) in survey.items():
            first.setdefault(code, height_in)
        drifts.append({code: (height_in - first[code], sd_in) for code, (height_in, sd_in) in survey.items()})
    return tuple(drifts)


def _mean(read: Read) -> float:
    return sum(height_in for height_in, _sd_in in read.values()) / len(read)


def against(home: OnOneScale, marks: OnOneScale) -> list[tuple[float, float] | None]:
    """Return for each survey how far the home's mean stands above the marks', and its standard deviation [in].

    It counts from the first survey that read both; None where one was not read.
    """
    found: list[tuple[float, float] | None] = []
    first: float | None = None
    for of_home, of_marks in zip(home.datums, marks.datums, strict=True):
        if of_home is None or of_marks is None:
            found.append(None)
            continue
        above = of_home[0] - of_marks[0]
        first = above if first is None else first
        found.append((above - first, (of_home[1] ** 2 + of_marks[1] ** 2) ** 0.5))
    return found
