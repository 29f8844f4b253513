"""Mail on pages: what waits, went out or was refused, for the office; and what it says, for the manager."""

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from jobs import mails
from jobs.errors import DomainError
from jobs.mail_sending import has_server
from jobs.models import Mail, MailText
from jobs.models.base import Act
from jobs.rights import may, need
from jobs.views import SignedInRequest, page

MAILS_A_PAGE = 50
IN_THE_LOG = "django.core.mail.backends.console.EmailBackend"
SHOWN: Mapping[str, Any] = {
    "": gettext_lazy("all"),
    Mail.State.WAITING: gettext_lazy("waiting"),
    Mail.State.FAILED: gettext_lazy("refused"),
    Mail.State.SENT: gettext_lazy("sent"),
    Mail.State.STOPPED: gettext_lazy("not sent"),
}


@require_safe
@page
def mail_list(request: SignedInRequest) -> HttpResponse:
    """Mail to customers, newest first: all of it, or what waits, was refused, went out, was stopped."""
    need(request.user, Act.SEE, Mail)
    shown = request.GET.get("state", "")
    shown = shown if shown in SHOWN else ""
    rows = Mail.objects.filter(state=shown) if shown else Mail.objects.all()
    rows = rows.select_related("customer", "siting__home", "visit", "made_by").order_by("-pk")
    each = {str(state): Count("pk", filter=Q(state=state)) for state in mails.OPEN}
    context = {
        "page": Paginator(rows, MAILS_A_PAGE).get_page(request.GET.get("page")),
        "shown": shown,
        "choices": SHOWN,
        "counts": Mail.objects.aggregate(**each),
        "open_states": mails.OPEN,
        "has_server": has_server(),
        "is_in_the_log": settings.EMAIL_BACKEND == IN_THE_LOG,
        "may_change": may(request.user, Act.CHANGE, Mail),
        "may_write": may(request.user, Act.CHANGE, MailText),
    }
    return render(request, "jobs/mails.html", context)


@require_POST
@page
def try_again(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Have a message tried at once, at the customer's present address."""
    mail = get_object_or_404(Mail.objects.visible_to(request.user), pk=pk)
    return _done(request, mail, mails.try_again, _("It is tried again within a minute."))


@require_POST
@page
def stop(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Have a message not sent."""
    mail = get_object_or_404(Mail.objects.visible_to(request.user), pk=pk)
    return _done(request, mail, mails.stop, _("It is not sent."))


def _done(request: SignedInRequest, mail: Mail, act: Any, sentence: str) -> HttpResponse:
    need(request.user, Act.CHANGE, Mail)
    try:
        act(mail, by=request.user)
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, sentence)
    state = request.POST.get("state", "")
    back = redirect("mails")
    if state in SHOWN and state:
        back["Location"] += f"?state={state}"
    return back
