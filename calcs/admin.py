"""Calculations, answers and plans in the admin: to look at, and to run a failed calculation again."""

from typing import Any, get_args

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.timesince import timesince
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from calcs.engine.kinds import KINDS
from calcs.engine.lift.types import OptionName
from calcs.models import (
    Answer,
    Approval,
    Calculation,
    Closing,
    Due,
    NightlyRun,
    PassEntry,
    Plan,
    PlanCheck,
    RoutePlan,
    Trial,
    WorkerBeat,
)
from calcs.questions import ENGINE_KIND
from calcs.services import request_calculations, run_again
from jobs.admin.changes import register_changes
from jobs.admin_desk import ChoicesFilter, LookedAtAdmin, in_sixteenths
from jobs.models import User
from surveys.admin import SurveyAdmin
from surveys.models import Survey


class KindFilter(ChoicesFilter):
    """Calculations of one kind."""

    title = gettext_lazy("kind")
    parameter_name = "kind"
    values = tuple(KINDS)


class QuestionFilter(ChoicesFilter):
    """Answers to one kind of question."""

    title = gettext_lazy("kind")
    parameter_name = "kind"
    values = (*KINDS, *ENGINE_KIND)


class StandingFilter(admin.SimpleListFilter):
    """The dead letters: what ended without an answer, with nothing in its place."""

    title = gettext_lazy("what came of it")
    parameter_name = "came"

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[str, str]]:
        """Offer the one choice."""
        return [("nothing", _("dead letters: no answer, and nothing in its place"))]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Calculation]) -> QuerySet[Calculation]:
        """Narrow the list, when that is asked for."""
        return queryset & Calculation.objects.dead_letters() if self.value() == "nothing" else queryset


@admin.register(Calculation)
class CalculationAdmin(LookedAtAdmin):
    """Stored calculations, newest first; those that stand unanswered are one of the filters."""

    list_display = ["id", "kind", "home", "survey", "state", "reason", "attempt", "age", "finished_at"]
    list_filter = [StandingFilter, "state", KindFilter]
    list_select_related = ["survey__siting__home"]
    search_fields = ["id__exact", "survey__id__exact", "input_sha256__exact", "^survey__siting__home__code"]
    csv_left_out = ("input", "result")
    ordering = ["-id"]
    actions = ["run_failed_again"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Calculation]:
        """Leave the large documents in the database until one is opened."""
        return super().get_queryset(request).defer("input", "result")

    @admin.display(description=gettext_lazy("home"))
    def home(self, calculation: Calculation) -> str:
        """The home that it is about."""
        return str(calculation.survey.siting.home)

    @admin.display(description=gettext_lazy("why there is no answer"))
    def reason(self, calculation: Calculation) -> str:
        """Say why there is no answer, as it is stored."""
        error = calculation.error or {}
        return ": ".join(str(error[name]) for name in ("code", "message") if error.get(name))

    @admin.display(description=gettext_lazy("asked"), ordering="created_at")
    def age(self, calculation: Calculation) -> str:
        """Say how long ago it was asked for."""
        return _("%(time)s ago") % {"time": timesince(calculation.created_at, timezone.now())}

    @admin.action(description=gettext_lazy("Run again"), permissions=["view"])
    def run_failed_again(self, request: HttpRequest, queryset: QuerySet[Calculation]) -> None:
        """Queue what failed or timed out as new rows; others stay as they are."""
        by = request.user if isinstance(request.user, User) else None
        chosen = list(queryset)
        failed = [row for row in chosen if row.state in (Calculation.State.FAILED, Calculation.State.TIMED_OUT)]
        for calculation in failed:
            run_again(calculation, by=by)
        told = ngettext(
            "%(failed)d of %(chosen)d had failed and will run again.",
            "%(failed)d of %(chosen)d had failed and will run again.",
            len(failed),
        )
        self.message_user(request, told % {"failed": len(failed), "chosen": len(chosen)})


@admin.register(Answer)
class AnswerAdmin(LookedAtAdmin):
    """Which calculation stands for a survey."""

    list_display = ["survey", "kind", "revision", "calculation"]
    list_filter = [QuestionFilter]
    list_select_related = ["survey", "calculation"]
    search_fields = ["survey__id__exact", "^survey__siting__home__code"]
    ordering = ["-id"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Answer]:
        """Leave the large documents in the database."""
        return super().get_queryset(request).defer("calculation__input", "calculation__result")


class OptionFilter(ChoicesFilter):
    """Plans of one option."""

    title = gettext_lazy("option")
    parameter_name = "option"
    values = get_args(OptionName)


@admin.register(Plan)
class PlanAdmin(LookedAtAdmin):
    """Lift plans."""

    list_display = ["home", "survey", "option", "is_recommended", "is_provisional", "created_at"]
    list_filter = [OptionFilter, "is_recommended", "is_provisional"]
    list_select_related = ["survey__siting__home"]
    search_fields = ["survey__id__exact", "^survey__siting__home__code"]
    ordering = ["-id"]

    @admin.display(description=gettext_lazy("home"), ordering="survey__siting__home__code")
    def home(self, plan: Plan) -> str:
        """The home that the plan lifts."""
        return str(plan.survey.siting.home)


@admin.register(PlanCheck)
class PlanCheckAdmin(LookedAtAdmin):
    """What checks plans."""

    list_display = ["home", "plan_option", "kind", "state"]
    list_filter = [KindFilter]
    list_select_related = ["plan__survey__siting__home", "calculation"]
    search_fields = ["plan__survey__id__exact", "plan__id__exact", "^plan__survey__siting__home__code"]
    ordering = ["-id"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[PlanCheck]:
        """Leave the large documents in the database."""
        return super().get_queryset(request).defer("calculation__input", "calculation__result")

    @admin.display(description=gettext_lazy("home"), ordering="plan__survey__siting__home__code")
    def home(self, check: PlanCheck) -> str:
        """The home that the plan lifts."""
        return str(check.plan.survey.siting.home)

    @admin.display(description=gettext_lazy("option"), ordering="plan__option")
    def plan_option(self, check: PlanCheck) -> str:
        """The option that is checked."""
        return check.plan.option

    @admin.display(description=gettext_lazy("state"), ordering="calculation__state")
    def state(self, check: PlanCheck) -> str:
        """Where the calculation stands."""
        return check.calculation.get_state_display()


@admin.register(Trial)
class TrialAdmin(LookedAtAdmin):
    """What was tried beside the record."""

    list_display = ["home", "survey", "state", "revision", "asked_by", "asked_at"]
    list_filter = ["asked_at"]
    list_select_related = ["survey__siting__home", "calculation", "asked_by"]
    search_fields = ["survey__id__exact", "^survey__siting__home__code", "asked_by__username"]
    ordering = ["-id"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Trial]:
        """Leave the large documents in the database."""
        return super().get_queryset(request).defer("calculation__input", "calculation__result")

    @admin.display(description=gettext_lazy("home"), ordering="survey__siting__home__code")
    def home(self, trial: Trial) -> str:
        """The home that it is about."""
        return str(trial.survey.siting.home)

    @admin.display(description=gettext_lazy("state"), ordering="calculation__state")
    def state(self, trial: Trial) -> str:
        """Where the calculation stands."""
        return trial.calculation.get_state_display()


@admin.register(RoutePlan)
class RoutePlanAdmin(LookedAtAdmin):
    """Plans of several due visits. They are asked for and booked from on their pages."""

    list_display = ["from_on", "state", "attempt", "requested_by", "created_at", "finished_at"]
    list_filter = ["state", "created_at"]
    list_select_related = ["requested_by"]
    search_fields = ["id__exact", "requested_by__username"]
    ordering = ["-id"]


@admin.register(PassEntry)
class PassEntryAdmin(LookedAtAdmin):
    """Steps of the work as crews noted them on their phones."""

    list_display = [
        *("plan", "pass_number", "point", "is_done", "typed"),
        in_sixteenths("value_in", gettext_lazy("value, in")),
        *("author", "noted_at"),
    ]
    list_filter = ["is_done", "noted_at"]
    list_select_related = ["plan__survey", "point", "author"]
    search_fields = ["=point__label", "^plan__survey__siting__home__code", "author__username"]
    ordering = ["-id"]


@admin.register(Approval)
class ApprovalAdmin(LookedAtAdmin):
    """Approvals of plans. They are given and withdrawn on the plan's page."""

    list_display = ["home", "number", "plan", "approved_by", "approved_at", "is_by_manager", "withdrawn_at"]
    list_filter = ["is_by_manager", "approved_at", "withdrawn_at"]
    list_select_related = ["siting__home", "plan__survey", "approved_by"]
    search_fields = ["^siting__home__code", "plan__id__exact", "approved_by__username"]
    ordering = ["-id"]

    @admin.display(description=gettext_lazy("home"), ordering="siting__home__code")
    def home(self, approval: Approval) -> str:
        """The home that is lifted by it."""
        return str(approval.siting.home)


@admin.register(Closing)
class ClosingAdmin(LookedAtAdmin):
    """What was checked at the end of approved work. It is filled in and closed on its page."""

    list_display = ["home", "approval", "as_left", "gas", "doors_windows", "closed_at", "closed_by"]
    list_filter = ["gas", "doors_windows", "closed_at"]
    list_select_related = ["approval__siting__home", "approval__plan__survey", "as_left", "closed_by"]
    search_fields = ["^approval__siting__home__code", "gas_checked_by"]
    ordering = ["-id"]

    @admin.display(description=gettext_lazy("home"), ordering="approval__siting__home__code")
    def home(self, closing: Closing) -> str:
        """The home that was lifted."""
        return str(closing.approval.siting.home)


@admin.register(Due)
class DueAdmin(LookedAtAdmin):
    """When each home is due. The night writes it; it is booked from on the due list."""

    list_display = ["home", "due_on", "latest_on", "basis", "standing", "chance_now", "is_stable", "as_of"]
    list_filter = ["standing", "basis", "is_stable", "due_on"]
    list_select_related = ["siting__home"]
    search_fields = ["^siting__home__code"]
    csv_left_out = ("lines",)
    ordering = ["-id"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Due]:
        """Leave what like homes learn from in the database."""
        return super().get_queryset(request).defer("lines")

    @admin.display(description=gettext_lazy("home"), ordering="siting__home__code")
    def home(self, due: Due) -> str:
        """The home that is due."""
        return str(due.siting.home)


@admin.register(NightlyRun)
class NightlyRunAdmin(LookedAtAdmin):
    """Nights: how far each walk through all homes came, and which homes could not be computed."""

    list_display = ["day", "state", "done", "failed", "total", "started_at", "finished_at"]
    list_filter = ["state"]
    search_fields = ["id__exact"]
    ordering = ["-day"]


@admin.register(WorkerBeat)
class WorkerBeatAdmin(LookedAtAdmin):
    """When each worker last said that it is alive."""

    list_display = ["worker", "at"]
    search_fields = ["worker"]
    ordering = ["-at"]


admin.site.unregister(Survey)


@admin.register(Survey)
class ComputedSurveyAdmin(SurveyAdmin):
    """Surveys, with the calculations that can be asked for here only: surveys know nothing of them."""

    actions = ["compute"]

    @admin.action(description=gettext_lazy("Run the calculations again"), permissions=["view"])
    def compute(self, request: HttpRequest, queryset: QuerySet[Survey]) -> None:
        """Ask for the answers of the chosen surveys that are handed in; what is answered already stays."""
        by = request.user if isinstance(request.user, User) else None
        handed_in = queryset.filter(state=Survey.State.SUBMITTED)
        self.tell_done(request, self.do_each(request, handed_in, lambda survey: request_calculations(survey, by=by)))


register_changes("calcs")
