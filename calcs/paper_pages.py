"""Papers for the crew: the sheet of a plan as page and PDF, and a blank sheet to write readings on."""

from uuid import UUID

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import translation
from django.utils.text import slugify
from django.utils.translation import get_language
from django.views.decorators.http import require_safe

from calcs.documents import typeset
from calcs.documents.blocks import Paper, data_of
from calcs.models import Plan
from calcs.reading_sheet import reading_sheet_of
from calcs.sheet_page import sheet_of
from jobs.models import Siting
from jobs.views import SignedInRequest, page


@require_safe
@page
def plan_sheet(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The crew's sheet on a screen."""
    plan, language = _plan(request, pk), _language(request)
    with translation.override(language):
        paper = sheet_of(plan, unit=request.user.length_unit, language=language)
        context = {"paper": paper, "plan": plan, "survey": plan.survey, "language": language}
        return render(request, "calcs/sheet.html", {**context, "languages": settings.LANGUAGES})


@require_safe
@page
def plan_sheet_pdf(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The crew's sheet on paper."""
    plan, language = _plan(request, pk), _language(request)
    with translation.override(language):
        paper = sheet_of(plan, unit=request.user.length_unit, language=language)
        return as_pdf(paper, language)


@require_safe
@page
def reading_sheet_pdf(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A blank sheet to write readings on, in walking order."""
    siting = get_object_or_404(Siting.objects.visible_to(request.user).select_related("home"), pk=pk)
    language = _language(request)
    with translation.override(language):
        return as_pdf(reading_sheet_of(siting, unit=request.user.length_unit), language)


def as_pdf(paper: Paper, language: str) -> HttpResponse:
    """Return a paper as a PDF that opens in the browser, named after its title."""
    answer = HttpResponse(typeset("sheet", data_of(paper), language), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{slugify(paper.title)}.pdf"'
    return answer


def _plan(request: SignedInRequest, pk: UUID) -> Plan:
    plans = Plan.objects.visible_to(request.user)
    beside = ("lift", "survey__siting__home__rule_set", "survey__author")
    return get_object_or_404(plans.select_related(*beside), pk=pk)


def _language(request: SignedInRequest) -> str:
    """Return the language asked for, else the reader's own."""
    asked = request.GET.get("lang", "")
    own = (get_language() or settings.LANGUAGE_CODE)[:2]
    return asked if asked in dict(settings.LANGUAGES) else own
