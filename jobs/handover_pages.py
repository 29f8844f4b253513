"""Handovers on pages: written by the crew that leaves, acknowledged by name by the crew that comes."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from jobs.account_forms import put_error
from jobs.errors import DomainError
from jobs.handovers import acknowledge, newest_handovers, note_handover, told
from jobs.head_counts import under_now
from jobs.models import Handover, HeadCount, User, Visit
from jobs.models.base import Act, new_key
from jobs.rights import may, need
from jobs.views import SignedInRequest, page

SHOWN = 20


def _asked(label: Any) -> forms.TypedChoiceField:
    """Return a question that is answered by yes or no, and by neither beforehand."""
    return forms.TypedChoiceField(
        label=label,
        choices=[("true", gettext_lazy("yes")), ("false", gettext_lazy("no"))],
        coerce=lambda typed: typed == "true",
        widget=forms.RadioSelect,
    )


class HandoverForm(forms.Form):
    """How the home is left; the key makes a second press harmless."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    are_straps_slack = _asked(gettext_lazy("Is some strap slack?"))
    are_jacks_in = _asked(gettext_lazy("Does some jack still stand under the home?"))
    is_blocked = _asked(gettext_lazy("Does the home stand on its supports, wedges driven?"))
    text = forms.CharField(
        label=gettext_lazy("Where the work stands and what is next"),
        max_length=2000,
        required=False,
        widget=forms.Textarea({"rows": 4}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


@page
def handovers(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """What was handed over at a home, the newest first, and a new one."""
    visits = Visit.objects.visible_to(request.user).select_related("siting__home")
    visit = get_object_or_404(visits, pk=pk)
    form = HandoverForm(request.POST or None, initial={"id": new_key()})
    if request.method == "POST":
        need(request.user, Act.ADD, Handover)
        if form.is_valid():
            typed = form.cleaned_data
            key = typed.pop("id")
            row = Handover(pk=key, visit=visit, author=request.user, noted_at=timezone.now(), **typed)
            try:
                note_handover(row)
            except DomainError as error:
                put_error(form, error)
            else:
                messages.success(request, _("Handed over: whoever comes next sees it first."))
                return redirect("visit", pk=pk)
    rows = Handover.objects.visible_to(request.user).filter(visit__siting=visit.siting_id)
    newest = rows.select_related("author", "read_by").order_by("-noted_at", "-sequence", "-pk")[:SHOWN]
    counts = HeadCount.objects.filter(visit__siting=visit.siting_id)
    context = {
        "visit": visit,
        "handovers": [(one, told(one)) for one in newest],
        "under": under_now(counts),
        "form": form if may(request.user, Act.ADD, Handover) else None,
    }
    return render(request, "jobs/handovers.html", context, status=400 if form.errors else 200)


@require_POST
@page
def read_handover(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Note that this person has read a handover."""
    found = get_object_or_404(Handover.objects.visible_to(request.user), pk=pk)
    need(request.user, Act.CHANGE, Handover)
    try:
        acknowledge(found, by=request.user)
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("{name} has read the handover.").format(name=request.user))
    return redirect("visit", pk=_back(request) or found.visit_id)


def _back(request: SignedInRequest) -> UUID | None:
    """Return the visit whose page the handover was read on: it is not always the one it was written at."""
    try:
        key = UUID(request.POST.get("back", ""))
    except ValueError:
        return None
    return key if Visit.objects.visible_to(request.user).filter(pk=key).exists() else None


def last_handover(visit: Visit, user: User) -> dict[str, Any] | None:
    """Return what the visit's page shows of the newest handover at its home; None where there was none."""
    newest = newest_handovers([visit.siting]).get(visit.siting_id)
    if newest is None:
        return None
    may_read = newest.read_at is None and newest.author_id != user.pk and may(user, Act.CHANGE, Handover)
    return {"row": newest, "told": told(newest), "may_read": may_read}
