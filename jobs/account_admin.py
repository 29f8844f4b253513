"""What the admin's lists of people and customers do beyond editing: each calls the service that the pages call."""

from typing import TYPE_CHECKING, Any

from django.contrib import admin, messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from jobs import lockout
from jobs.models import User

if TYPE_CHECKING:  # generic to the type checker only
    ModelAdmin = admin.ModelAdmin[Any]
else:
    ModelAdmin = admin.ModelAdmin


@admin.action(description=_("Sign out everywhere"), permissions=["change"])
def sign_out_everywhere(model_admin: ModelAdmin, request: HttpRequest, people: QuerySet[User]) -> None:
    """End all browsers and devices of the chosen people."""
    for person in people:
        person.sign_out_everywhere()
    _tell(model_admin, request, people.count())


@admin.action(description=_("Unlock after wrong passwords"), permissions=["change"])
def unlock(model_admin: ModelAdmin, request: HttpRequest, people: QuerySet[User]) -> None:
    """Let the chosen people try again at once."""
    for person in people:
        lockout.unlock(person)
    _tell(model_admin, request, people.count())


def _tell(model_admin: ModelAdmin, request: HttpRequest, count: int) -> None:
    words = ngettext("Done for %(count)d person.", "Done for %(count)d people.", count)
    model_admin.message_user(request, words % {"count": count})


@admin.action(description=_("Erase personal data"), permissions=["change"])
def erase(model_admin: ModelAdmin, request: HttpRequest, rows: QuerySet[Any]) -> HttpResponse | None:
    """Lead to the page that asks for the name: one at a time."""
    chosen = list(rows.filter(erased_at__isnull=True)[:2])
    if len(chosen) != 1:
        model_admin.message_user(request, gettext("Choose one that is not erased yet."), messages.WARNING)
        return None
    return redirect("erase-person" if model_admin.model is User else "erase-customer", pk=chosen[0].pk)
