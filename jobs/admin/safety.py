"""Hazards, who has read which caution, head counts: only looked at here. A manager has names erased."""

from typing import Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs.admin_desk import LookedAtAdmin
from jobs.erasing import erase_names
from jobs.models import CautionRead, Hazard, HeadCount
from jobs.rights import is_manager


@admin.register(Hazard)
class HazardAdmin(LookedAtAdmin):
    list_display = ["home", "kind", "text", "author", "noted_at", "cleared_at", "cleared_by", "cleared_why"]
    list_filter = ["kind", "noted_at", ("cleared_at", admin.EmptyFieldListFilter)]
    list_select_related = ["home", "author", "cleared_by"]
    search_fields = ["home__code", "home__name", "text", "cleared_why", "author__username"]
    ordering = ["-id"]


class NamesAdmin(LookedAtAdmin):
    """Rows that name people who may have no account: a manager has the names erased."""

    name_field = ""
    actions = ["erase_names"]

    def has_erase_permission(self, request: HttpRequest) -> bool:
        """Only a manager erases."""
        return is_manager(request.user)

    @admin.action(description=_("Erase these names everywhere"), permissions=["erase"])
    def erase_names(self, request: HttpRequest, queryset: QuerySet[Any]) -> None:
        """Blank the names of the chosen rows, wherever people are named so."""
        names = set(queryset.values_list(self.name_field, flat=True))
        erase_names(names)
        self.tell_done(request, len(names))


@admin.register(CautionRead)
class CautionReadAdmin(NamesAdmin):
    name_field = "reader_name"
    list_display = ["reader_name", "code", "moment", "visit", "language", "author", "noted_at"]
    list_filter = ["moment", "language", "noted_at"]
    list_select_related = ["visit", "author"]
    search_fields = ["reader_name", "code", "visit__siting__home__code", "author__username"]
    ordering = ["-id"]


@admin.register(HeadCount)
class HeadCountAdmin(NamesAdmin):
    name_field = "person_name"
    list_display = ["person_name", "is_in", "visit", "author", "noted_at"]
    list_filter = ["is_in", "noted_at"]
    list_select_related = ["visit", "author"]
    search_fields = ["person_name", "visit__siting__home__code", "author__username"]
    ordering = ["-id"]
