"""The crew's papers as somebody asked for them: which row, whose unit, which language."""

from contextlib import AbstractContextManager
from uuid import UUID

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone, translation
from django.utils.text import slugify
from django.utils.translation import get_language

from calcs.documents import typeset
from calcs.documents.blocks import Paper, data_of
from calcs.models import Plan
from calcs.reading_sheet import reading_sheet_of
from calcs.sheet_page import sheet_of
from jobs.models import Company, Siting, User

LANGUAGES = tuple(code for code, _name in settings.LANGUAGES)


def language_of(asked: str) -> str:
    """Return the language asked for, else the reader's own."""
    own = (get_language() or settings.LANGUAGE_CODE)[:2]
    return asked if asked in LANGUAGES else own


def company_time() -> AbstractContextManager[None]:
    """Tell times in the company's time zone, as pages do."""
    zone = Company.objects.values_list("time_zone", flat=True).first()
    return timezone.override(zone or settings.TIME_ZONE)


def plan_of(pk: UUID, reader: User) -> Plan:
    """Return a plan with what its sheet starts from; 404 where the reader sees none."""
    beside = ("lift", "survey__siting__home__rule_set", "survey__author")
    return get_object_or_404(Plan.objects.visible_to(reader).select_related(*beside), pk=pk)


def plan_sheet_as_pdf(pk: UUID, reader: User, asked: str) -> HttpResponse:
    """Return the crew's sheet of a plan."""
    plan, language = plan_of(pk, reader), language_of(asked)
    with translation.override(language):
        return as_pdf(sheet_of(plan, unit=reader.length_unit, language=language), language)


def reading_sheet_as_pdf(pk: UUID, reader: User, asked: str) -> HttpResponse:
    """Return a blank sheet for the readings of a siting."""
    siting = get_object_or_404(Siting.objects.visible_to(reader).select_related("home"), pk=pk)
    language = language_of(asked)
    with translation.override(language):
        return as_pdf(reading_sheet_of(siting, unit=reader.length_unit), language)


def as_pdf(paper: Paper, language: str) -> HttpResponse:
    """Return a paper as a PDF that opens in the browser, named after its title."""
    answer = HttpResponse(typeset("sheet", data_of(paper), language), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{slugify(paper.title)}.pdf"'
    return answer
