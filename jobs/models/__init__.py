"""Who and where: people, homes and all under them, visits, and the rules that apply."""

from jobs.models.attached import Connection, ConnectionKind, Strap, Trade
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
from jobs.models.visits import Visit

__all__ = [
    "Benchmark",
    "Company",
    "Condition",
    "Connection",
    "ConnectionKind",
    "Customer",
    "DeviceToken",
    "Footing",
    "Home",
    "HomeContact",
    "HomeKind",
    "LengthUnit",
    "NeighbourPair",
    "Point",
    "Role",
    "RuleSet",
    "Siting",
    "SoilClass",
    "Strap",
    "Support",
    "SupportKind",
    "Surface",
    "Tier",
    "Trade",
    "User",
    "Visit",
    "WallFinish",
]
