"""What was computed of each home in a phone's day: heights, plans, and which of them is approved."""

from typing import Any
from uuid import UUID

from django.db.models.fields.json import KeyTransform

from calcs.api.day.record import Document
from calcs.citations import cited
from calcs.models import Answer, Approval, Plan, PlanCheck
from calcs.spoken import spoken
from jobs.models import Siting
from surveys.api.serializers import SurveySerializer
from surveys.models import Survey


class Computed:
    """The heights of each home's last finished survey, the plans that stand for it, and the approval that stands."""

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
        standing = (
            Approval.objects.standing()
            .filter(siting__in=sitings)
            .select_related("plan__lift", "plan__survey__siting__home__rule_set", "siting__home__rule_set")
        )
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

    def cautions(self) -> list[Document]:
        """Return the cautions that go with all of this, each once, in the language that is active."""
        told = [*(row["told"] for row in self.answers), *self.told]
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
