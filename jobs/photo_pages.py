"""Pages about photos: all of a siting, one by itself, adding, taking away; and the files, to whom the rights say."""

from typing import Any, cast
from uuid import UUID

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST, require_safe

from jobs.account_forms import put_error
from jobs.errors import DomainError
from jobs.models import Finding, Photo, Siting
from jobs.models.base import Act, new_key
from jobs.photo_files import original_of, small_of
from jobs.photos import MOST_BODY_BYTES, TYPES, take
from jobs.rights import may, need, need_on
from jobs.views import SignedInRequest, page

PHOTOS_A_PAGE = 24
PHOTO_TYPES = ",".join(sorted(kind for kind, _ in TYPES.values()))


class PhotoForm(forms.Form):
    """A photo, its words and what it is of. It brings its own key, so that pressing twice keeps one.

    It names the types that are taken, so that phones turn what they have into a JPEG; and doesn't ask for the camera,
    so that they offer the gallery too.
    """

    id = forms.UUIDField(widget=forms.HiddenInput)
    file = forms.FileField(
        label=gettext_lazy("Photo"),
        widget=forms.FileInput({"accept": PHOTO_TYPES}),
    )
    caption = forms.CharField(label=gettext_lazy("What it shows"), max_length=200, required=False)
    finding = forms.ModelChoiceField(
        Finding.objects.none(), label=gettext_lazy("Finding"), required=False, empty_label="\N{EN DASH}"
    )

    def __init__(self, *args: Any, findings: QuerySet[Finding], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        cast("forms.ModelChoiceField[Finding]", self.fields["finding"]).queryset = findings


@page
def photos(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """All photos of a home at one place, newest first; and a form to add one."""
    siting = get_object_or_404(Siting.objects.visible_to(request.user).select_related("home"), pk=pk)
    findings = Finding.objects.visible_to(request.user).standing().filter(siting=siting).order_by("-pk")
    form = PhotoForm(initial={"id": new_key()}, findings=findings)
    if request.method == "POST":
        form = PhotoForm(request.POST, request.FILES, findings=findings)
        if form.is_valid() and keep_photo(request, siting, form):
            messages.success(request, _("The photo is kept."))
            return redirect("photos", pk=siting.pk)
    rows = Photo.objects.standing().filter(siting=siting).select_related("author", "finding").order_by("-pk")
    context = {
        "siting": siting,
        "form": form if may(request.user, Act.ADD, Photo) and not siting.home.archived_at else None,
        "page": Paginator(rows, PHOTOS_A_PAGE).get_page(request.GET.get("page")),
        "may_archive": may(request.user, Act.ARCHIVE, Photo),
    }
    return render(request, "jobs/photos.html", context, status=400 if form.errors else 200)


photos.most_bytes = MOST_BODY_BYTES  # type: ignore[attr-defined]  # for the guard of bodies


def keep_photo(request: SignedInRequest, siting: Siting, form: PhotoForm) -> bool:
    """Keep what was filled in; False, with the reason at its field, where it is refused."""
    need(request.user, Act.ADD, Photo)
    need_standing_home(siting)
    typed = form.cleaned_data
    photo = Photo(
        pk=typed["id"],
        siting=siting,
        finding=typed["finding"],
        visit=typed["finding"].visit if typed["finding"] else None,
        author=request.user,
        caption=typed["caption"],
        noted_at=timezone.now(),
    )
    try:
        take(photo, typed["file"])
    except DomainError as error:
        put_error(form, error)
        return False
    return True


def need_standing_home(siting: Siting) -> None:
    """Refuse to note anything under a home that is archived."""
    if siting.home.archived_at:
        sentence = _("This home is archived: the office restores it first, then it can be changed.")
        raise DomainError("permission_denied", sentence, status=403)


@require_safe
@page
def photo(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """One photo as large as it is, what it is of, and who took it when."""
    rows = Photo.objects.visible_to(request.user)
    about = ("finding__point", "finding__connection", "finding__strap", "finding__drain_run")
    beside = ("siting__home", "author", "visit", *about)
    shown = get_object_or_404(rows.select_related(*beside), pk=pk)
    context = {"photo": shown, "may_archive": may(request.user, Act.ARCHIVE, Photo)}
    return render(request, "jobs/photo.html", context)


@require_POST
@page
def archive_photo(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Take a photo away from the pages; row and file stay."""
    photo = _photo(request, pk)
    need_on(request.user, Act.ARCHIVE, photo)
    Photo.objects.filter(pk=photo.pk).archive()
    messages.success(request, _("The photo is archived."))
    return redirect("photos", pk=photo.siting_id)


@require_safe
@page
def photo_file(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The photo as it came in."""
    return original_of(_photo(request, pk))


@require_safe
@page
def photo_thumbnail(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A small one."""
    return small_of(_photo(request, pk))


def _photo(request: SignedInRequest, pk: UUID) -> Photo:
    return get_object_or_404(Photo.objects.visible_to(request.user), pk=pk)
