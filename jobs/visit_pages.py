"""A visit on a phone: where it is, what may hurt somebody there, who is under the home, each moment's cautions."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from jobs import enquiry
from jobs.booking_pages import state_form
from jobs.caution_reads import LANGUAGES, NAME_AT_MOST, AtMoment, cautions_by_moment, read_moment
from jobs.cautions import Moment
from jobs.errors import DomainError
from jobs.handover_pages import last_handover
from jobs.head_counts import in_order, note_head_count, under_now
from jobs.models import CautionRead, Hazard, HeadCount, Job, Skill, Visit, VisitReport
from jobs.models.base import Act, new_key
from jobs.models.safety import MOST_NAME
from jobs.rights import may, need
from jobs.views import SignedInRequest, page


class CountForm(forms.Form):
    """Who went in under the home, or came out; the key makes a second press harmless."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    person_name = forms.CharField(
        label=gettext_lazy("Name"),
        max_length=MOST_NAME,
        widget=forms.TextInput({"list": "names", "autocomplete": "off", "autocapitalize": "words"}),
    )
    is_in = forms.TypedChoiceField(
        label=gettext_lazy("Counted"),
        choices=[("true", gettext_lazy("goes in")), ("false", gettext_lazy("comes out"))],
        coerce=lambda typed: typed == "true",
        widget=forms.RadioSelect,
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs["auto_id"] = "id_count_%s"  # the forms of the moments have names too
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class ReadForm(forms.Form):
    """Who has read the cautions of a moment, and in which language they stood there."""

    moment = forms.ChoiceField(choices=Moment.choices, widget=forms.HiddenInput)
    language = forms.ChoiceField(choices=[(code, code) for code in LANGUAGES], widget=forms.HiddenInput)
    reader_name = forms.CharField(
        label=gettext_lazy("Read by"),
        max_length=NAME_AT_MOST,
        widget=forms.TextInput({"list": "names", "autocomplete": "off", "autocapitalize": "words"}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class MomentView:
    """The cautions of one moment as the page shows them. The first one that the person has not read is open."""

    at: AtMoment
    form: ReadForm | None
    is_open: bool


@require_safe
@page
def visit(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A visit: address, way in, open hazards, cautions by moment."""
    return _shown(request, _visit(request, pk))


@require_POST
@page
def read_cautions(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Note that somebody has read all cautions of a moment."""
    found = _visit(request, pk)
    need(request.user, Act.ADD, CautionRead)
    form = ReadForm(request.POST)
    if not form.is_valid():
        return _shown(request, found, refused=form)
    typed = form.cleaned_data
    moment = Moment(typed["moment"])
    read_moment(
        visit=found,
        moment=moment,
        reader_name=typed["reader_name"],
        language=typed["language"],
        author=request.user,
    )
    words = {"name": typed["reader_name"], "moment": moment.label}
    messages.success(request, _("{name} has read the cautions: {moment}.").format(**words))
    return redirect(f"{reverse('visit', args=[found.pk])}#{moment}")


@require_POST
@page
def count_head(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Note that somebody went in under the home, or came out."""
    found = _visit(request, pk)
    need(request.user, Act.ADD, HeadCount)
    form = CountForm(request.POST)
    if not form.is_valid():
        return _shown(request, found, miscounted=form)
    typed = form.cleaned_data
    count = HeadCount(
        pk=typed["id"],
        visit=found,
        person_name=typed["person_name"],
        is_in=typed["is_in"],
        author=request.user,
        noted_at=timezone.now(),
    )
    try:
        note_head_count(count)
    except DomainError as error:
        form.add_error(None, error.message)
        return _shown(request, found, miscounted=form)
    words = _("{name} is counted in.") if count.is_in else _("{name} is counted out.")
    messages.success(request, words.format(name=count.person_name))
    return redirect(reverse("visit", args=[pk]) + "#under")


def _visit(request: SignedInRequest, pk: UUID) -> Visit:
    visits = (
        Visit.objects.visible_to(request.user).select_related("siting__home", "lead", "job").prefetch_related("crew")
    )
    return get_object_or_404(visits.prefetch_related("crew", "trucks"), pk=pk)


def _shown(
    request: SignedInRequest,
    found: Visit,
    *,
    refused: ReadForm | None = None,
    miscounted: CountForm | None = None,
) -> HttpResponse:
    home = found.siting.home
    reads = list(CautionRead.objects.filter(visit=found))
    counts = list(HeadCount.objects.filter(visit__siting=found.siting_id).select_related("author"))
    may_count = may(request.user, Act.ADD, HeadCount)
    people = [found.lead, *found.crew.all(), request.user]
    names = dict.fromkeys([str(person) for person in people if person] + [read.reader_name for read in reads])
    names |= dict.fromkeys(count.person_name for count in counts)
    context = {
        "visit": found,
        "home": home,
        "needs": [Skill(skill).label for skill in found.needs],
        "may_book": may(request.user, Act.ADD, Visit),
        "form": state_form(request, found),
        "handover": last_handover(found, request.user),
        "answers": enquiry.told(found.job.answers) if found.job else [],
        "alerts": enquiry.alerts_of(found.job.answers) if found.job else [],
        "may_see_job": may(request.user, Act.SEE, Job),
        "hazards": Hazard.objects.open().filter(home=home).select_related("author", "photo__siting__home"),
        "moments": _moments(request, reads, refused),
        "names": list(names),
        "under": under_now(counts),
        "counts": sorted((one for one in counts if one.visit_id == found.pk), key=in_order, reverse=True),
        "count_form": (miscounted or CountForm(initial={"id": new_key()})) if may_count else None,
        "reports": VisitReport.objects.filter(visit=found).select_related("author").order_by("noted_at", "pk"),
    }
    return render(request, "jobs/visit.html", context, status=400 if refused or miscounted else 200)


def _moments(request: SignedInRequest, reads: list[CautionRead], refused: ReadForm | None) -> list[MomentView]:
    language = (get_language() or LANGUAGES[0])[:2]
    name, may_add = str(request.user), may(request.user, Act.ADD, CautionRead)
    moments = cautions_by_moment(reads, language=language)
    failed = refused.data.get("moment") if refused else None
    unread = next((at.moment for at in moments if name not in at.read_by), None)
    return [
        MomentView(
            at=at,
            form=_form(at, language, name, refused if at.moment == failed else None) if may_add else None,
            is_open=at.moment == (failed or unread),
        )
        for at in moments
    ]


def _form(at: AtMoment, language: str, name: str, refused: ReadForm | None) -> ReadForm:
    initial = {"moment": at.moment, "language": language, "reader_name": name}
    return refused or ReadForm(initial=initial, auto_id=f"id_{at.moment}_%s")
