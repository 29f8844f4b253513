"""When the ground under a home is fit to read and lift on: by its soil, the month, and the rules for the climate."""

import datetime
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
    fit, ground = fit_of_month(day.month, soil_class=soil_class, rules=rules)
    later = [_month_after(day, count) for count in range(1, 12)]
    fits = [fit_of_month(first.month, soil_class=soil_class, rules=rules)[0] for first in later]
    best = min(fits, key=_WORSE.index)
    is_better = _WORSE.index(best) < _WORSE.index(fit)
    return Season(fit=fit, ground=ground, better_from=later[fits.index(best)] if is_better else None)


def fit_of_month(month: int, *, soil_class: str, rules: Rules) -> tuple[Fit, Ground | None]:
    """Return how good a month is, and the state of the ground that makes it so."""
    found = [(Fit(_TABLE[ground][soil_class]), ground) for ground in Ground if _is_then(ground, month, rules)]
    fit, ground = max(found, key=lambda one: _WORSE.index(one[0]), default=(Fit.GOOD, None))
    return (fit, ground) if fit != Fit.GOOD else (fit, None)


def is_same_season(day: datetime.date, other: datetime.date) -> bool:
    """Tell whether two days lie near each other in the year, whatever the years."""
    apart = abs((day - other).days) % _YEAR_DAYS
    return min(apart, _YEAR_DAYS - apart) <= SAME_SEASON_DAYS


def _is_then(ground: Ground, month: int, rules: Rules) -> bool:
    """Tell whether the rules say that the ground is so in a month; a month 0 says that it never is."""
    first, last = int(rules[f"{ground}_from_month"]), int(rules[f"{ground}_to_month"])
    if not first or not last:
        return False
    return first <= month <= last if first <= last else month >= first or month <= last


def _month_after(day: datetime.date, count: int) -> datetime.date:
    """Return the first day of a month that follows."""
    years, month = divmod(day.month - 1 + count, 12)
    return datetime.date(day.year + years, month + 1, 1)
