"""What it means: stored calculations, the plans that came out, and what became of them."""

from calcs.models.calculations import Answer, Calculation, WorkerBeat
from calcs.models.closing import Closing
from calcs.models.due import Due, NightlyRun
from calcs.models.plans import Approval, PassEntry, Plan, PlanCheck, PlanQuerySet, Trial
from calcs.models.routes import RoutePlan

__all__ = [
    "Answer",
    "Approval",
    "Calculation",
    "Closing",
    "Due",
    "NightlyRun",
    "PassEntry",
    "Plan",
    "PlanCheck",
    "PlanQuerySet",
    "RoutePlan",
    "Trial",
    "WorkerBeat",
]
