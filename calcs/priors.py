"""What the company's own homes of like soil and footing say of one that was hardly measured: empirical Bayes.

Straight lines through the heights of every home lie beside when it is due. Each night their spread is taken anew, by
soil and footing, by soil, and of all homes; it is kept with the night, so that whatever is computed until the next
one rests on the same figures.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from calcs.engine.forecast import ForecastPrior, prior_from
from calcs.models import Due, NightlyRun
from calcs.series import Series

LEAST_HOMES = 3  # of a class, or one of them would speak for all; judgement
DIGITS = 4  # of the spread [in a year]: less is noise, and would make every document new every night
ALL = "all"


@dataclass(frozen=True, slots=True, kw_only=True)
class Priors:
    """Spread of the rates of points, each against the mean of its home [in a year], by class of homes."""

    rate_sds: Mapping[str, float]

    def of(self, series: Series) -> ForecastPrior | None:
        """Return what the nearest class with enough homes says; None where there is none."""
        for name in _classes(series.siting.home.soil_class, series.footing):
            if name in self.rate_sds:
                return ForecastPrior(rate_sd_in_per_yr=self.rate_sds[name])
        return None


def current() -> Priors:
    """Return the priors of the newest night; empty before there was one."""
    found = NightlyRun.objects.order_by("-day").values_list("priors", flat=True).first()
    return Priors(rate_sds=found or {})


def learn() -> dict[str, float]:
    """Return the spread of rates by class, from what homes have measured so far."""
    homes: dict[str, list[list[list[float]]]] = {}
    rows = Due.objects.exclude(lines=[]).values_list("siting__home__soil_class", "footing", "lines")
    for soil, footing, lines in rows.iterator(chunk_size=500):
        for name in _classes(soil, footing):
            homes.setdefault(name, []).append(lines)
    found = {name: _spread(lines) for name, lines in homes.items() if len(lines) >= LEAST_HOMES}
    return {name: spread for name, spread in found.items() if spread is not None}


def _classes(soil: str, footing: str) -> tuple[str, str, str]:
    return (f"{soil}/{footing}", soil, ALL)


def _spread(homes: list[list[list[float]]]) -> float | None:
    lines = [line for home in homes for line in home]
    prior = prior_from([rate for rate, _sd in lines], [sd for _rate, sd in lines])
    return None if prior is None else round(prior.rate_sd_in_per_yr, DIGITS)
