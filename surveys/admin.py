"""Plain admin for surveys, setups and readings; readings can only be looked at."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest

from jobs.admin_base import KeptAdmin, VersionedAdmin
from surveys.models import Reading, Setup, Survey
from surveys.services import note_change


@admin.register(Survey)
class SurveyAdmin(VersionedAdmin):
    list_display = ["started_at", "siting", "stage", "method", "unit", "state", "revision", "author"]
    list_filter = ["stage", "method", "state"]
    list_select_related = ["siting__home", "author"]
    raw_id_fields = ["siting", "visit", "author"]
    readonly_fields = ["unit", "state", "submitted_at", "revision"]
    search_fields = ["siting__home__code", "siting__address"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Surveys are started in the field, over the API."""
        return False

    def save_model(self, request: HttpRequest, obj: Survey, form: Any, change: bool) -> None:
        """What a submitted survey's results rest on may have changed."""
        super().save_model(request, obj, form, change)
        note_change(survey_id=obj.pk)


@admin.register(Setup)
class SetupAdmin(VersionedAdmin):
    list_display = ["code", "survey", "sense", "sense_trial", "reading_sd_in", "has_drift", "device"]
    list_filter = ["sense", "sense_trial"]
    list_select_related = ["survey"]
    raw_id_fields = ["survey"]
    search_fields = ["code", "survey__siting__home__code"]

    def save_model(self, request: HttpRequest, obj: Setup, form: Any, change: bool) -> None:
        """What a submitted survey's results rest on may have changed."""
        super().save_model(request, obj, form, change)
        note_change(survey_id=obj.survey_id)


@admin.register(Reading)
class ReadingAdmin(KeptAdmin):
    """Readings are append-only, and come in over the API alone."""

    list_display = ["received_at", "survey", "setup", "point", "shot", "round", "typed", "is_contested", "author"]
    list_filter = ["shot", "round", "is_contested"]
    list_select_related = ["survey", "setup", "point", "author"]
    search_fields = ["point__label", "survey__siting__home__code"]
    exclude = ["digest"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Readings come in over the API."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """A reading is never changed: add a correction."""
        return False
