"""Papers for the crew: the sheet of a plan as page and PDF, and a blank sheet to write readings on."""

from uuid import UUID

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import translation
from django.views.decorators.http import require_safe

from calcs.sheet_page import sheet_of
from calcs.sheets import language_of, plan_of, plan_sheet_as_pdf, reading_sheet_as_pdf
from jobs.views import SignedInRequest, page


@require_safe
@page
def plan_sheet(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The crew's sheet on a screen."""
    plan, language = plan_of(pk, request.user), language_of(request.GET.get("lang", ""))
    with translation.override(language):
        paper = sheet_of(plan, unit=request.user.length_unit, language=language)
        context = {"paper": paper, "plan": plan, "survey": plan.survey, "language": language}
        return render(request, "calcs/sheet.html", {**context, "languages": settings.LANGUAGES})


@require_safe
@page
def plan_sheet_pdf(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The crew's sheet on paper."""
    return plan_sheet_as_pdf(pk, request.user, request.GET.get("lang", ""))


@require_safe
@page
def reading_sheet_pdf(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """A blank sheet to write readings on, in walking order."""
    return reading_sheet_as_pdf(pk, request.user, request.GET.get("lang", ""))
