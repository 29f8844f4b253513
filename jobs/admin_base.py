"""What the admin's pages share: rows that are kept, two editors at once, and the record of changes."""

from typing import Any

from django.contrib import admin
from django.core.exceptions import PermissionDenied
from django.db import models
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.template.response import TemplateResponse
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from jobs.admin_desk import DeskAdmin
from jobs.editing import VersionedForm
from jobs.errors import Stale
from jobs.history import history_of
from jobs.models import User


class KeptAdmin(DeskAdmin):
    """Rows that are archived or ended, never deleted."""

    def get_actions(self, request: HttpRequest) -> dict[str, Any]:
        """Offer archiving and restoring where rows can be archived."""
        actions: dict[str, Any] = super().get_actions(request)
        if any(field.name == "archived_at" for field in self.model._meta.fields):
            for act in (archive_rows, restore_rows):
                if self.has_archive_permission(request):
                    actions[act.__name__] = (act, act.__name__, act.short_description)  # type: ignore[attr-defined]  # the decorator sets it
        return actions

    def archive(self, request: HttpRequest, rows: Any) -> int:
        """Archive rows that still stand; return how many."""
        return int(rows.archive())

    def restore(self, request: HttpRequest, rows: Any) -> int:
        """Bring archived rows back; return how many."""
        return int(rows.restore())


@admin.action(description=_("Archive"))
def archive_rows(model_admin: KeptAdmin, request: HttpRequest, rows: QuerySet[Any]) -> None:
    """Archive the chosen rows that still stand."""
    count = model_admin.archive(request, rows)
    model_admin.message_user(
        request, ngettext("%(count)d archived.", "%(count)d archived.", count) % {"count": count}
    )


@admin.action(description=_("Restore from the archive"))
def restore_rows(model_admin: KeptAdmin, request: HttpRequest, rows: QuerySet[Any]) -> None:
    """Bring the chosen rows back that are archived."""
    count = model_admin.restore(request, rows)
    model_admin.message_user(
        request, ngettext("%(count)d restored.", "%(count)d restored.", count) % {"count": count}
    )


class VersionedAdmin(KeptAdmin):
    """Rows that two may edit: a form that is out of date shows both sides, and the history is the real one.

    For an admin with a form of its own, that form is a ``VersionedForm`` too.
    """

    form = VersionedForm
    change_form_template = "jobs/admin/change_form.html"

    def changeform_view(
        self,
        request: HttpRequest,
        object_id: str | None = None,
        form_url: str = "",
        extra_context: dict[str, Any] | None = None,
    ) -> Any:
        """Show or save a row; where somebody comes in between, the second look at the row finds the clash."""
        try:
            return super().changeform_view(request, object_id, form_url, extra_context)
        except Stale:
            return super().changeform_view(request, object_id, form_url, extra_context)

    def history_view(
        self, request: HttpRequest, object_id: str, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """Show who changed what in this row and what lies under it, whichever way it was changed."""
        row: Any = self.get_object(request, object_id)
        if row is None:
            raise Http404
        if not self.has_view_or_change_permission(request, row):
            raise PermissionDenied
        number = page_number(request.GET.get("page"))
        reader = request.user if isinstance(request.user, User) else None
        context = {
            **self.admin_site.each_context(request),
            "title": gettext("What was changed"),
            "subtitle": str(row),
            "opts": self.opts,
            "object": row,
            "history": history_of(row, reader=reader, number=number),
            **(extra_context or {}),
        }
        return TemplateResponse(request, "jobs/admin/history.html", context)


def page_number(text: str | None) -> int:
    """Return the page of a record that somebody asks for; the first for anything that is no page."""
    return int(text) if text and text.isascii() and text.isdigit() and 0 < int(text) < 10**6 else 1


def is_versioned(model: type[models.Model]) -> bool:
    """Tell whether the admin of a model has to be a ``VersionedAdmin``."""
    return hasattr(model, "edition")
