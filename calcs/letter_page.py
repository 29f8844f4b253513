"""The letter to a customer when the answer is no: as a page, and as a PDF to send."""

from uuid import UUID

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from calcs.customer_letter import assessment_of, letter_as_pdf, letter_in
from jobs.views import SignedInRequest, page


@require_safe
@page
def letter(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The letter on a screen, in the language that was asked for."""
    assessment = assessment_of(pk, request.user)
    context = {
        "assessment": assessment,
        "letter": letter_in(assessment, request.GET.get("lang", "")),
        "languages": settings.LANGUAGES,
    }
    return render(request, "calcs/letter.html", context)


@require_safe
@page
def letter_pdf(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The letter on paper."""
    return letter_as_pdf(pk, request.user, request.GET.get("lang", ""))
