"""Jobs, trucks, days off, and who is taken when."""

from typing import Any, cast

from django.contrib import admin
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs.admin_base import VersionedAdmin
from jobs.admin_desk import LookedAtAdmin
from jobs.job_services import check
from jobs.models import Job, Occupied, TimeOff, Truck, User
from jobs.time_off import archive_truck, keep_off


@admin.register(Job)
class JobAdmin(VersionedAdmin):
    """How a job stands changes on its page, where what that needs is asked for."""

    list_display = ["number", "state", "asked_on", "home", "customer", "caller_name", "call_back_of", "done_on"]
    list_filter = ["state", "came", ("call_back_of", admin.EmptyFieldListFilter), "asked_on", "done_on"]
    list_select_related = ["home", "customer", "call_back_of"]
    autocomplete_fields = ["home", "customer", "call_back_of"]
    readonly_fields = ["state", "state_reason", "done_on", "warranty_months"]
    search_fields = [
        *("=number", "caller_name", "caller_phone", "caller_email", "address", "note"),
        *("home__code", "home__name", "customer__name"),
    ]
    date_hierarchy = "asked_on"
    ordering = ["-number"]

    def save_model(self, request: HttpRequest, obj: Job, form: Any, change: bool) -> None:
        """Keep the job, unless something is wrong with it beyond what the database holds."""
        check(obj)
        super().save_model(request, obj, form, change)


@admin.register(Truck)
class TruckAdmin(VersionedAdmin):
    list_display = ["name", "payload_lb", "archived_at"]
    list_filter = [("archived_at", admin.EmptyFieldListFilter)]
    search_fields = ["name", "note"]
    ordering = ["name"]

    def archive(self, request: HttpRequest, rows: QuerySet[Any]) -> int:
        """Archive the trucks that are not booked; tell of the others what they are booked for."""
        by = cast(User, request.user)
        return self.do_each(request, rows.filter(archived_at__isnull=True), lambda truck: archive_truck(truck, by=by))


@admin.register(TimeOff)
class TimeOffAdmin(VersionedAdmin):
    list_display = ["from_on", "to_on", "person", "truck", "why"]
    list_filter = [
        "from_on",
        ("person", admin.EmptyFieldListFilter),
        ("truck", admin.EmptyFieldListFilter),
    ]
    list_select_related = ["person", "truck"]
    autocomplete_fields = ["person", "truck"]
    search_fields = ["why", "person__username", "person__first_name", "person__last_name", "truck__name"]
    ordering = ["-from_on", "-id"]

    def save_model(self, request: HttpRequest, obj: TimeOff, form: Any, change: bool) -> None:
        """Keep the days off, unless somebody is booked on one of them."""
        keep_off(obj, by=cast(User, request.user))


@admin.register(Occupied)
class OccupiedAdmin(LookedAtAdmin):
    """Written by the database itself, from visits and days off."""

    list_display = ["during", "person", "truck", "what"]
    list_select_related = ["person", "truck", "visit__siting__home", "time_off"]
    search_fields = ["person__username", "person__last_name", "truck__name", "visit__siting__home__code"]
    ordering = ["-id"]

    @admin.display(description=_("by what"))
    def what(self, row: Occupied) -> str:
        """The visit or the days off that take somebody."""
        return str(row.visit or row.time_off)
