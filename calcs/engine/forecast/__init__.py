"""The heights of a home over the years: how each point moves, and when to come back.

Days count from one origin; heights grow upwards, against the mean of the home.
"""

from calcs.engine.forecast.prior import prior_from
from calcs.engine.forecast.solve import solve_forecast
from calcs.engine.forecast.types import (
    ForecastBand,
    ForecastChance,
    ForecastDriver,
    ForecastInput,
    ForecastObservation,
    ForecastPair,
    ForecastPrior,
    ForecastResult,
    ForecastSeries,
    ForecastStability,
    PairForecast,
    PointForecast,
)

__all__ = [
    "ForecastBand",
    "ForecastChance",
    "ForecastDriver",
    "ForecastInput",
    "ForecastObservation",
    "ForecastPair",
    "ForecastPrior",
    "ForecastResult",
    "ForecastSeries",
    "ForecastStability",
    "PairForecast",
    "PointForecast",
    "prior_from",
    "solve_forecast",
]
