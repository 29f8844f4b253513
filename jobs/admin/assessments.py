"""Assessments and signatures past their blocks: looked at here, written on their page. Papers are kept here too."""

from django.contrib import admin

from jobs.admin_base import VersionedAdmin
from jobs.admin_desk import LookedAtAdmin
from jobs.models import Assessment, BlockOverride, Paper


@admin.register(Assessment)
class AssessmentAdmin(LookedAtAdmin):
    list_display = ["assessed_on", "siting", "verdict", "cause", "water", "soil", "wait_until", "author"]
    list_filter = ["verdict", "cause", "water", "soil", "land", "assessed_on"]
    list_select_related = ["siting__home", "author"]
    search_fields = ["siting__home__code", "siting__home__name", "evidence", "reason", "author__username"]
    ordering = ["-id"]


@admin.register(BlockOverride)
class BlockOverrideAdmin(LookedAtAdmin):
    list_display = ["code", "assessment", "reason", "signed_by", "signed_at"]
    list_filter = ["code", "signed_at"]
    list_select_related = ["assessment", "signed_by"]
    search_fields = ["code", "reason", "assessment__siting__home__code", "signed_by__username"]
    ordering = ["-id"]


@admin.register(Paper)
class PaperAdmin(VersionedAdmin):
    list_display = ["kind", "number", "siting", "issued_on", "expires_on", "released_on", "archived_at"]
    list_filter = ["kind", "expires_on", ("siting", admin.EmptyFieldListFilter)]
    list_select_related = ["siting__home"]
    autocomplete_fields = ["siting"]
    search_fields = ["number", "note", "siting__home__code", "siting__home__name"]
    ordering = ["-id"]
