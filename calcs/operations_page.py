"""The operator's page: how the service runs, for a manager and whoever runs the instance."""

from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_safe

from calcs import operations
from calcs.models import WorkerBeat
from calcs.operations_drawings import draw_hours
from jobs.rights import Act, may
from jobs.views import SignedInRequest, page


@require_safe
@page
def figures(request: SignedInRequest) -> HttpResponse:
    """Show the figures; the page puts fresh ones in place by itself."""
    if not may(request.user, Act.SEE, WorkerBeat):
        raise PermissionDenied
    found = operations.gather()
    context = {
        "figures": found,
        "flat": mark_safe(draw_hours(found.hours)),  # noqa: S308 - the sheet escapes every text
        "turned": mark_safe(draw_hours(found.hours, is_turned=True)),  # noqa: S308 - as above
    }
    return render(request, "calcs/operations.html", context)
