"""What is done with each kind of entry. A handler stores the entry, or raises why it can't be taken."""

import datetime
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.db.models import Model
from django.utils.translation import gettext as _
from rest_framework import serializers

from calcs.api.closing_views import ClosingSerializer
from calcs.api.pass_serializers import PassEntrySerializer
from calcs.api.sync.wire import Entry, Parcel
from calcs.closing import note_checked
from calcs.models import Approval, Closing, PassEntry
from calcs.work import note_pass
from jobs.api.base import RowSerializer
from jobs.api.field_serializers import (
    FindingSerializer,
    FromPhoneSerializer,
    HandoverSerializer,
    StrapCheckSerializer,
    VisitReportSerializer,
    WorkTimeSerializer,
    show_only_visible,
)
from jobs.api.safety_serializers import CautionReadSerializer, HazardSerializer, HeadCountSerializer
from jobs.caution_reads import note_read
from jobs.errors import DomainError
from jobs.field_work import keep_once, note_strap_check, note_work_time
from jobs.handovers import acknowledge, note_handover
from jobs.hazards import note_hazard
from jobs.head_counts import note_head_count
from jobs.inspection_findings import note_finding
from jobs.models import (
    CautionRead,
    Finding,
    Handover,
    Hazard,
    HeadCount,
    StrapCheck,
    User,
    VisitReport,
    WorkTime,
)
from jobs.rights import Act, need
from jobs.visit_reports import note_visit_report
from surveys.api.serializers import SetupSerializer, SurveySerializer
from surveys.models import Setup, Survey
from surveys.services import submit_survey

Handler = Callable[["Taking", Entry], None]


@dataclass(slots=True, kw_only=True)
class Taking:
    """One request's entries while they are taken: who may be meant, and what was found out on the way."""

    parcel: Parcel
    sender: User
    people: dict[uuid.UUID, User]
    contested: set[uuid.UUID] = field(default_factory=set)
    not_approved: set[uuid.UUID] = field(default_factory=set)  # steps of plans that nobody approved: kept, and told

    def author(self, entry: Entry) -> User:
        """Return whose entry it is."""
        return self.people[entry.author_id]

    def taken_at(self, entry: Entry) -> datetime.datetime:
        """Return when an entry was noted, by the device's clock put right."""
        return self.parcel.right(entry.noted_at or self.parcel.received_at)

    def noted_at(self, entry: Entry) -> datetime.datetime:
        """Return the same for what is ordered by time; nothing is noted after it came in.

        Readings keep their times: what counts of those is how long after one another they were made.
        """
        return min(self.taken_at(entry), self.parcel.received_at)


def _fields(taking: Taking, entry: Entry, serializer_class: type[RowSerializer]) -> dict[str, Any]:
    """Check an entry's body as the resource's own address does; return its fields, with its times put right."""
    beside: dict[str, Any] = {}
    if issubclass(serializer_class, FromPhoneSerializer):
        noted_at = taking.noted_at(entry).isoformat()
        beside = {
            "id": str(entry.key),
            "device": taking.parcel.device,
            "sequence": entry.sequence,
            "noted_at": noted_at,
        }
    serializer = serializer_class(data=entry.body | beside, context={"author": taking.author(entry)})
    show_only_visible(serializer.fields, taking.author(entry))
    writable = {name for name, known in serializer.fields.items() if not known.read_only} - beside.keys()
    if strange := {name: _("There is no such field.") for name in entry.body if name not in writable}:
        raise serializers.ValidationError(strange)
    serializer.is_valid(raise_exception=True)
    return {
        name: taking.parcel.right(value) if isinstance(value, datetime.datetime) and name not in beside else value
        for name, value in serializer.validated_data.items()
    }


def _take_survey(taking: Taking, entry: Entry) -> None:
    fields = {"started_at": taking.noted_at(entry), **_fields(taking, entry, SurveySerializer)}
    survey = Survey(pk=entry.key, author=taking.author(entry), **fields)
    keep_once(survey, compared=[*fields, "author"])


def _take_setup(taking: Taking, entry: Entry) -> None:
    fields = _fields(taking, entry, SetupSerializer)
    keep_once(Setup(pk=entry.key, **fields), compared=[*fields])


def _take_submit(taking: Taking, entry: Entry) -> None:
    """Hand a survey in; the body names it."""
    body = _SubmitSerializer(data=entry.body)
    body.is_valid(raise_exception=True)
    survey = Survey.objects.visible_to(taking.author(entry)).filter(pk=body.validated_data["survey"]).first()
    if survey is None:
        message = _("There is no such survey.")
        raise DomainError("invalid", message, fields={"survey": message})
    submit_survey(survey=survey)


class _SubmitSerializer(serializers.Serializer[Any]):
    survey = serializers.UUIDField()


def _take_finding(taking: Taking, entry: Entry) -> None:
    note_finding(Finding(author=taking.author(entry), **_fields(taking, entry, FindingSerializer)))


def _take_strap(taking: Taking, entry: Entry) -> None:
    note_strap_check(StrapCheck(author=taking.author(entry), **_fields(taking, entry, StrapCheckSerializer)))


def _take_pass(taking: Taking, entry: Entry) -> None:
    row = PassEntry(author=taking.author(entry), **_fields(taking, entry, PassEntrySerializer))
    note_pass(row)
    if not Approval.objects.standing().filter(plan=row.plan_id).exists():
        taking.not_approved.add(entry.key)


def _take_time(taking: Taking, entry: Entry) -> None:
    note_work_time(WorkTime(author=taking.author(entry), **_fields(taking, entry, WorkTimeSerializer)))


def _take_hazard(taking: Taking, entry: Entry) -> None:
    note_hazard(Hazard(author=taking.author(entry), **_fields(taking, entry, HazardSerializer)))


def _take_caution(taking: Taking, entry: Entry) -> None:
    note_read(CautionRead(author=taking.author(entry), **_fields(taking, entry, CautionReadSerializer)))


def _take_head_count(taking: Taking, entry: Entry) -> None:
    note_head_count(HeadCount(author=taking.author(entry), **_fields(taking, entry, HeadCountSerializer)))


def _take_visit_report(taking: Taking, entry: Entry) -> None:
    note_visit_report(VisitReport(author=taking.author(entry), **_fields(taking, entry, VisitReportSerializer)))


def _take_handover(taking: Taking, entry: Entry) -> None:
    note_handover(Handover(author=taking.author(entry), **_fields(taking, entry, HandoverSerializer)))


class _TakeoverSerializer(serializers.Serializer[Any]):
    handover = serializers.UUIDField()


def _take_takeover(taking: Taking, entry: Entry) -> None:
    """Note who has read a handover; the body names it."""
    body = _TakeoverSerializer(data=entry.body)
    body.is_valid(raise_exception=True)
    reader = taking.author(entry)
    found = Handover.objects.visible_to(reader).filter(pk=body.validated_data["handover"]).first()
    if found is None:
        message = _("There is no such handover.")
        raise DomainError("invalid", message, fields={"handover": message})
    acknowledge(found, by=reader, at=taking.noted_at(entry))


def _take_closing(taking: Taking, entry: Entry) -> None:
    """Note what was checked at the end of the work; closing it is for the page, where all that is open stands."""
    fields = _fields(taking, entry, ClosingSerializer)
    note_checked(approval=fields.pop("approval"), by=taking.author(entry), fields=fields)


# What each kind needs a right to, and what is done with it. Readings go their own way, in batches.
_HANDLERS: dict[str, tuple[Act, type[Model], Handler]] = {
    "survey": (Act.ADD, Survey, _take_survey),
    "setup": (Act.ADD, Setup, _take_setup),
    "submit": (Act.CHANGE, Survey, _take_submit),
    "finding": (Act.ADD, Finding, _take_finding),
    "strap": (Act.ADD, StrapCheck, _take_strap),
    "pass": (Act.ADD, PassEntry, _take_pass),
    "time": (Act.ADD, WorkTime, _take_time),
    "hazard": (Act.ADD, Hazard, _take_hazard),
    "caution": (Act.ADD, CautionRead, _take_caution),
    "head_count": (Act.ADD, HeadCount, _take_head_count),
    "visit_report": (Act.ADD, VisitReport, _take_visit_report),
    "handover": (Act.ADD, Handover, _take_handover),
    "takeover": (Act.CHANGE, Handover, _take_takeover),
    "closing": (Act.CHANGE, Closing, _take_closing),
}


def take(taking: Taking, entry: Entry) -> None:
    """Store an entry of any kind but a reading, or raise why it can't be taken."""
    act, model, handler = _HANDLERS[entry.kind]
    need(taking.author(entry), act, model)
    handler(taking, entry)
