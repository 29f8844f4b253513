"""Who and where: people, homes and all under them, visits, and the rules that apply."""

from jobs.models.access import BrowserSession, Invitation, SignedLink, SignedLinkUse
from jobs.models.assessments import Assessment, BlockOverride, DoorsWindows, Paper
from jobs.models.attached import Connection, ConnectionKind, DrainNode, DrainRun, Strap, Trade
from jobs.models.findings import Finding, Photo, PhotoUpload, StrapCheck
from jobs.models.homes import Home, HomeContact, HomeKind, Siting, SoilClass, WallFinish
from jobs.models.layout import (
    Benchmark,
    Condition,
    Footing,
    NeighbourPair,
    Point,
    Support,
    SupportKind,
    Surface,
    Tier,
)
from jobs.models.people import Company, Customer, DeviceToken, LengthUnit, Role, User
from jobs.models.rules import RuleSet
from jobs.models.safety import CautionRead, Hazard, HeadCount
from jobs.models.visits import Visit, VisitReport, WorkTime

__all__ = [
    "Assessment",
    "Benchmark",
    "BlockOverride",
    "BrowserSession",
    "CautionRead",
    "Company",
    "Condition",
    "Connection",
    "ConnectionKind",
    "Customer",
    "DeviceToken",
    "DoorsWindows",
    "DrainNode",
    "DrainRun",
    "Finding",
    "Footing",
    "Hazard",
    "HeadCount",
    "Home",
    "HomeContact",
    "HomeKind",
    "Invitation",
    "LengthUnit",
    "NeighbourPair",
    "Paper",
    "Photo",
    "PhotoUpload",
    "Point",
    "Role",
    "RuleSet",
    "SignedLink",
    "SignedLinkUse",
    "Siting",
    "SoilClass",
    "Strap",
    "StrapCheck",
    "Support",
    "SupportKind",
    "Surface",
    "Tier",
    "Trade",
    "User",
    "Visit",
    "VisitReport",
    "WallFinish",
    "WorkTime",
]
