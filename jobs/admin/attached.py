"""What ties homes to the ground and the street."""

from typing import Any

from django.contrib import admin
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs import services
from jobs.admin_base import VersionedAdmin
from jobs.admin_desk import in_sixteenths
from jobs.models import Connection, DrainNode, DrainRun, Strap


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
        *("tension_lb", "rated_lb", "archived_at"),
    ]
    list_filter = ["anchor_kind", "soil_class", "has_vertical_tie", ("archived_at", admin.EmptyFieldListFilter)]
    list_select_related = ["siting__home", "point"]
    autocomplete_fields = ["siting", "point"]
    search_fields = ["code", "point__label", "siting__home__code", "siting__home__name"]
    ordering = ["-id"]


@admin.register(DrainRun)
class DrainRunAdmin(VersionedAdmin):
    list_display = [
        *("code", "siting"),
        in_sixteenths("diameter_in", _("inside diameter, in")),
        *("has_cleanout", "rehang_min", "archived_at"),
    ]
    list_filter = ["has_cleanout", ("archived_at", admin.EmptyFieldListFilter)]
    list_select_related = ["siting__home"]
    autocomplete_fields = ["siting"]
    search_fields = ["code", "siting__home__code", "siting__home__name", "note"]
    ordering = ["-id"]


@admin.register(DrainNode)
class DrainNodeAdmin(VersionedAdmin):
    list_display = [
        *("run", "home", "at_ft"),
        in_sixteenths("invert_in", _("inside bottom, in")),
        *("x_ft", "y_ft", "is_on_ground"),
    ]
    list_filter = ["is_on_ground"]
    list_select_related = ["run__siting__home"]
    autocomplete_fields = ["run"]
    search_fields = ["run__code", "run__siting__home__code", "run__siting__home__name"]
    ordering = ["-id"]

    @admin.display(description=_("home"), ordering="run__siting__home__code")
    def home(self, node: DrainNode) -> str:
        """The home that the drain lies under."""
        return str(node.run.siting.home)

    def save_model(self, request: HttpRequest, obj: DrainNode, form: Any, change: bool) -> None:
        """Save by the service: a place lies on the home."""
        if change:
            services.change_drain_node(node=obj, fields={name: form.cleaned_data[name] for name in form.changed_data})
            return
        fields = {name: value for name, value in form.cleaned_data.items() if name != "run"}
        added = services.add_drain_node(run=obj.run, fields=fields)
        obj.__dict__.update(added.__dict__)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """No history hangs on a place: it may go."""
        return self.has_archive_permission(request)
