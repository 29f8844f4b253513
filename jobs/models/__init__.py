"""Who and where: people, homes and all under them, visits, and the rules that apply."""

from jobs.models.access import BrowserSession, Invitation, SignedLink, SignedLinkUse
from jobs.models.assessments import Assessment, BlockOverride, DoorsWindows, Paper
from jobs.models.attached import Connection, ConnectionKind, DrainNode, DrainRun, Strap, Trade
from jobs.models.feeds import CalendarFeed
from jobs.models.findings import Finding, Photo, PhotoUpload, StrapCheck
from jobs.models.fleet import Truck
from jobs.models.homes import Home, HomeContact, HomeKind, Siting, SoilClass, WallFinish
from jobs.models.jobs import Job, Symptom
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
from jobs.models.mail import Mail, MailKind, MailText
from jobs.models.people import Company, Customer, DeviceToken, LengthUnit, Role, Skill, User
from jobs.models.rules import RuleSet
from jobs.models.safety import CautionRead, Hazard, HeadCount
from jobs.models.schedule import Handover, Occupied, TimeOff
from jobs.models.visits import Visit, VisitReport, WorkTime

__all__ = [
    "Assessment",
    "Benchmark",
    "BlockOverride",
    "BrowserSession",
    "CalendarFeed",
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
    "Handover",
    "Hazard",
    "HeadCount",
    "Home",
    "HomeContact",
    "HomeKind",
    "Invitation",
    "Job",
    "LengthUnit",
    "Mail",
    "MailKind",
    "MailText",
    "NeighbourPair",
    "Occupied",
    "Paper",
    "Photo",
    "PhotoUpload",
    "Point",
    "Role",
    "RuleSet",
    "SignedLink",
    "SignedLinkUse",
    "Siting",
    "Skill",
    "SoilClass",
    "Strap",
    "StrapCheck",
    "Support",
    "SupportKind",
    "Surface",
    "Symptom",
    "Tier",
    "TimeOff",
    "Trade",
    "Truck",
    "User",
    "Visit",
    "VisitReport",
    "WallFinish",
    "WorkTime",
]
