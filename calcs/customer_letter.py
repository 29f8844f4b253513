"""The letter to a customer as somebody asked for it: which assessment, which language, as a PDF."""

from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.text import slugify
from django.utils.translation import gettext as _

from calcs.documents import typeset
from calcs.sheets import language_of
from jobs.letters import Letter, letter_of
from jobs.models import Assessment, Company, Customer, User
from jobs.models.base import Act
from jobs.rights import need


def assessment_of(pk: UUID, reader: User) -> Assessment:
    """Return an assessment whose verdict is not to lift, else 404; its letter names the customer."""
    rows = Assessment.objects.visible_to(reader).select_related("siting__home", "author")
    assessment = get_object_or_404(rows, pk=pk)
    need(reader, Act.SEE, Customer)
    if assessment.verdict == Assessment.Verdict.LIFT:
        raise Http404(_("There is no letter where the verdict is to lift."))
    return assessment


def letter_in(assessment: Assessment, asked: str) -> Letter:
    """Write the letter in the language asked for, else the reader's own."""
    return letter_of(assessment, company=Company.objects.first(), language=language_of(asked))


def letter_as_pdf(pk: UUID, reader: User, asked: str) -> HttpResponse:
    """Return the letter as a PDF that opens in the browser, named after its title."""
    assessment = assessment_of(pk, reader)
    letter = letter_in(assessment, asked)
    answer = HttpResponse(
        typeset("letter", data_of(letter, assessment), letter.language), content_type="application/pdf"
    )
    answer["Content-Disposition"] = f'inline; filename="{slugify(letter.title)}.pdf"'
    return answer


def data_of(letter: Letter, assessment: Assessment) -> dict[str, Any]:
    """Return a letter as its template takes it: each section is a paragraph that begins with its heading."""
    sections = [f"{section.title}: {' '.join(section.sentences)}" for section in letter.sections]
    return {
        "title": letter.title,
        "date": assessment.assessed_on.isoformat(),
        "company": letter.company,
        "letterhead": list(letter.letterhead),
        "date_words": letter.day,
        "address": list(letter.address),
        "paragraphs": [letter.greeting, *sections],
        "signed": list(letter.signed),
        "foot": letter.foot,
    }
