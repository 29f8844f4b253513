"""Calculations, answers and plans in the admin: to look at, and to run a failed calculation again."""

from typing import TYPE_CHECKING, Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest

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


@admin.register(Calculation)
class CalculationAdmin(ReadOnlyAdmin):
    """Stored calculations, newest first."""

    list_display = ["id", "kind", "survey", "state", "attempt", "created_at", "finished_at"]
    list_filter = ["state", "kind", "engine_version"]
    list_select_related = ["survey"]
    search_fields = ["id", "survey__id", "input_sha256"]
    ordering = ["-id"]
    actions = ["run_failed_again"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Calculation]:
        """Leave the large documents in the database until one is opened."""
        return super().get_queryset(request).defer("input", "result")

    @admin.action(description="Run again where it failed or timed out", permissions=["view"])
    def run_failed_again(self, request: HttpRequest, queryset: QuerySet[Calculation]) -> None:
        """Queue failed calculations as new rows."""
        by = request.user if isinstance(request.user, User) else None
        failed = list(queryset.filter(state__in=[Calculation.State.FAILED, Calculation.State.TIMED_OUT]))
        for calculation in failed:
            run_again(calculation, by=by)
        self.message_user(request, f"{len(failed)} of {queryset.count()} had failed and will run again.")


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
