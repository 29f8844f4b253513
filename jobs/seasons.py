"""When the ground under a home is fit to read and lift on: by its soil, the month, and the rules for the climate."""

import datetime
import functools
import tomllib
from dataclasses import dataclass
from pathlib import Path

from django.db.models import TextChoices
from django.utils.translation import gettext_lazy as _

from jobs.rulebook import Rules

SAME_SEASON_DAYS = 45  # surveys this near in the year compare best; common practice, no source
_YEAR_DAYS = 365.25


class Fit(TextChoices):
    """How good a time is to read and lift a home."""

    GOOD = "good", _("good")
    FAIR = "fair", _("fair")
    POOR = "poor", _("poor")


class Ground(TextChoices):
    """What a season does to the ground."""

    FROZEN = "frozen", _("the ground may be frozen")
    SWOLLEN = "swollen", _("clay is at its wettest")
    SHRUNK = "shrunk", _("clay is at its driest")


@dataclass(frozen=True, slots=True, kw_only=True)
class Season:
    """How good a day is: what the ground does then, and the first day of the better time that follows."""

    fit: Fit
    ground: Ground | None = None
    better_from: datetime.date | None = None


_TABLE = tomllib.loads(Path(__file__).with_suffix(".toml").read_text())
_WORSE = list(Fit)  # from good to poor


def season_on(day: datetime.date, *, soil_class: str, rules: Rules) -> Season:
    """Return how good a day is for a home on a soil; never better where no month of the year is."""
    year = _year(soil_class, _months_of(rules))
    fit, ground = year[day.month - 1]
    later = [year[(day.month - 1 + count) % 12][0] for count in range(1, 12)]
    best = min(later, key=_WORSE.index)
    is_better = _WORSE.index(best) < _WORSE.index(fit)
    better_from = _month_after(day, 1 + later.index(best)) if is_better else None
    return Season(fit=fit, ground=ground, better_from=better_from)


def fit_of_month(month: int, *, soil_class: str, rules: Rules) -> tuple[Fit, Ground | None]:
    """Return how good a month is, and the state of the ground that makes it so."""
    return _year(soil_class, _months_of(rules))[month - 1]


def is_same_season(day: datetime.date, other: datetime.date) -> bool:
    """Tell whether two days lie near each other in the year, whatever the years."""
    apart = abs((day - other).days) % _YEAR_DAYS
    return min(apart, _YEAR_DAYS - apart) <= SAME_SEASON_DAYS


def _months_of(rules: Rules) -> tuple[tuple[int, int], ...]:
    """Return the first and last month of each state of the ground."""
    return tuple((int(rules[f"{ground}_from_month"]), int(rules[f"{ground}_to_month"])) for ground in Ground)


@functools.cache  # as many as there are soils and climates
def _year(soil_class: str, months: tuple[tuple[int, int], ...]) -> tuple[tuple[Fit, Ground | None], ...]:
    """Return for each month how good it is, by the worst that the ground does then."""
    year: list[tuple[Fit, Ground | None]] = []
    for month in range(1, 13):
        states = [ground for ground, between in zip(Ground, months, strict=True) if _is_then(month, *between)]
        found = [(Fit(_TABLE[ground][soil_class]), ground) for ground in states]
        fit, worst = max(found, key=lambda one: _WORSE.index(one[0]), default=(Fit.GOOD, None))
        year.append((fit, worst if fit != Fit.GOOD else None))
    return tuple(year)


def _is_then(month: int, first: int, last: int) -> bool:
    """Tell whether a month lies between two, both included, over the turn of the year too; 0: there is none."""
    if not first or not last:
        return False
    return first <= month <= last if first <= last else month >= first or month <= last


def _month_after(day: datetime.date, count: int) -> datetime.date:
    """Return the first day of a month that follows."""
    years, month = divmod(day.month - 1 + count, 12)
    return datetime.date(day.year + years, month + 1, 1)
