"""Hazards on pages: what is open at a home and what was cleared, noting one, clearing one."""

from http import HTTPStatus
from typing import Any, cast
from uuid import UUID

from django import forms
from django.contrib import messages
from django.db import IntegrityError
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from jobs.account_forms import put_error
from jobs.errors import DomainError
from jobs.hazards import WHY_AT_MOST, clear_hazard, note_hazard
from jobs.models import Hazard, Home, Photo, User
from jobs.models.base import Act, new_key
from jobs.refusals import refusal_of
from jobs.rights import may, need_on
from jobs.views import SignedInRequest, page
from jobs.widgets import Words


class HazardForm(forms.Form):
    """What may hurt somebody, and where it is. It brings its own key, so that pressing twice keeps one."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    kind = forms.ChoiceField(
        label=gettext_lazy("Hazard"), choices=[("", gettext_lazy("choose")), *Hazard.Kind.choices]
    )
    text = forms.CharField(
        label=gettext_lazy("Where it is, what of it"),
        max_length=500,
        required=False,
        widget=Words({"rows": 2}),
    )
    photo = forms.ModelChoiceField(
        Photo.objects.none(), label=gettext_lazy("Photo of it"), required=False, empty_label="\N{EN DASH}"
    )

    def __init__(self, *args: Any, home: Home, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        cast("forms.ModelChoiceField[Photo]", self.fields["photo"]).queryset = _photos(home)

    def noted(self, home: Home, author: User) -> bool:
        """Keep what was filled in; False, with the reason at its field, where it is refused."""
        typed = self.cleaned_data
        hazard = Hazard(
            pk=typed["id"],
            home=home,
            kind=typed["kind"],
            text=typed["text"],
            photo=typed["photo"],
            author=author,
            noted_at=timezone.now(),
        )
        try:
            note_hazard(hazard)
        except DomainError as error:
            put_error(self, error)
        except IntegrityError as error:
            refused = refusal_of(error)
            if refused is None:
                raise
            _code, field, sentence = refused
            self.add_error(field or None, sentence)
        return not self.errors


def _photos(home: Home) -> QuerySet[Photo]:
    return Photo.objects.standing().filter(siting__home=home).select_related("siting__home").order_by("-pk")


def hazards_of(home: Home, user: User, form: HazardForm | None = None) -> dict[str, Any]:
    """Return what pages show of a home's hazards, newest first, with what this person may do about them."""
    beside = ("author", "cleared_by", "photo__siting__home")
    rows = Hazard.objects.filter(home=home).select_related(*beside).order_by("-noted_at", "-pk")
    hazards = list(rows)
    takes_changes = home.archived_at is None
    may_add = takes_changes and may(user, Act.ADD, Hazard)
    return {
        "hazards": [hazard for hazard in hazards if hazard.cleared_at is None],
        "cleared_hazards": [hazard for hazard in hazards if hazard.cleared_at is not None],
        "hazard_form": (form or HazardForm(home=home, initial={"id": new_key()})) if may_add else None,
        "may_clear": takes_changes and may(user, Act.CHANGE, Hazard),
        "why_at_most": WHY_AT_MOST,
    }


@page
def home_hazards(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """What may hurt somebody at a home, cleared hazards too; and a form to note one."""
    home = _home(request, pk)
    form = None
    if request.method == "POST":
        need_on(request.user, Act.ADD, Hazard(home=home))
        form = HazardForm(request.POST, home=home)
        if form.is_valid() and form.noted(home, request.user):
            messages.success(request, _("The hazard is noted. Every visit shows it until it is cleared."))
            return redirect("home", pk=home.pk)
    return _listed(request, home, form=form, status=400 if form else 200)


@require_POST
@page
def clear(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Clear a hazard with a reason."""
    hazard = get_object_or_404(Hazard.objects.visible_to(request.user).select_related("home"), pk=pk)
    why = request.POST.get("why", "")
    try:
        clear_hazard(hazard=hazard, by=request.user, why=why)
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        if error.status == HTTPStatus.CONFLICT:  # somebody else came first: nothing is left to do
            messages.info(request, error.message)
            return redirect("home", pk=hazard.home_id)
        return _listed(request, hazard.home, status=error.status, refused=hazard.pk, message=error.message, why=why)
    messages.success(request, _("The hazard is cleared. It stays kept, with your reason."))
    return redirect("home", pk=hazard.home_id)


def _home(request: SignedInRequest, pk: UUID) -> Home:
    return get_object_or_404(Home.objects.visible_to(request.user), pk=pk)


def _listed(
    request: SignedInRequest, home: Home, *, form: HazardForm | None = None, status: int = 200, **told: Any
) -> HttpResponse:
    context = {"home": home, **hazards_of(home, request.user, form), **told}
    return render(request, "jobs/hazards.html", context, status=status)
