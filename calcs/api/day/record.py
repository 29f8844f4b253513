"""The record of each home in a phone's day: what is under it, what was found, what is being read."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import F, Model

from jobs.api import field_serializers, layout_serializers, safety_serializers
from jobs.models import (
    Benchmark,
    Connection,
    DrainNode,
    DrainRun,
    Finding,
    Hazard,
    HomeContact,
    NeighbourPair,
    Point,
    Siting,
    Strap,
    StrapCheck,
    Support,
    User,
)
from jobs.rights import Act, may
from surveys.api.serializers import ReadingSerializer, SetupSerializer, SurveySerializer
from surveys.models import Reading, Setup, Survey

M = TypeVar("M", bound=Model)
Document = dict[str, Any]
Grouped = Mapping[UUID, list[Any]]


def parts_of(person: User, sitings: list[Siting]) -> dict[str, Grouped]:
    """Return what lies under each siting, by the name that the answer gives it."""
    open_surveys = list(Survey.objects.filter(siting__in=sitings, state=Survey.State.OPEN).order_by("started_at"))
    setups = shown(Setup.objects.filter(survey__in=open_surveys), SetupSerializer, "survey_id")
    standing = Reading.objects.standing().filter(survey__in=open_surveys)
    readings = shown(standing, ReadingSerializer, "survey_id")
    surveys: dict[UUID, list[Document]] = defaultdict(list)
    for survey in open_surveys:
        told = SurveySerializer(survey).data
        surveys[survey.siting_id].append(
            {**told, "setups": setups[survey.pk], "standing_readings": readings[survey.pk]}
        )
    layout = layout_serializers
    supports = Support.objects.standing().filter(point__siting__in=sitings)
    marks = Benchmark.objects.filter(point__siting__in=sitings, point__archived_at__isnull=True)
    return {
        "contacts": _contacts(person, sitings),
        "points": shown(_standing(Point, sitings).order_by("walk_order", "pk"), layout.PointSerializer),
        "supports": shown(
            supports.order_by("point__walk_order", "pk").annotate(siting_id=F("point__siting")),
            layout.SupportSerializer,
        ),
        "neighbour_pairs": shown(
            NeighbourPair.objects.filter(siting__in=sitings).order_by("pk"), layout.NeighbourPairSerializer
        ),
        "benchmarks": shown(
            marks.select_related("point").order_by("point__label").annotate(siting_id=F("point__siting")),
            layout.BenchmarkSerializer,
        ),
        "connections": shown(_standing(Connection, sitings).order_by("code"), layout.ConnectionSerializer),
        "straps": shown(_standing(Strap, sitings).order_by("code"), layout.StrapSerializer),
        "drain_runs": _drain_runs(sitings),
        "findings": shown(_standing(Finding, sitings).order_by("pk"), field_serializers.FindingSerializer),
        "hazards": _hazards(sitings),
        "strap_checks": _strap_checks(sitings),
        "open_surveys": surveys,
    }


def _drain_runs(sitings: list[Siting]) -> Grouped:
    """Return the drain runs that stand, each with the places on it from its upper end down."""
    nodes = DrainNode.objects.filter(run__siting__in=sitings, run__archived_at__isnull=True).order_by("at_ft")
    nodes_of = shown(nodes, layout_serializers.DrainNodeSerializer, "run_id")
    found: dict[UUID, list[Document]] = defaultdict(list)
    for run in _standing(DrainRun, sitings).order_by("code"):
        found[run.siting_id].append({**layout_serializers.DrainRunSerializer(run).data, "nodes": nodes_of[run.pk]})
    return found


def _hazards(sitings: list[Siting]) -> Grouped:
    """Return what may hurt somebody at each home and nobody has cleared yet."""
    homes = [siting.home_id for siting in sitings]
    rows = Hazard.objects.open().filter(home__in=homes).order_by("pk")
    of_home = shown(rows, safety_serializers.HazardSerializer, "home_id")
    return {siting.pk: of_home[siting.home_id] for siting in sitings}


def _strap_checks(sitings: list[Siting]) -> Grouped:
    """Return the newest check of each strap that stands."""
    checks = StrapCheck.objects.filter(strap__siting__in=sitings, strap__archived_at__isnull=True)
    newest = checks.order_by("strap", "-noted_at", "-sequence", "-pk").distinct("strap")
    return shown(newest.annotate(siting_id=F("strap__siting")), field_serializers.StrapCheckSerializer)


def _standing(model: type[M], sitings: list[Siting]) -> Any:
    rows: Any = model._default_manager.filter(siting__in=sitings, archived_at__isnull=True)
    return rows


def shown(rows: Iterable[Any], serializer: Any, by: str = "siting_id") -> Grouped:
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
