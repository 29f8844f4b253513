"""A person's day in one answer: the visits, and everything that a phone needs at their homes without signal.

The number of queries is the same however many visits there are.
"""

import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import F, Model, Q, QuerySet
from django.db.models.fields.json import KeyTransform
from django.utils import translation

from calcs.citations import cited
from calcs.models import Answer, Approval, Plan, PlanCheck
from calcs.spoken import spoken
from jobs import rulebook
from jobs.api import field_serializers, layout_serializers, safety_serializers, serializers
from jobs.caution_reads import AtMoment, cautions_by_moment
from jobs.inspection import items_in
from jobs.models import (
    Benchmark,
    CautionRead,
    Company,
    Connection,
    DrainNode,
    DrainRun,
    Finding,
    Hazard,
    HomeContact,
    NeighbourPair,
    Point,
    RuleSet,
    Siting,
    Strap,
    Support,
    User,
    Visit,
)
from jobs.rights import Act, may
from surveys.api.serializers import ReadingSerializer, SetupSerializer, SurveySerializer
from surveys.models import Reading, Setup, Survey

M = TypeVar("M", bound=Model)
Document = dict[str, Any]
Grouped = Mapping[UUID, list[Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """Whose day it is, and when it begins and ends."""

    person: User
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
        return during.prefetch_related("crew").order_by("starts_at", "pk")


def day_of(person: User, date: datetime.date | None) -> Day:
    """Return a day of a person's, today by the company's clock when none is given."""
    company = Company.objects.select_related("rule_set").first()
    zone = ZoneInfo(company.time_zone if company else "UTC")
    date = date or datetime.datetime.now(zone).date()
    return Day(person=person, date=date, zone=zone, rule_set=company.rule_set if company else None)


def load(day: Day) -> Document:
    """Return everything that a phone needs for a day, as plain values."""
    visits = list(day.visits)
    wanted = {visit.siting_id for visit in visits}
    sitings = list(Siting.objects.filter(pk__in=wanted).select_related("home__rule_set").order_by("home__code", "pk"))
    parts = _parts(day.person, sitings)
    computed = _Computed(sitings)
    return {
        "date": day.date.isoformat(),
        "time_zone": day.zone.key,
        "person": str(day.person.pk),
        "visits": _visits(day.person, visits),
        "places": [
            {
                "siting": serializers.SitingSerializer(siting).data,
                "home": serializers.HomeSerializer(siting.home).data,
                **{name: rows[siting.pk] for name, rows in parts.items()},
                **computed.of(siting),
                "rules": _rules(siting.home.rule_set or day.rule_set),
            }
            for siting in sitings
        ],
        "cautions": computed.cautions(day.person.language),
        "inspection_items": items_in(day.person.language),
    }


def _visits(person: User, visits: list[Visit]) -> list[Document]:
    """Return visits with the cautions of each moment, and who has read them there."""
    reads: dict[UUID, list[CautionRead]] = defaultdict(list)
    for read in CautionRead.objects.filter(visit__in=visits):
        reads[read.visit_id].append(read)
    one = serializers.VisitSerializer()
    return [
        {
            **one.to_representation(visit),
            "cautions_by_moment": [
                _at_moment(each) for each in cautions_by_moment(reads[visit.pk], language=person.language)
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


# -- the record ----------------------------------------------------------------------------------------------


def _parts(person: User, sitings: list[Siting]) -> dict[str, Grouped]:
    """Return what lies under each siting, by the name that the answer gives it."""
    open_surveys = list(Survey.objects.filter(siting__in=sitings, state=Survey.State.OPEN).order_by("started_at"))
    setups = _shown(Setup.objects.filter(survey__in=open_surveys), SetupSerializer, "survey_id")
    standing = Reading.objects.standing().filter(survey__in=open_surveys)
    readings = _shown(standing, ReadingSerializer, "survey_id")
    surveys: dict[UUID, list[Document]] = defaultdict(list)
    for survey in open_surveys:
        shown = SurveySerializer(survey).data
        surveys[survey.siting_id].append(
            {**shown, "setups": setups[survey.pk], "standing_readings": readings[survey.pk]}
        )
    layout = layout_serializers
    supports = Support.objects.standing().filter(point__siting__in=sitings)
    marks = Benchmark.objects.filter(point__siting__in=sitings, point__archived_at__isnull=True)
    return {
        "contacts": _contacts(person, sitings),
        "points": _shown(_standing(Point, sitings).order_by("walk_order", "pk"), layout.PointSerializer),
        "supports": _shown(
            supports.order_by("point__walk_order", "pk").annotate(siting_id=F("point__siting")),
            layout.SupportSerializer,
        ),
        "neighbour_pairs": _shown(
            NeighbourPair.objects.filter(siting__in=sitings).order_by("pk"), layout.NeighbourPairSerializer
        ),
        "benchmarks": _shown(
            marks.select_related("point").order_by("point__label").annotate(siting_id=F("point__siting")),
            layout.BenchmarkSerializer,
        ),
        "connections": _shown(_standing(Connection, sitings).order_by("code"), layout.ConnectionSerializer),
        "straps": _shown(_standing(Strap, sitings).order_by("code"), layout.StrapSerializer),
        "drain_runs": _drain_runs(sitings),
        "findings": _shown(_standing(Finding, sitings).order_by("pk"), field_serializers.FindingSerializer),
        "hazards": _hazards(sitings),
        "open_surveys": surveys,
    }


def _drain_runs(sitings: list[Siting]) -> Grouped:
    """Return the drain runs that stand, each with the places on it from its upper end down."""
    nodes = DrainNode.objects.filter(run__siting__in=sitings, run__archived_at__isnull=True).order_by("at_ft")
    shown = _shown(nodes, layout_serializers.DrainNodeSerializer, "run_id")
    found: dict[UUID, list[Document]] = defaultdict(list)
    for run in _standing(DrainRun, sitings).order_by("code"):
        found[run.siting_id].append({**layout_serializers.DrainRunSerializer(run).data, "nodes": shown[run.pk]})
    return found


def _hazards(sitings: list[Siting]) -> Grouped:
    """Return what may hurt somebody at each home and nobody has cleared yet."""
    homes = [siting.home_id for siting in sitings]
    rows = Hazard.objects.open().filter(home__in=homes).order_by("pk")
    of_home = _shown(rows, safety_serializers.HazardSerializer, "home_id")
    return {siting.pk: of_home[siting.home_id] for siting in sitings}


def _standing(model: type[M], sitings: list[Siting]) -> Any:
    rows: Any = model._default_manager.filter(siting__in=sitings, archived_at__isnull=True)
    return rows


def _shown(rows: Iterable[Any], serializer: Any, by: str = "siting_id") -> Grouped:
    """Return rows as the API shows them, by what they lie under."""
    found: dict[UUID, list[Document]] = defaultdict(list)
    one = serializer()
    for row in rows:
        found[getattr(row, by)].append(one.to_representation(row))
    return found


def _contacts(person: User, sitings: list[Siting]) -> Grouped:
    """Return whom to call, for those who may see customers: a name, a phone, and the part they play."""
    found: dict[UUID, list[Document]] = defaultdict(list)
    if not may(person, Act.SEE, HomeContact):
        return found
    contacts: dict[UUID, list[Document]] = defaultdict(list)
    homes = [siting.home_id for siting in sitings]
    rows = HomeContact.objects.filter(home__in=homes, to_on__isnull=True).select_related("customer").order_by("pk")
    for row in rows:
        contacts[row.home_id].append({"part": row.part, "name": row.customer.name, "phone": row.customer.phone})
    return {siting.pk: contacts[siting.home_id] for siting in sitings}


# -- what was computed ---------------------------------------------------------------------------------------


class _Computed:
    """The heights of each home's last finished survey, and the plans that stand for it."""

    def __init__(self, sitings: list[Siting]) -> None:
        finished = Survey.objects.filter(siting__in=sitings, state=Survey.State.SUBMITTED)
        newest = finished.order_by("siting", "-started_at", "-pk").distinct("siting")
        self.surveys = {survey.siting_id: survey for survey in newest}
        answers = (
            Answer.objects.filter(survey__in=self.surveys.values())
            .order_by("kind")
            .annotate(
                heights=KeyTransform("heights", "calculation__result"),
                told=KeyTransform("cautions", "calculation__result"),
            )
        )
        self.answers: list[Any] = list(answers.values("survey_id", "kind", "heights", "told", "revision"))
        plans = Plan.objects.current().filter(survey__in=self.surveys.values()).order_by("pk")
        self.plans: list[Any] = list(
            plans.annotate(options=KeyTransform("options", "lift__result")).defer("provisional_points")
        )
        standing = Approval.objects.standing().filter(siting__in=sitings)
        self.approvals: dict[UUID, Approval] = {approval.siting_id: approval for approval in standing}
        checks = PlanCheck.objects.filter(plan__in=self.plans)
        self.told: list[Any] = list(checks.values_list(KeyTransform("cautions", "calculation__result"), flat=True))

    def of(self, siting: Siting) -> Document:
        """Return what is known of a siting."""
        survey = self.surveys.get(siting.pk)
        if survey is None:
            return {"last_survey": None, "plans": [], "approval": self._approval(siting)}
        levels = next((row for row in self._answers_of(survey) if row["kind"] == "levels"), None)
        return {
            "last_survey": {
                **SurveySerializer(survey).data,
                "heights": levels["heights"] if levels else None,
                "heights_are_newest": bool(levels and levels["revision"] == survey.revision),
            },
            "plans": [
                {**_plan(plan), "is_approved": self._is_approved(siting, plan)}
                for plan in self.plans
                if plan.survey_id == survey.pk
            ],
            "approval": self._approval(siting),
        }

    def _is_approved(self, siting: Siting, plan: Plan) -> bool:
        approval = self.approvals.get(siting.pk)
        return approval is not None and approval.plan_id == plan.pk

    def _approval(self, siting: Siting) -> Document | None:
        """Return the approval that stands; its plan is not among the plans once readings have come in since."""
        approval = self.approvals.get(siting.pk)
        if approval is None:
            return None
        approved_at = approval.approved_at.isoformat()
        return {
            "id": str(approval.pk),
            "plan": str(approval.plan_id),
            "number": approval.number,
            "approved_at": approved_at,
        }

    def _answers_of(self, survey: Survey) -> list[Document]:
        return [row for row in self.answers if row["survey_id"] == survey.pk]

    def cautions(self, language: str) -> list[Document]:
        """Return the cautions that go with all of this, each once, in the reader's language."""
        told = [row["told"] for row in self.answers]
        told += self.told
        with translation.override(language):
            found = {
                caution["code"]: {**caution, "text": spoken(caution["text"]), "source": cited(caution["source"])}
                for cautions in told
                for caution in cautions or []
            }
        return list(found.values())


def _plan(plan: Any) -> Document:
    """Return a plan with what happens at each support; heights are above the mean of all points that were read."""
    option = next(option for option in plan.options if option["name"] == plan.option)
    moves = [{"point": move["code"], **{name: move[name] for name in _MOVE}} for move in option["moves"]]
    return {
        "id": str(plan.pk),
        "survey": str(plan.survey_id),
        "option": plan.option,
        "minutes": option["minutes"],
        "is_recommended": plan.is_recommended,
        "is_provisional": plan.is_provisional,
        "freed": option["freed"],
        "moves": moves,
    }


_MOVE = ("move_in", "support_change_in", "from_in", "to_in")
