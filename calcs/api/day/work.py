"""The approved work of each home in a phone's day: passes, straps, stacks, what to load, and the closing gate."""

import datetime
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Value
from django.utils.translation import gettext as _

from calcs.api.closing_views import ClosingSerializer, OpenSerializer
from calcs.api.day.record import Document
from calcs.api.pass_serializers import PassEntrySerializer
from calcs.beginning import why_not_begin
from calcs.closing import Seen, closings_of, what_is_open
from calcs.engine.stacks import StackResult, StacksResult
from calcs.engine.straps import StrapResult
from calcs.labels import with_labels
from calcs.models import Answer, Approval, Calculation, Closing, PassEntry, PlanCheck
from calcs.set_up_anew import Mark, marks_of, set_up_anew
from calcs.sheet_page.attached import check_words
from calcs.sheet_page.known import Planned
from calcs.sheet_page.loading import loads_of
from calcs.spoken import spoken
from calcs.survey_page.checks import courses_words
from calcs.survey_page.record import result_of
from calcs.work import Step, WorkPass, WorkProgress, progress_by
from jobs.lengths import length
from jobs.models import User
from jobs.rulebook import Rules
from surveys.models import Setup

_CHECKS = ("passes", "stacks", "straps")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Read:
    """Everything about the work of some approvals, read at once."""

    checks: Mapping[UUID, dict[str, Calculation]]  # by plan and kind
    levels: Mapping[UUID, Calculation]  # by survey
    entries: Mapping[UUID, list[PassEntry]]  # by plan, as they were noted
    setups: Mapping[str, Setup]
    marks: Mapping[UUID, Mark]  # by setup
    anew: Mapping[UUID, datetime.datetime]  # by plan
    closings: Mapping[UUID, Closing]  # by approval


class Works:
    """The work by the approvals that stand. What is said in words is in the language that is active."""

    def __init__(
        self,
        *,
        approvals: Mapping[UUID, Approval],
        labels: Mapping[UUID, dict[str, str]],
        people: Mapping[UUID, list[User]],
        rules: Mapping[UUID, Rules],
        unit: str,
        date: datetime.date,
    ) -> None:
        self.approvals, self.labels, self.people, self.rules = approvals, labels, people, rules
        self.unit, self.date = unit, date
        self.read = _read(list(approvals.values()))
        self.seen = Seen(self.read.closings.values())

    def of(self, siting: UUID) -> Document:
        """Return the work and the closing of a siting, None where nothing is approved there."""
        approval = self.approvals.get(siting)
        if approval is None:
            return {"work": None, "closing": None}
        return {"work": self._work(siting, approval), "closing": self._closing(self.read.closings[approval.pk])}

    # -- the work ------------------------------------------------------------------------------------------------

    def _work(self, siting: UUID, approval: Approval) -> Document:
        plan, checks = approval.plan, self.read.checks[approval.plan_id]
        planned = Planned(plan=plan, checks=checks, rules=self.rules[siting], people=self.people[siting])
        entries = self.read.entries[plan.pk]
        progress = progress_by(
            plan,
            passes=checks.get("passes"),
            levels=self.read.levels.get(plan.survey_id),
            entries=entries,
            anew_since=self.read.anew.get(plan.pk),
        )
        loads, one = loads_of(planned), PassEntrySerializer()
        is_closed = self.read.closings[approval.pk].closed_at is not None
        return {
            "approval": str(approval.pk),
            "plan": str(plan.pk),
            "number": approval.number,
            "not_to_begin": [] if is_closed else why_not_begin(approval, progress, self.date),
            "unit": plan.survey.unit,
            "survey": str(plan.survey_id),
            "setup": self._setup(progress),
            "anew_since": progress.anew_since.isoformat() if progress.anew_since else None,
            "sd_in": progress.sd_in,
            "days": progress.days,
            "passes": [_pass(each) for each in progress.passes],
            "supports": _supports(planned, progress),
            "stops": [{"point": stop.code, "text": self._told(siting, stop.text)} for stop in progress.stops],
            "hanging": _hanging(planned),
            "straps": [_strap(strap) for strap in (planned.straps.straps if planned.straps else ())],
            "stacks": self._stacks(checks.get("stacks")),
            "loading": [
                {"part": load.part, "words": load.words, "count": load.count, "lb": load.lb} for load in loads
            ],
            "loading_lb": sum(load.lb for load in loads),
            "entries": [one.to_representation(entry) for entry in entries],
        }

    def _setup(self, progress: WorkProgress) -> Document | None:
        setup = self.read.setups.get(progress.setup or "")
        if setup is None:
            return None
        mark = self.read.marks.get(setup.pk)
        told = {"name": mark.label, "read_in": mark.read_in} if mark else None
        return {"id": str(setup.pk), "code": setup.code, "sense": setup.sense, "mark": told}

    def _told(self, siting: UUID, text: str) -> str:
        return with_labels(spoken(text), self.labels[siting])

    def _stacks(self, calculation: Calculation | None) -> list[Document]:
        found = result_of(calculation, StacksResult)
        return [self._stack(stack) for stack in (found.supports if found else ())]

    def _stack(self, stack: StackResult) -> Document:
        shim = length(stack.shim_in or 0.0, self.unit)
        return {
            "point": stack.code,
            "stack": list(stack.stack),
            "removed": list(stack.removed),
            "added": list(stack.added),
            "words": courses_words(stack.stack, shim) if stack.stack else _("No stack fits this height."),
        }

    # -- its end -------------------------------------------------------------------------------------------------

    def _closing(self, closing: Closing) -> Document:
        """Return what was checked and what is open; ``id`` is None while nobody has begun it."""
        still_open = () if closing.closed_at else what_is_open(closing, self.seen)
        return {
            **ClosingSerializer(closing).data,
            "id": None if closing._state.adding else str(closing.pk),
            "is_closed": closing.closed_at is not None,
            "open": OpenSerializer(still_open, many=True).data,
        }


def _read(approvals: list[Approval]) -> _Read:
    plans = [approval.plan_id for approval in approvals]
    surveys = {approval.plan.survey_id for approval in approvals}
    checks: dict[UUID, dict[str, Calculation]] = defaultdict(dict)
    for check in PlanCheck.objects.filter(plan__in=plans, kind__in=_CHECKS).select_related("calculation"):
        checks[check.plan_id][check.kind] = check.calculation
    entries: dict[UUID, list[PassEntry]] = defaultdict(list)
    noted = PassEntry.objects.filter(plan__in=plans).order_by("noted_at", "sequence", "pk")
    for entry in noted.annotate(is_plan_approved=Value(True)):
        entries[entry.plan_id].append(entry)
    answers = Answer.objects.filter(survey__in=surveys, kind="levels").select_related("calculation")
    setups = list(Setup.objects.filter(survey__in=surveys))
    return _Read(
        checks=checks,
        levels={answer.survey_id: answer.calculation for answer in answers},
        entries=entries,
        setups={str(setup.pk): setup for setup in setups},
        marks=marks_of(setup.pk for setup in setups),
        anew=set_up_anew(approval.plan for approval in approvals),
        closings=closings_of(approvals),
    )


def _supports(planned: Planned, progress: WorkProgress) -> list[Document]:
    move_in = {move.code: move.move_in for move in planned.option.moves}
    return [
        {"point": row.point, "change_in": row.change_in, "gap_in": round(row.change_in - move_in[row.point], 6)}
        for row in progress.supports
    ]


def _pass(each: WorkPass) -> Document:
    return {
        "number": each.number,
        "day": each.day,
        "groups": [[_step(step) for step in group] for group in each.groups],
        "beside": [{"point": step.point, "read_in": step.read_in} for step in each.beside],
    }


def _step(step: Step) -> Document:
    return {name: getattr(step, name) for name in ("point", "by_in", "read_in", "is_hanging", "jack_lb")}


def _hanging(planned: Planned) -> list[Document]:
    return [
        {"point": hang.code, "pass": each.number, "advice": hang.advice}
        for each in (planned.passes.passes if planned.passes else ())
        for hang in each.hanging_advice
    ]


def _strap(strap: StrapResult) -> Document:
    return {
        "strap": strap.code,
        "handling": strap.handling,
        "loosen_in": strap.slack_needed_in,
        "bolt_turns": strap.bolt_turns,
        "words": check_words(strap),
    }
