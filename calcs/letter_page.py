"""The letter to a customer when the answer is no: as a page, and as a PDF to send."""

from typing import Any
from uuid import UUID

from django.conf import settings
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.text import slugify
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from calcs.documents import typeset
from jobs.letters import Letter, letter_of
from jobs.models import Assessment, Company, Customer
from jobs.models.base import Act
from jobs.rights import need
from jobs.views import SignedInRequest, page


@require_safe
@page
def letter(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The letter on a screen, in the language that was asked for."""
    assessment = _assessment(request, pk)
    context = {
        "assessment": assessment,
        "letter": _letter(request, assessment),
        "languages": settings.LANGUAGES,
    }
    return render(request, "calcs/letter.html", context)


@require_safe
@page
def letter_pdf(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The letter on paper."""
    assessment = _assessment(request, pk)
    found = _letter(request, assessment)
    pdf = typeset("letter", data_of(found, assessment), found.language)
    answer = HttpResponse(pdf, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{slugify(found.title)}.pdf"'
    return answer


def data_of(found: Letter, assessment: Assessment) -> dict[str, Any]:
    """Return a letter as its template takes it: each section is a paragraph that begins with its heading."""
    sections = [f"{section.title}: {' '.join(section.sentences)}" for section in found.sections]
    return {
        "title": found.title,
        "date": assessment.assessed_on.isoformat(),
        "company": found.company,
        "letterhead": list(found.letterhead),
        "date_words": found.day,
        "address": list(found.address),
        "paragraphs": [found.greeting, *sections],
        "signed": list(found.signed),
        "foot": found.foot,
    }


def _assessment(request: SignedInRequest, pk: UUID) -> Assessment:
    """Return an assessment whose verdict is not to lift; it names the customer, so it is for who may know them."""
    rows = Assessment.objects.visible_to(request.user).select_related("siting__home", "author")
    assessment = get_object_or_404(rows, pk=pk)
    need(request.user, Act.SEE, Customer)
    if assessment.verdict == Assessment.Verdict.LIFT:
        raise Http404(_("There is no letter where the verdict is to lift."))
    return assessment


def _letter(request: SignedInRequest, assessment: Assessment) -> Letter:
    asked = request.GET.get("lang", "")
    known = dict(settings.LANGUAGES)
    language = asked if asked in known else (get_language() or settings.LANGUAGES[0][0])[:2]
    return letter_of(assessment, company=Company.objects.first(), language=language)
