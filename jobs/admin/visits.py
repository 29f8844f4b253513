"""Visits, what crews told of them, and the time that was worked at them."""

from django.contrib import admin

from jobs.admin_base import VersionedAdmin
from jobs.admin_desk import LookedAtAdmin
from jobs.models import Visit, VisitReport, WorkTime


@admin.register(Visit)
class VisitAdmin(VersionedAdmin):
    list_display = ["starts_at", "kind", "siting", "state", "lead"]
    list_filter = ["kind", "state", "starts_at"]
    list_select_related = ["siting__home", "lead"]
    autocomplete_fields = ["siting", "lead", "crew"]
    search_fields = ["siting__home__code", "siting__home__name", "siting__address", "lead__username", "note"]
    date_hierarchy = "starts_at"
    ordering = ["-starts_at"]


@admin.register(WorkTime)
class WorkTimeAdmin(LookedAtAdmin):
    list_display = ["person", "visit", "started_at", "ended_at", "device", "received_at"]
    list_filter = ["started_at"]
    list_select_related = ["person", "visit"]
    search_fields = ["person__username", "person__last_name", "visit__siting__home__code"]


@admin.register(VisitReport)
class VisitReportAdmin(LookedAtAdmin):
    list_display = ["visit", "state", "reason", "author", "noted_at"]
    list_filter = ["state", "noted_at"]
    list_select_related = ["visit", "author"]
    search_fields = ["reason", "visit__siting__home__code", "author__username"]
    ordering = ["-id"]
