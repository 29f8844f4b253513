"""A person's day in one answer: the visits, and everything that a phone needs at their homes without signal.

The number of queries is the same however many visits there are; for a home whose approved work has not begun it is
also looked whether the plan still holds.
"""

import datetime
from collections import defaultdict
from dataclasses import dataclass
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet
from django.utils import translation

from calcs import snapshots
from calcs.api.day.computed import Computed
from calcs.api.day.left import left_of
from calcs.api.day.record import Document, parts_of, shown
from calcs.api.day.work import Works
from calcs.sheet_page.known import people_of
from jobs import rulebook
from jobs.api import field_serializers, safety_serializers, serializers, visit_views
from jobs.caution_reads import AtMoment, cautions_by_moment
from jobs.handovers import newest_handovers
from jobs.head_counts import in_order
from jobs.inspection import items_in
from jobs.models import CautionRead, Company, Handover, HeadCount, RuleSet, Siting, User, Visit, VisitReport
from surveys.models import Method


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """Whose day it is, in which language it is told, and when it begins and ends."""

    person: User
    language: str
    date: datetime.date
    zone: ZoneInfo
    rule_set: RuleSet | None

    @property
    def visits(self) -> QuerySet[Visit]:
        """The person's visits of the day, cancelled ones left out."""
        begins = datetime.datetime.combine(self.date, datetime.time(), self.zone)
        ends = datetime.datetime.combine(self.date + datetime.timedelta(days=1), datetime.time(), self.zone)
        on_crew = Visit.crew.through.objects.filter(user=self.person).values("visit")
        own = Visit.objects.visible_to(self.person).filter(Q(lead=self.person) | Q(pk__in=on_crew))
        during = own.filter(starts_at__lt=ends, ends_at__gt=begins).exclude(state=Visit.State.CANCELLED)
        return during.select_related("lead").prefetch_related("crew", "trucks").order_by("starts_at", "pk")


def day_of(person: User, date: datetime.date | None = None, language: str | None = None) -> Day:
    """Return a day of a person's: today by the company's clock, in the person's language, unless told otherwise."""
    company = Company.objects.select_related("rule_set").first()
    zone = ZoneInfo(company.time_zone if company else "UTC")
    date = date or datetime.datetime.now(zone).date()
    return Day(
        person=person,
        language=language or person.language,
        date=date,
        zone=zone,
        rule_set=company.rule_set if company else None,
    )


def load(day: Day) -> Document:
    """Return everything that a phone needs for a day, as plain values."""
    with translation.override(day.language):
        visits = list(day.visits)
        return {
            "date": day.date.isoformat(),
            "time_zone": day.zone.key,
            "language": day.language,
            "person": str(day.person.pk),
            "visits": _visits(day, visits),
            **_places(day, visits),
            "inspection_items": items_in(day.language),
        }


def _places(day: Day, visits: list[Visit]) -> Document:
    """Return the homes that are visited, and the cautions that go with what was computed of them."""
    wanted = {visit.siting_id for visit in visits}
    sitings = list(Siting.objects.filter(pk__in=wanted).select_related("home__rule_set").order_by("home__code", "pk"))
    rules = {siting.pk: _rules(siting.home.rule_set or day.rule_set) for siting in sitings}
    parts, computed, left = parts_of(day.person, sitings), Computed(sitings), left_of(sitings)
    handovers = newest_handovers(sitings)
    works = Works(
        approvals=computed.approvals,
        labels={
            siting: {point["id"]: point["label"] for point in points} for siting, points in parts["points"].items()
        },
        people={siting.pk: _people_at(siting, visits) for siting in sitings},
        rules=rules,
        unit=day.person.length_unit,
        date=day.date,
    )
    places = [
        {
            "siting": serializers.SitingSerializer(siting).data,
            "home": serializers.HomeSerializer(siting.home).data,
            **{name: rows[siting.pk] for name, rows in parts.items()},
            **computed.of(siting),
            "last_as_left": left.get(siting.pk),
            "last_handover": _handover(handovers.get(siting.pk)),
            **works.of(siting.pk),
            "rules": rules[siting.pk],
            "reading_sd_in": {str(method): snapshots.reading_sd_in(rules[siting.pk], method) for method in Method},
        }
        for siting in sitings
    ]
    return {"places": places, "cautions": computed.cautions()}


def _handover(handover: Handover | None) -> Document | None:
    """Return what was handed over last at a home, with the names of who wrote and who has read it."""
    if handover is None:
        return None
    row = field_serializers.HandoverSerializer().to_representation(handover)
    return {**row, "author_name": str(handover.author), "reader_name": str(handover.read_by or "")}


def _people_at(siting: Siting, visits: list[Visit]) -> list[User]:
    """Return who is at a home that day, leads first."""
    at_home = [visit for visit in visits if visit.siting_id == siting.pk]
    leads = [visit.lead for visit in at_home if visit.lead]
    return list(dict.fromkeys([*leads, *(person for visit in at_home for person in visit.crew.all())]))


def _visits(day: Day, visits: list[Visit]) -> list[Document]:
    """Return visits with who is on them, what was told of them, and each moment's cautions with their readers."""
    reads: dict[UUID, list[CautionRead]] = defaultdict(list)
    for read in CautionRead.objects.filter(visit__in=visits):
        reads[read.visit_id].append(read)
    counts: dict[UUID, list[HeadCount]] = defaultdict(list)
    for count in HeadCount.objects.filter(visit__in=visits):
        counts[count.visit_id].append(count)
    reports = shown(
        VisitReport.objects.filter(visit__in=visits).order_by("noted_at", "sequence", "pk"),
        field_serializers.VisitReportSerializer,
        "visit_id",
    )
    one, counted = visit_views.VisitSerializer(), safety_serializers.HeadCountSerializer()
    return [
        {
            **one.to_representation(visit),
            "people": [{"id": str(person.pk), "name": str(person)} for person in people_of(visit)],
            "head_counts": [counted.to_representation(each) for each in sorted(counts[visit.pk], key=in_order)],
            "reports": reports[visit.pk],
            "cautions_by_moment": [
                _at_moment(each) for each in cautions_by_moment(reads[visit.pk], language=day.language)
            ],
        }
        for visit in visits
    ]


def _at_moment(at: AtMoment) -> Document:
    return {
        "moment": at.moment.value,
        "cautions": [
            {
                "code": shown.told.code,
                "hazard": shown.told.hazard,
                "text": shown.told.text,
                "source": shown.told.source,
                "language": shown.told.language,
                "text_sha256": shown.told.text_sha256,
                "read_by": list(shown.read_by),
            }
            for shown in at.cautions
        ],
    }


def _rules(rule_set: RuleSet | None) -> rulebook.Rules:
    return rule_set.resolved() if rule_set else rulebook.resolve({})
