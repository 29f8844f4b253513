"""The inspection of a home on a phone: everything under it in walking order, each with one press or with words."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_POST

from jobs.errors import DomainError
from jobs.field_work import note_strap_check
from jobs.inspection_figures import names_for
from jobs.inspection_findings import note_finding, record_figures
from jobs.inspection_forms import KINDS, Refused, boxes_of, finding_in, key_of, strap_check_in
from jobs.inspection_walk import Place, anchor_of, subject_of, walk_of
from jobs.models import Condition, Finding, Photo, StrapCheck, Support, Visit
from jobs.models.base import Act, new_key
from jobs.photo_pages import PHOTO_TYPES, PhotoForm, keep_photo, need_standing_home
from jobs.photos import MOST_BODY_BYTES
from jobs.refusals import refusal_of
from jobs.rights import may, need
from jobs.views import SignedInRequest, page


@gzip_page
@page
def inspection(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """All there is to look at, and what was found; what is sent is about one thing."""
    visit = _visit(request, pk)
    if request.method != "POST":
        return _shown(request, visit)
    if request.POST.get("kind") not in KINDS:
        raise Http404
    is_strap = request.POST["kind"] == "strap"
    need(request.user, Act.ADD, StrapCheck if is_strap else Finding)
    need_standing_home(visit.siting)
    refused = _taken(request, visit)
    if refused:
        return _shown(request, visit, refused)
    return redirect(_at(visit.pk, anchor_of(request.POST["kind"], request.POST["key"])))


def _taken(request: SignedInRequest, visit: Visit) -> Refused | None:
    """Keep what was sent; what is refused comes back with the reason."""
    sent = request.POST
    try:
        with transaction.atomic():
            if sent.get("kind") == "strap":
                note_strap_check(strap_check_in(sent, visit, request.user))
            else:
                _note(request, finding_in(sent, visit, request.user))
    except DomainError as error:
        if error.status in (HTTPStatus.FORBIDDEN, HTTPStatus.NOT_FOUND):
            raise
        if error.code == "conflict":  # somebody went back and pressed something else
            return _refused(
                request, _("Something else was saved from this form before: look at it, then press again.")
            )
        return _refused(
            request, error.message, {name.removeprefix("figures."): error.fields[name] for name in error.fields}
        )
    except IntegrityError as error:
        refusal = refusal_of(error)
        if refusal is None:
            raise
        _code, field, sentence = refusal
        return _refused(request, sentence, {field: sentence})
    return None


def _note(request: SignedInRequest, finding: Finding) -> None:
    """Keep a finding; figures of somebody who may change the record go into it at once."""
    known = names_for(finding)
    version = request.POST.get("version", "")
    may_record = known is not None and may(request.user, Act.CHANGE, known[0])
    note_finding(finding, recorded_over=int(version) if may_record and version.isdecimal() else None)


def _refused(request: SignedInRequest, message: str, fields: Mapping[str, str] | None = None) -> Refused:
    sent = request.POST
    return Refused(kind=sent["kind"], key=sent["key"], typed=sent.dict(), message=message, fields=fields or {})


def _shown(request: SignedInRequest, visit: Visit, refused: Refused | None = None) -> HttpResponse:
    siting = visit.siting
    is_open = siting.home.archived_at is None
    walk = walk_of(visit, unit=request.user.length_unit)
    blank = {kind: boxes_of(kind) for kind in KINDS}

    def boxed(place: Place) -> dict[str, Any]:
        is_refused = refused is not None and (place.kind, place.key) == (refused.kind, refused.key)
        return {
            "place": place,
            "boxes": boxes_of(place.kind, refused) if is_refused else blank[place.kind],
            "refused": refused if is_refused else None,
            "found": [(seen, walk.photos.get(seen.pk, ()), new_key()) for seen in place.found],
            "id": new_key(),
        }

    context = {
        "visit": visit,
        "home": siting.home,
        "walk": walk,
        "parts": [(part, [boxed(place) for place in part.places]) for part in walk.parts],
        "grades": Condition.choices,
        "photo_types": PHOTO_TYPES,
        "may_find": is_open and may(request.user, Act.ADD, Finding),
        "may_record": is_open and may(request.user, Act.CHANGE, Support),
        "may_add_photo": is_open and may(request.user, Act.ADD, Photo),
    }
    return render(request, "jobs/inspection.html", context, status=400 if refused else 200)


@require_POST
@page
def record_finding(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Put a finding's figures into the record, and go back to the walk where they were shown."""
    finding = get_object_or_404(Finding.objects.visible_to(request.user).select_related("siting__home"), pk=pk)
    version = request.POST.get("version", "")
    try:
        record_figures(finding=finding, by=request.user, version=int(version) if version.isdecimal() else 0)
    except DomainError as error:
        if error.status == HTTPStatus.FORBIDDEN:
            raise
        messages.error(request, " ".join([error.message, *error.fields.values()]))
    kind, key = subject_of(finding)
    visits = Visit.objects.visible_to(request.user).filter(siting=finding.siting_id)
    asked = request.POST.get("visit", "")
    visit = visits.filter(pk=key_of(asked)).first() if asked else None
    return redirect(_at(visit.pk, anchor_of(kind, key)) if visit else reverse("home", args=[finding.siting.home_id]))


@require_POST
@page
def add_photo(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Add a photo to a finding of the visit."""
    visit = _visit(request, pk)
    need(request.user, Act.ADD, Photo)
    findings = Finding.objects.standing().filter(visit=visit)
    form = PhotoForm(request.POST, request.FILES, findings=findings)
    if not (form.is_valid() and keep_photo(request, visit.siting, form)):
        messages.error(request, " ".join(str(words) for errors in form.errors.values() for words in errors))
    found = findings.filter(pk=key_of(request.POST.get("finding", ""))).first()
    return redirect(_at(visit.pk, anchor_of(*subject_of(found)) if found else ""))


add_photo.most_bytes = MOST_BODY_BYTES  # type: ignore[attr-defined]  # for the guard of bodies


def _at(visit: UUID, anchor: str) -> str:
    address = reverse("visit-inspection", args=[visit])
    return f"{address}#{anchor}" if anchor else address


def _visit(request: SignedInRequest, pk: UUID) -> Visit:
    return get_object_or_404(Visit.objects.visible_to(request.user).select_related("siting__home"), pk=pk)
