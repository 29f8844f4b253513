"""The record of changes itself: one list a table, for managers. The page of a thing tells the same in words."""

from typing import Any

import pghistory.models
from django.apps import apps
from django.contrib import admin
from django.db.models import OuterRef, QuerySet, Subquery, TextField
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from jobs.admin_desk import ChoicesFilter, LookedAtAdmin
from jobs.models import User

_NAMES = ("code", "label", "name", "username", "address", "part", "option")


class DoneFilter(ChoicesFilter):
    """What was done to the row."""

    title = _("what was done")
    parameter_name = "pgh_label"
    values = ("insert", "update", "delete")


class ChangesAdmin(LookedAtAdmin):
    """Rows as they were after each change, newest first."""

    list_display = ["when", "did", "row", "who"]
    list_filter = [DoneFilter, "pgh_created_at"]
    ordering = ["-pgh_id"]

    def get_queryset(self, request: HttpRequest) -> QuerySet[Any]:
        """Bring along who made each change."""
        key = KeyTextTransform("user", "pgh_context__metadata")
        people = User.objects.annotate(key=Cast("pk", TextField()))  # few; and the record may hold any text
        who = people.filter(key=OuterRef("who_key")).values("username")[:1]
        rows: Any = super().get_queryset(request)
        events: QuerySet[Any] = rows.annotate(who_key=key, who_name=Subquery(who))
        return events

    def get_search_fields(self, request: HttpRequest) -> list[str]:
        """Find a row by its key, or by what it is called."""
        has = {field.name for field in self.model._meta.get_fields()}
        return [*(f"={name}" for name in _NAMES if name in has), *(["=pgh_obj__id"] if "pgh_obj" in has else [])]

    @admin.display(description=_("when"), ordering="pgh_created_at")
    def when(self, event: Any) -> Any:
        """When the change was made."""
        return event.pgh_created_at

    @admin.display(description=_("what was done"), ordering="pgh_label")
    def did(self, event: Any) -> str:
        """What was done to the row."""
        return str(event.pgh_label)

    @admin.display(description=_("row"))
    def row(self, event: Any) -> str:
        """What the row is called; its key where it has no name."""
        named = (getattr(event, name, "") for name in _NAMES)
        return str(next((name for name in named if name), getattr(event, "pgh_obj_id", "")))

    @admin.display(description=_("who"), ordering="who_name")
    def who(self, event: Any) -> str | None:
        """Who made the change; nobody where the service itself did."""
        name: str | None = event.who_name
        return name


def register_changes(app_label: str) -> None:
    """Register the tables that hold the changes of an app's tables."""
    for model in apps.get_app_config(app_label).get_models():
        if issubclass(model, pghistory.models.Event):
            admin.site.register(model, ChangesAdmin)


register_changes("jobs")
