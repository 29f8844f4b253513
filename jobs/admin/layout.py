"""What is under homes: points, supports, pairs and benchmarks. A point that changes takes its pairs along."""

from typing import Any

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs import services
from jobs.admin_base import VersionedAdmin
from jobs.admin_desk import in_sixteenths
from jobs.models import Benchmark, NeighbourPair, Point, Support


@admin.register(Point)
class PointAdmin(VersionedAdmin):
    list_display = [
        *("label", "siting", "surface", "beam", "x_ft", "y_ft"),
        in_sixteenths("design_offset_in", _("built higher by, in")),
        "archived_at",
    ]
    list_filter = ["surface", ("archived_at", admin.EmptyFieldListFilter)]
    list_select_related = ["siting__home"]
    autocomplete_fields = ["siting"]
    search_fields = ["label", "siting__home__code", "siting__home__name", "siting__address"]
    readonly_fields = ["archived_at"]
    ordering = ["-id"]

    def save_model(self, request: HttpRequest, obj: Point, form: Any, change: bool) -> None:
        """Save by the service: pairs that the layout proposed follow."""
        if change:
            changed = {name: form.cleaned_data[name] for name in form.changed_data if name in ("x_ft", "y_ft")}
            services.change_point(point=obj, fields=changed)
            return
        fields = {name: value for name, value in form.cleaned_data.items() if name not in ("siting", "walk_order")}
        if "walk_order" in form.changed_data:
            fields["walk_order"] = obj.walk_order
        added = services.add_point(siting=obj.siting, fields=fields)
        obj.__dict__.update(added.__dict__)

    def archive(self, request: HttpRequest, rows: Any) -> int:
        """Archive by the service: supports end, pairs close across the gap, a strap's point stays."""
        return self.do_each(request, rows.standing(), lambda point: services.remove_point(point=point))

    def restore(self, request: HttpRequest, rows: Any) -> int:
        """Restore by the service: the pairs come back."""
        gone = rows.filter(archived_at__isnull=False)
        return self.do_each(request, gone, lambda point: services.restore_point(point=point))


@admin.register(Support)
class SupportAdmin(VersionedAdmin):
    list_display = [
        *("point", "home", "kind", "footing"),
        in_sixteenths("height_in", _("height, in")),
        in_sixteenths("gap_in", _("gap, in")),
        *("condition", "installed_on", "removed_on"),
    ]
    list_filter = ["kind", "footing", "has_sunk", "condition", "tier", ("removed_on", admin.EmptyFieldListFilter)]
    list_select_related = ["point__siting__home"]
    autocomplete_fields = ["point"]
    search_fields = ["point__label", "point__siting__home__code", "point__siting__home__name"]
    ordering = ["-id"]

    @admin.display(description=_("home"), ordering="point__siting__home__code")
    def home(self, support: Support) -> str:
        """The home that the support stands under."""
        return str(support.point.siting.home)


@admin.register(NeighbourPair)
class NeighbourPairAdmin(VersionedAdmin):
    list_display = [
        *("a", "b", "siting", "direction"),
        in_sixteenths("tolerance_in", _("tolerance, in")),
        "is_proposed",
    ]
    list_filter = ["direction", "is_proposed"]
    list_select_related = ["a", "b", "siting__home"]
    autocomplete_fields = ["a", "b", "siting"]
    search_fields = ["a__label", "b__label", "siting__home__code"]
    ordering = ["-id"]

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """No history hangs on a pair: it may go."""
        return self.has_archive_permission(request)


@admin.register(Benchmark)
class BenchmarkAdmin(VersionedAdmin):
    list_display = ["point", "home", "mark_class", "description", "retired_on", "replaced_by"]
    list_filter = ["mark_class", ("retired_on", admin.EmptyFieldListFilter)]
    list_select_related = ["point__siting__home", "replaced_by__point"]
    autocomplete_fields = ["point", "replaced_by"]
    search_fields = ["point__label", "description", "point__siting__home__code", "point__siting__home__name"]
    ordering = ["-id"]
    actions = ["retire"]

    @admin.display(description=_("home"), ordering="point__siting__home__code")
    def home(self, mark: Benchmark) -> str:
        """The home that the mark belongs to."""
        return str(mark.point.siting.home)

    @admin.action(description=_("Retire from today"), permissions=["change"])
    def retire(self, request: HttpRequest, queryset: QuerySet[Benchmark]) -> None:
        """Have the chosen marks retired; those that are retired keep their day."""
        there = queryset.filter(retired_on__isnull=True)
        self.tell_done(request, self.do_each(request, there, lambda mark: services.retire_benchmark(benchmark=mark)))
