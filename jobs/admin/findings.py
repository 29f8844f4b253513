"""What crews found: it comes in from their phones, and is only looked at here; what is wrong is archived."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs.admin_base import KeptAdmin
from jobs.admin_desk import LookedAtAdmin, in_sixteenths
from jobs.models import Finding, Photo, PhotoUpload, StrapCheck


class FoundAdmin(KeptAdmin):
    """Rows that are archived, and otherwise left as they were noted."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """They come in from phones."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """What was noted stays."""
        return False


@admin.register(Finding)
class FindingAdmin(FoundAdmin):
    list_display = [
        *("siting", "grade", "text", "point", "connection", "strap", "drain_run", "item"),
        *("author", "noted_at", "archived_at"),
    ]
    list_filter = ["grade", "noted_at", ("archived_at", admin.EmptyFieldListFilter)]
    list_select_related = ["siting__home", "point", "connection", "strap", "drain_run", "author"]
    search_fields = ["siting__home__code", "siting__home__name", "point__label", "text", "author__username"]
    ordering = ["-id"]


@admin.register(StrapCheck)
class StrapCheckAdmin(LookedAtAdmin):
    list_display = [
        *("strap", "home", "grade"),
        in_sixteenths("slack_in", _("slack, in")),
        *("method", "tension_lb", "frequency_hz", "author", "noted_at"),
    ]
    list_filter = ["grade", "method", "noted_at"]
    list_select_related = ["strap__siting__home", "author"]
    search_fields = ["strap__code", "strap__siting__home__code", "text", "author__username"]
    ordering = ["-id"]

    @admin.display(description=_("home"), ordering="strap__siting__home__code")
    def home(self, check: StrapCheck) -> str:
        """The home that the strap holds."""
        return str(check.strap.siting.home)


@admin.register(Photo)
class PhotoAdmin(FoundAdmin):
    list_display = ["caption", "siting", "author", "noted_at", "media_type", "size_bytes", "archived_at"]
    list_filter = ["noted_at", ("archived_at", admin.EmptyFieldListFilter)]
    list_select_related = ["siting__home", "author"]
    search_fields = ["caption", "siting__home__code", "siting__home__name", "author__username"]
    ordering = ["-id"]


@admin.register(PhotoUpload)
class PhotoUploadAdmin(LookedAtAdmin):
    list_display = ["caption", "siting", "author", "received_bytes", "size_bytes", "noted_at", "touched_at"]
    list_filter = ["touched_at"]
    list_select_related = ["siting__home", "author"]
    search_fields = ["caption", "siting__home__code", "author__username"]
    ordering = ["-id"]
