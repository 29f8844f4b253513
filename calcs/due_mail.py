"""Writing to the people of a home that it is due: between which days, of those that are still to come."""

import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from calcs.models import Due
from jobs.errors import DomainError
from jobs.mails import tell_due
from jobs.models import Mail
from jobs.models.base import Act
from jobs.rights import need
from jobs.views import SignedInRequest, page

LEFT_OPEN = datetime.timedelta(weeks=6)  # to find a day in, where the window has ended or no end is known (decided)


def window_of(due: Due, today: datetime.date) -> tuple[datetime.date, datetime.date]:
    """Return between which days people are asked to have a home read.

    Raises
    ------
    DomainError
        409 for a home of which nobody knows when it is due.
    """
    if due.due_on is None:
        raise DomainError("not_due", _("Nobody knows yet when this home is due."), status=409)
    begins = max(due.due_on, today)
    return begins, due.latest_on if due.latest_on and due.latest_on > begins else begins + LEFT_OPEN


@require_POST
@page
def tell(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Write to the people of a home that it is due."""
    need(request.user, Act.ADD, Mail)
    rows: Any = Due.objects.visible_to(request.user)
    due = get_object_or_404(rows.select_related("siting__home").filter(siting__home__archived_at__isnull=True), pk=pk)
    try:
        begins, ends = window_of(due, timezone.localdate())
        written = len(tell_due(due.siting, due_on=begins, until_on=ends, by=request.user))
    except DomainError as error:
        messages.error(request, error.message)
    else:
        sentence = ngettext("{count} message waits to go out.", "{count} messages wait to go out.", written)
        messages.success(request, sentence.format(count=written))
    return redirect("due-book", pk=pk)
