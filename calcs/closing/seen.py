"""What closing gates are told from: read once for all of them, each table when it is first needed."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import datetime
from functools import cached_property
from typing import Any, TypeVar
from uuid import UUID

from django.db.models import Exists, F, Max, OuterRef, Q

from calcs.models import Answer, Approval, Calculation, Closing, PassEntry, PlanCheck
from jobs.models import Connection, ConnectionKind, HeadCount, Photo, Point, Strap, StrapCheck, Support
from surveys.models import Reading

T = TypeVar("T")


class Seen:
    """What is known of the homes of some closings. The queries are as many for one as for all."""

    def __init__(self, closings: Iterable[Closing]) -> None:
        self._closings = list(closings)
        self._sitings = {closing.approval.siting_id for closing in self._closings}
        self._surveys = {closing.as_left_id for closing in self._closings if closing.as_left_id}

    # -- the work ------------------------------------------------------------------------------------------------

    @cached_property
    def approvals(self) -> Mapping[UUID, list[Approval]]:
        """By siting those that were worked by, and those of the closings, oldest first; each comes with its lift."""
        done = PassEntry.objects.filter(plan=OuterRef("plan"), is_done=True)
        own = [closing.approval_id for closing in self._closings]
        rows = Approval.objects.annotate(is_worked=Exists(done)).filter(Q(is_worked=True) | Q(pk__in=own))
        beside = ("plan__lift", "plan__survey__siting__home", "plan__survey__author")
        inorder = rows.filter(siting__in=self._sitings).select_related(*beside).order_by("number")
        return _by((row.siting_id, row) for row in inorder)

    @cached_property
    def closed(self) -> Mapping[UUID, list[tuple[UUID, int]]]:
        """By siting the closings that are closed, with the number of their approval."""
        rows = Closing.objects.filter(approval__siting__in=self._sitings, closed_at__isnull=False)
        found = rows.values_list("approval__siting", "pk", "approval__number")
        return _by((siting, (key, number)) for siting, key, number in found)

    @cached_property
    def last_work_at(self) -> Mapping[UUID, datetime]:
        """By plan when something was last noted as done."""
        rows = PassEntry.objects.filter(plan__in=self._plans, is_done=True).order_by()
        return dict(rows.values_list("plan").annotate(at=Max("noted_at")))

    @property
    def _plans(self) -> list[UUID]:
        return [approval.plan_id for rows in self.approvals.values() for approval in rows]

    # -- what ties a home down or feeds it -----------------------------------------------------------------------

    @cached_property
    def straps_checks(self) -> Mapping[UUID, list[Calculation]]:
        """By plan what was computed of its straps."""
        rows = PlanCheck.objects.filter(plan__in=self._plans, kind="straps")
        return _by(
            (row.plan_id, row.calculation) for row in rows.select_related("calculation").defer("calculation__input")
        )

    @cached_property
    def straps(self) -> Mapping[UUID, list[Strap]]:
        """By siting the straps that stand, by their codes."""
        rows = Strap.objects.standing().filter(siting__in=self._sitings).order_by("code")
        return _by((row.siting_id, row) for row in rows)

    @cached_property
    def strap_checks(self) -> Mapping[UUID, list[StrapCheck]]:
        """By strap its checks, oldest first."""
        rows = StrapCheck.objects.filter(strap__siting__in=self._sitings).order_by("noted_at", "sequence", "pk")
        return _by((row.strap_id, row) for row in rows)

    @cached_property
    def gas_lines(self) -> Mapping[UUID, list[Connection]]:
        """By siting the connections for gas, by their codes."""
        rows = Connection.objects.filter(kind=ConnectionKind.GAS, siting__in=self._sitings).order_by("code")
        return _by((row.siting_id, row) for row in rows)

    # -- the survey as left --------------------------------------------------------------------------------------

    @cached_property
    def readings(self) -> Mapping[UUID, list[Reading]]:
        """By survey as left the readings that count."""
        rows = Reading.objects.standing().filter(survey__in=self._surveys).select_related("setup")
        return _by((row.survey_id, row) for row in rows)

    @cached_property
    def answers(self) -> Mapping[tuple[UUID, str], Calculation]:
        """By survey as left and kind what was computed of its newest revision."""
        rows = Answer.objects.filter(
            survey__in=self._surveys,
            kind__in=["levels", "flatness"],
            revision=F("survey__revision"),
            calculation__state="done",
        )
        return {(row.survey_id, row.kind): row.calculation for row in rows.select_related("calculation")}

    @cached_property
    def labels(self) -> Mapping[UUID, dict[UUID, str]]:
        """By siting what its points are called."""
        found: dict[UUID, dict[UUID, str]] = defaultdict(dict)
        for siting, key, label in Point.objects.filter(siting__in=self._sitings).values_list("siting", "pk", "label"):
            found[siting][key] = label
        return found

    @cached_property
    def supports(self) -> Mapping[UUID, list[UUID]]:
        """By siting the points with a support, in the order of the walk."""
        rows = Support.objects.standing().filter(point__siting__in=self._sitings, point__archived_at__isnull=True)
        inorder = rows.order_by("point__walk_order", "point__label")
        return _by(inorder.values_list("point__siting", "point"))

    # -- people and photos ---------------------------------------------------------------------------------------

    @cached_property
    def head_counts(self) -> Mapping[UUID, list[HeadCount]]:
        """By siting who was counted in and out, at all its visits."""
        rows = HeadCount.objects.filter(visit__siting__in=self._sitings).select_related("visit")
        return _by((row.visit.siting_id, row) for row in rows)

    @cached_property
    def last_photo_at(self) -> Mapping[UUID, datetime]:
        """By siting when its newest photo was taken."""
        rows = Photo.objects.standing().filter(siting__in=self._sitings).order_by()
        return dict(rows.values_list("siting").annotate(at=Max("noted_at")))


def _by(pairs: Iterable[tuple[UUID, Any]]) -> Mapping[UUID, list[Any]]:
    found: dict[UUID, list[Any]] = defaultdict(list)
    for key, row in pairs:
        found[key].append(row)
    return found
