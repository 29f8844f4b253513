"""Visits, what crews told of them and hand over, and the time that was worked at them."""

from typing import Any

from django import forms
from django.contrib import admin
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs import booking
from jobs.admin_base import VersionedAdmin
from jobs.admin_desk import LookedAtAdmin
from jobs.booking_questions import QUESTIONS
from jobs.editing import VersionedForm
from jobs.errors import Stale
from jobs.models import Handover, Visit, VisitReport, WorkTime


class VisitAdminForm(VersionedForm):
    """A visit, and what booking asks about it."""

    despite = forms.MultipleChoiceField(
        label=_("Book it all the same"),
        choices=list(QUESTIONS.items()),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )


@admin.register(Visit)
class VisitAdmin(VersionedAdmin):
    form = VisitAdminForm
    list_display = ["starts_at", "kind", "siting", "state", "lead"]
    list_filter = ["kind", "state", "starts_at"]
    list_select_related = ["siting__home", "lead"]
    autocomplete_fields = ["siting", "lead", "crew"]
    raw_id_fields = ["job"]
    search_fields = ["siting__home__code", "siting__home__name", "siting__address", "lead__username", "note"]
    date_hierarchy = "starts_at"
    ordering = ["-starts_at"]

    def get_exclude(self, request: HttpRequest, obj: Any = None) -> Any:
        """Ask of a new visit only what is booked; how it stands is said of it then."""
        return None if obj else ["state", "state_reason"]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[Any, ...]:
        """Leave where a visit goes, and why it was booked, as they are."""
        return (*super().get_readonly_fields(request, obj), *(["siting", "booked_why"] if obj else []))

    def save_model(self, request: HttpRequest, obj: Visit, form: Any, change: bool) -> None:
        """Save by the service: it says who is taken, where and when."""
        by: Any = request.user
        if change:
            kept = Visit.objects.get(pk=obj.pk)
            if kept.version != obj.version:
                raise Stale
            values = {
                name: form.cleaned_data[name] for name in form.changed_data if name not in ("version", "despite")
            }
            booking.change(kept, by=by, values=values, despite=form.cleaned_data["despite"])
            return
        given = {name: value for name, value in form.cleaned_data.items() if name != "booked_why"}
        added = booking.book(by=by, why=form.cleaned_data["booked_why"], **given)
        obj.__dict__.update(added.__dict__)


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


@admin.register(Handover)
class HandoverAdmin(LookedAtAdmin):
    list_display = ["visit", "are_straps_slack", "are_jacks_in", "is_blocked", "author", "noted_at", "read_by"]
    list_filter = ["are_straps_slack", "are_jacks_in", "is_blocked", ("read_at", admin.EmptyFieldListFilter)]
    list_select_related = ["visit", "author", "read_by"]
    search_fields = ["text", "visit__siting__home__code", "author__username"]
    ordering = ["-id"]
