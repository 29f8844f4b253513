"""What stands beside the numbers of a home's record: the survey whose map is shown, and what happened there."""

from dataclasses import dataclass

from django.db.models import QuerySet

from calcs.home_record.read import HomeRecord
from calcs.models import Answer, Approval, Calculation, Due
from calcs.survey_page.record import Record
from jobs.models import Condition, Finding, Hazard, Siting, Support, User, Visit
from surveys.models import Reading, Setup

_OF_MAP = ("levels", "flatness", "joined")


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What a page and a paper show with the numbers; ``map_record`` is None before there are heights."""

    map_record: Record | None
    supports: dict[str, Support]  # by point
    authors: dict[str, str]  # names, by key
    due: Due | None
    visits: list[Visit]
    findings: list[Finding]
    hazards: list[Hazard]
    approvals: list[Approval]


def read_beside(record: HomeRecord, reader: User) -> Beside:
    """Read it, in as many queries however much there is."""
    siting = record.siting
    standing = Support.objects.filter(point__siting=siting, removed_on__isnull=True)
    supports = {str(support.point_id): support for support in standing}
    keys = {each.survey.author_id for each in record.series.surveys if each.survey.author_id}
    authors = User.objects.in_bulk(keys)
    if record.shown:
        shown = record.shown.survey
        shown.siting, shown.author = siting, authors[shown.author_id] if shown.author_id else None
    due = Due.objects.filter(siting=siting).select_related("siting__home", "survey", "driver_a", "driver_b")
    hazards = Hazard.objects.filter(home=siting.home_id).select_related("cleared_by").order_by("noted_at")
    return Beside(
        map_record=_map_record(record, supports),
        supports=supports,
        authors={str(key): str(author) for key, author in authors.items()},
        due=due.first(),
        visits=list(_visits(siting, reader)),
        findings=list(_findings(siting)),
        hazards=list(hazards),
        approvals=list(_approvals(siting)),
    )


def _map_record(record: HomeRecord, supports: dict[str, Support]) -> Record | None:
    """Make what the page of a survey draws its map from, with what the map shows and no more."""
    if record.shown is None:
        return None
    survey = record.shown.survey
    answers = Answer.objects.filter(survey=survey, kind__in=_OF_MAP, calculation__state=Calculation.State.DONE)
    found = answers.select_related("calculation").defer("calculation__input", "calculation__error")
    readings = Reading.objects.filter(survey=survey)
    return Record(
        survey=survey,
        unit=record.unit,
        points=dict(record.series.points),
        supports=supports,
        connections={},
        straps={},
        drain_runs={},
        setups={str(setup.pk): setup for setup in Setup.objects.filter(survey=survey)},
        readings={str(reading.pk): reading for reading in readings},
        answers={answer.kind: answer for answer in found},
        plans=[],
        unread=[],
    )


def _visits(siting: Siting, reader: User) -> QuerySet[Visit]:
    return Visit.objects.visible_to(reader).filter(siting=siting).select_related("lead").order_by("-starts_at", "-pk")


def _findings(siting: Siting) -> QuerySet[Finding]:
    rows = Finding.objects.standing().filter(siting=siting).exclude(grade=Condition.OK)
    return rows.select_related("point", "connection", "strap", "drain_run").order_by("-noted_at", "-pk")


def _approvals(siting: Siting) -> QuerySet[Approval]:
    rows = Approval.objects.filter(siting=siting).select_related("approved_by", "plan", "closing")
    return rows.order_by("-number")
