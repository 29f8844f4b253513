"""Surveys, setups, readings, and what phones sent; readings and entries can only be looked at."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs.admin.changes import register_changes
from jobs.admin_base import VersionedAdmin
from jobs.admin_desk import ChoicesFilter, LookedAtAdmin, in_sixteenths
from surveys.models import Reading, Setup, Survey, SyncEntry
from surveys.services import note_change


@admin.register(Survey)
class SurveyAdmin(VersionedAdmin):
    list_display = ["started_at", "siting", "stage", "method", "unit", "state", "revision", "author"]
    list_filter = ["stage", "method", "state", "unit", "started_at"]
    list_select_related = ["siting__home", "author"]
    autocomplete_fields = ["siting", "visit", "author"]
    readonly_fields = ["unit"]
    search_fields = ["siting__home__code", "siting__home__name", "siting__address", "author__username", "note"]
    date_hierarchy = "started_at"
    ordering = ["-started_at"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Surveys are started in the field, over the API."""
        return False

    def save_model(self, request: HttpRequest, obj: Survey, form: Any, change: bool) -> None:
        """What a submitted survey's results rest on may have changed."""
        super().save_model(request, obj, form, change)
        note_change(survey_id=obj.pk)


@admin.register(Setup)
class SetupAdmin(VersionedAdmin):
    list_display = ["code", "survey", "home", "sense", "sense_trial", "reading_sd_in", "has_drift", "device"]
    list_filter = ["sense", "sense_trial", "has_drift"]
    list_select_related = ["survey__siting__home"]
    autocomplete_fields = ["survey"]
    search_fields = ["=code", "survey__siting__home__code", "device"]
    ordering = ["-id"]

    @admin.display(description=_("home"), ordering="survey__siting__home__code")
    def home(self, setup: Setup) -> str:
        """The home that was read."""
        return str(setup.survey.siting.home)

    def save_model(self, request: HttpRequest, obj: Setup, form: Any, change: bool) -> None:
        """What a submitted survey's results rest on may have changed."""
        super().save_model(request, obj, form, change)
        note_change(survey_id=obj.survey_id)


class RoundFilter(ChoicesFilter):
    """Readings of one round."""

    title = _("round")
    parameter_name = "round"
    values = tuple(range(1, 10))


@admin.register(Reading)
class ReadingAdmin(LookedAtAdmin):
    """Readings are append-only, and come in over the API or by file alone.

    There are millions: they are found by the home's code or the point's label, whole or from its beginning.
    """

    list_display = [
        *("received_at", "survey", "home", "setup", "point", "shot", "round", "typed"),
        in_sixteenths("value_in", _("value, in")),
        *("is_contested", "author"),
    ]
    list_filter = ["shot", RoundFilter, "is_contested", "unit"]
    list_select_related = ["survey__siting__home", "setup", "point", "author"]
    search_fields = ["=point__label", "^survey__siting__home__code"]
    exclude = ["digest"]
    ordering = ["-id"]

    @admin.display(description=_("home"))
    def home(self, reading: Reading) -> str:
        """The home that was read."""
        return str(reading.survey.siting.home)


@admin.register(SyncEntry)
class SyncEntryAdmin(LookedAtAdmin):
    """Entries as phones sent them, those that were set aside among them."""

    list_display = ["received_at", "kind", "state", "why", "author", "sent_by", "device", "sequence", "noted_at"]
    list_filter = ["state", "received_at"]
    list_select_related = ["author", "sent_by"]
    search_fields = ["=device", "=kind", "author__username"]
    exclude = ["digest"]
    ordering = ["-id"]

    @admin.display(description=_("why"))
    def why(self, entry: SyncEntry) -> str:
        """Why it was set aside."""
        reason = entry.reason or {}
        return str(reason.get("message", ""))


register_changes("surveys")
