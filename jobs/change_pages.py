"""Pages of the record of changes, and archiving a home and bringing it back."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Model
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from jobs import services
from jobs.admin_base import page_number
from jobs.errors import DomainError
from jobs.history import history_of, things
from jobs.models import Home, User
from jobs.rights import Act, may
from jobs.views import SignedInRequest, page


@require_safe
@page
def changes(request: SignedInRequest, thing: str, pk: UUID) -> HttpResponse:
    """Who changed what in a thing and in all that lies under it, newest first."""
    rows: Any = things()[thing]._default_manager.all()
    _may(request.user, Act.SEE, rows.model)
    row = get_object_or_404(rows.visible_to(request.user), pk=pk)
    number = page_number(request.GET.get("page"))
    history = history_of(row, reader=request.user, number=number)
    return render(request, "jobs/changes_page.html", {"row": row, "thing": thing, "history": history})


@require_POST
@page
def archive_home(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Take a home out of the lists; nothing of it is lost."""
    home = get_object_or_404(Home.objects.visible_to(request.user), pk=pk)
    _may(request.user, Act.ARCHIVE, Home)
    try:
        services.archive_home(home, by=request.user)
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("Archived. It is in the list of archived homes, and can be restored here."))
    return redirect("home", pk=home.pk)


@require_POST
@page
def restore_home(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Bring an archived home back."""
    home = get_object_or_404(Home.objects.visible_to(request.user), pk=pk)
    _may(request.user, Act.ARCHIVE, Home)
    if Home.objects.filter(pk=home.pk).restore():
        messages.success(request, _("Restored."))
    return redirect("home", pk=home.pk)


def _may(user: User, act: Act, model: type[Model]) -> None:
    if not may(user, act, model):
        raise PermissionDenied
