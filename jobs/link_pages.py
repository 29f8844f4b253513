"""The page of a home's links for people outside: who has one, how often it was opened, a new one, taking one back."""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db.models import Count, Max
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from jobs import links
from jobs.account_forms import put_error
from jobs.errors import DomainError
from jobs.models import Home, SignedLink
from jobs.models.base import Act
from jobs.rights import may, need
from jobs.views import SignedInRequest, page

LINKS_SHOWN = 50


class LinkForm(forms.Form):
    """Who is to see a home, and for how long."""

    holder = forms.CharField(label=gettext_lazy("Who is given it"), max_length=120)
    audience = forms.ChoiceField(label=gettext_lazy("Shown as for"), choices=SignedLink.Audience.choices)
    days = forms.IntegerField(
        label=gettext_lazy("Days"), min_value=1, max_value=links.DAYS_AT_MOST, initial=links.DAYS_USUALLY
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


@never_cache
@page
def home_links(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The links to a home, and a form to make one; its address is shown this once."""
    home = get_object_or_404(Home.objects.visible_to(request.user), pk=pk)
    need(request.user, Act.SEE, SignedLink)
    if request.method != "POST":
        return _links(request, home, LinkForm())
    need(request.user, Act.ADD, SignedLink)
    form = LinkForm(request.POST)
    if form.is_valid():
        try:
            row, secret = links.issue(home=home, by=request.user, **form.cleaned_data)
        except DomainError as error:
            put_error(form, error)
        else:
            address = request.build_absolute_uri(reverse("shared", args=[secret]))
            return _links(request, home, LinkForm(), made=row, address=address)
    return _links(request, home, form, status=400)


def _links(request: SignedInRequest, home: Home, form: LinkForm, *, status: int = 200, **more: Any) -> HttpResponse:
    rows = SignedLink.objects.visible_to(request.user).filter(home=home).select_related("created_by", "revoked_by")
    counted = rows.annotate(times_opened=Count("uses"), last_opened_at=Max("uses__opened_at")).order_by("-pk")
    context = {
        "home": home,
        "links": [{"row": row, "state": row.state_now()} for row in counted[:LINKS_SHOWN]],
        "form": form if may(request.user, Act.ADD, SignedLink) and home.archived_at is None else None,
        "may_take_back": may(request.user, Act.CHANGE, SignedLink),
        **more,
    }
    return render(request, "jobs/links.html", context, status=status)


@require_POST
@page
def take_back_link(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Have a link open no more."""
    row = get_object_or_404(SignedLink.objects.visible_to(request.user), pk=pk)
    links.take_back(row, by=request.user)
    messages.success(request, _("The link of %(holder)s no longer opens.") % {"holder": row.holder})
    return redirect("home-links", pk=row.home_id)
