"""Calculations, answers and plans in the admin: to look at, and to run a failed calculation again."""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.timesince import timesince
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from calcs.models import Answer, Calculation, Plan
from calcs.services import run_again
from jobs.models import User

if TYPE_CHECKING:
    ModelAdmin = admin.ModelAdmin[Any]
else:  # at run time it takes no type
    ModelAdmin = admin.ModelAdmin


class ReadOnlyAdmin(ModelAdmin):
    """Rows that come out of calculations: nobody adds, changes or deletes one by hand."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Refuse to add."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Refuse to change."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Refuse to delete."""
        return False


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
class CalculationAdmin(ReadOnlyAdmin):
    """Stored calculations, newest first; those that stand unanswered are one of the filters."""

    list_display = ["id", "kind", "survey", "state", "reason", "attempt", "age", "finished_at"]
    list_filter = [StandingFilter, "state", "kind", "engine_version"]
    list_select_related = ["survey"]
    list_per_page = 50
    show_full_result_count = False
    search_fields = ["id", "survey__id", "input_sha256"]
    ordering = ["-id"]
    actions = ["run_failed_again"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Calculation]:
        """Leave the large documents in the database until one is opened."""
        return super().get_queryset(request).defer("input", "result")

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
class AnswerAdmin(ReadOnlyAdmin):
    """Which calculation stands for a survey."""

    list_display = ["survey", "kind", "revision", "calculation"]
    list_filter = ["kind"]
    list_select_related = ["survey", "calculation"]
    search_fields = ["survey__id"]
    ordering = ["-id"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Answer]:
        """Leave the large documents in the database."""
        return super().get_queryset(request).defer("calculation__input", "calculation__result")


@admin.register(Plan)
class PlanAdmin(ReadOnlyAdmin):
    """Lift plans."""

    list_display = ["survey", "option", "is_recommended", "is_provisional", "created_at"]
    list_filter = ["option", "is_recommended", "is_provisional"]
    list_select_related = ["survey"]
    search_fields = ["survey__id"]
    ordering = ["-id"]
