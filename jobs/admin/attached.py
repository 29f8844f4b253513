"""What ties homes to the ground and the street."""

from django.contrib import admin
from django.utils.translation import gettext_lazy as _

from jobs.admin_base import VersionedAdmin
from jobs.admin_desk import in_sixteenths
from jobs.models import Connection, Strap


@admin.register(Connection)
class ConnectionAdmin(VersionedAdmin):
    list_display = [
        *("code", "kind", "siting", "measured"),
        in_sixteenths("free_up_in", _("free up, in")),
        in_sixteenths("free_down_in", _("free down, in")),
        *("trade", "archived_at"),
    ]
    list_filter = ["kind", "measured", "trade", ("archived_at", admin.EmptyFieldListFilter)]
    list_select_related = ["siting__home"]
    autocomplete_fields = ["siting"]
    search_fields = ["code", "siting__home__code", "siting__home__name", "note"]
    ordering = ["-id"]


@admin.register(Strap)
class StrapAdmin(VersionedAdmin):
    list_display = [
        *("code", "siting", "point", "anchor_kind"),
        in_sixteenths("slack_in", _("slack, in")),
        *("tension_lb", "archived_at"),
    ]
    list_filter = ["anchor_kind", "soil_class", ("archived_at", admin.EmptyFieldListFilter)]
    list_select_related = ["siting__home", "point"]
    autocomplete_fields = ["siting", "point"]
    search_fields = ["code", "point__label", "siting__home__code", "siting__home__name"]
    ordering = ["-id"]
