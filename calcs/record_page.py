"""The record of a home as it was left, as page and PDF: a draft until the work is closed."""

from uuid import UUID

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import translation
from django.utils.translation import get_language
from django.views.decorators.http import require_safe

from calcs.as_left import record_as_left
from calcs.models import Approval
from calcs.sheets import as_pdf
from jobs.views import SignedInRequest, page


@require_safe
@page
def record(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The record on a screen."""
    approval, language = _approval(request, pk), _language(request)
    with translation.override(language):
        paper = record_as_left(approval, unit=request.user.length_unit)
        context = {"paper": paper, "approval": approval, "language": language, "languages": settings.LANGUAGES}
        return render(request, "calcs/record.html", context)


@require_safe
@page
def record_pdf(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The record on paper."""
    approval, language = _approval(request, pk), _language(request)
    with translation.override(language):
        return as_pdf(record_as_left(approval, unit=request.user.length_unit), language)


def _approval(request: SignedInRequest, pk: UUID) -> Approval:
    rows = Approval.objects.visible_to(request.user)
    beside = ("plan__lift", "plan__survey__siting__home", "plan__survey__author", "siting__home", "approved_by")
    return get_object_or_404(rows.select_related(*beside), pk=pk)


def _language(request: SignedInRequest) -> str:
    """Return the language asked for, else the reader's own."""
    asked = request.GET.get("lang", "")
    own = (get_language() or settings.LANGUAGE_CODE)[:2]
    return asked if asked in dict(settings.LANGUAGES) else own
