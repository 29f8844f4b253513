"""What tests of the inspection share: a finding as a service keeps it, and the support at a point."""

import datetime
from typing import Any

from jobs.inspection_findings import note_finding
from jobs.models import Finding, Siting, Support, User
from tests.factories import NOON


def support_at(siting: Siting, label: str) -> Support:
    """Return the support that stands at a point."""
    return Support.objects.get(point__siting=siting, point__label=label)


def find(
    siting: Siting, author: User, grade: str, text: str = "seen", *, after_min: int = 0, **about: Any
) -> Finding:
    """Keep a finding, at A1 where nothing else is named."""
    about = about or {"point": siting.points.get(label="A1")}
    noted_at = NOON + datetime.timedelta(minutes=after_min)
    finding = Finding(siting=siting, author=author, grade=grade, text=text, noted_at=noted_at, **about)
    note_finding(finding)
    return finding
