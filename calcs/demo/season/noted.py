"""What crews and office noted in the season: findings and a cause, what a crew tells the next, mail of a due home."""

import datetime

from django.db import transaction
from django.utils import timezone

from calcs.demo.season.staff import Staff
from calcs.models import Due
from jobs import handovers, hazards, inspection_findings, mails
from jobs.models import Assessment, Condition, Finding, Handover, Hazard, Mail, MailKind, Siting, Visit
from jobs.models.base import new_key

FOUND = (
    ("drainage", Condition.FIX, "The downspout at the far right corner ends beside the pad."),
    ("ground", Condition.NOTE, "Soft and wet for some six feet around that corner."),
    ("vapor_sheet", Condition.FIX, "Torn at the crawl door."),
    ("access_opening", Condition.OK, ""),
    ("clearance", Condition.OK, ""),
)


@transaction.atomic
def enter(staff: Staff, code: str) -> None:
    """Note what was found at the home with this number, and what moved it."""
    siting = Siting.objects.select_related("home").get(home__code=code, to_on=None)
    visit = siting.visits.filter(state=Visit.State.DONE).order_by("-starts_at").first()
    if visit is None or siting.findings.exists():
        return
    lead, noted_at = visit.lead or staff.manager, visit.starts_at + datetime.timedelta(hours=1)
    for item, grade, text in FOUND:
        finding = Finding(
            siting=siting, visit=visit, item=item, grade=grade, text=text, author=lead, noted_at=noted_at
        )
        inspection_findings.note_finding(finding)
    corner = siting.points.get(label="C6")
    crushed = "Pad tilts toward the corner, wedges crushed."
    finding = Finding(siting=siting, visit=visit, point=corner, grade=Condition.FIX, text=crushed)
    finding.author, finding.noted_at = lead, noted_at
    inspection_findings.note_finding(finding)
    noted = {"home": siting.home, "author": lead, "noted_at": noted_at}
    wet = Hazard(kind=Hazard.Kind.WET_GROUND, text="Puddle at the far right corner after rain.", **noted)
    wasps = Hazard(kind=Hazard.Kind.WASPS_SPIDERS, text="Nest over the crawl door.", **noted)
    for hazard in (wet, wasps):
        hazards.note_hazard(hazard)
    hazards.clear_hazard(hazard=wasps, by=lead, why="Taken away by the owner, looked at again.")
    Assessment.objects.create(
        siting=siting,
        visit=visit,
        author=lead,
        assessed_on=noted_at.date(),
        cause=Assessment.Cause.WATER,
        evidence="Only the corner at the downspout sinks, and faster in wet years.",
        water=Assessment.Water.NOT_CURED,
        soil="wet",
        doors_windows="stick",
        verdict="wait",
        reason="The downspout has to be led away first.",
    )


def hand_over(staff: Staff) -> None:
    """Let the first crew tell the one that comes tomorrow how the home stands; another has read its own already."""
    for number, crew in enumerate(staff.crews[:2]):
        visit = Visit.objects.filter(lead=crew.lead, kind=Visit.Kind.RELEVELING, starts_at__lte=timezone.now())
        of_day = visit.order_by("-starts_at").first()
        if of_day is None or of_day.handovers.exists():
            continue
        handover = Handover(
            pk=new_key(),
            visit=of_day,
            author=crew.crew[0],
            noted_at=timezone.now(),
            are_straps_slack=number == 0,
            are_jacks_in=False,
            is_blocked=True,
            text="Far end is up by half. R6 and R7 are still slack: tighten after the last pass."
            if number == 0
            else "",
        )
        handovers.note_handover(handover)
        if number:
            handovers.acknowledge(handover, by=crew.lead)


def write_that_due(staff: Staff, code: str) -> None:
    """Write to the owner of a home that it is due, once."""
    due = Due.objects.select_related("siting").filter(siting__home__code=code, due_on__isnull=False).first()
    if due is None or due.due_on is None or Mail.objects.filter(siting=due.siting, kind=MailKind.DUE).exists():
        return
    until_on = max(due.latest_on or due.due_on, due.due_on + datetime.timedelta(days=30))
    mails.tell_due(due.siting, due_on=due.due_on, until_on=until_on, by=staff.office)
