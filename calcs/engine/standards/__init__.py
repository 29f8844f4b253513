"""Published tables that results are held against, as data with their sources."""

from calcs.engine.standards.drains import DrainRule, drain_source, least_drain_slope_in_per_ft
from calcs.engine.standards.sources import Confidence, Source

__all__ = ["Confidence", "DrainRule", "Source", "drain_source", "least_drain_slope_in_per_ft"]
