"""The record of a home over the years, as page and PDF."""

from collections.abc import Iterator
from dataclasses import dataclass
from uuid import UUID

from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from calcs.home_record.beside import read_beside
from calcs.home_record.paper import FASTEST, beam_words, paper_of, shown_points
from calcs.home_record.pictures import groups_of, survey_words
from calcs.home_record.read import Asked, HomeRecord, read_home_record
from calcs.home_record.tables import height_table
from calcs.models import Due
from calcs.sheets import as_pdf, language_of
from jobs.models.base import Act
from jobs.rights import need
from jobs.views import SignedInRequest, page


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One thing that can be chosen."""

    value: str
    words: str
    is_chosen: bool


@require_safe
@page
def home_record(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The record on a screen; surveys, place and points are chosen in the address."""
    record, language = _record(request, pk), language_of(request.GET.get("lang", ""))
    group = request.GET.get("group", FASTEST)
    beside = read_beside(record, request.user)
    with translation.override(language):
        surveys = record.series.surveys
        codes = [code for _title, codes in shown_points(record, group) for code in codes]
        context = {
            "record": record,
            "paper": paper_of(record, beside, group=group),
            "language": language,
            "languages": settings.LANGUAGES,
            "choosers": _choosers(record),
            "groups": list(_groups(record, group)),
            "numbers": height_table(record, codes, range(len(surveys))) if surveys else None,
        }
        return render(request, "calcs/home_record.html", context)


@require_safe
@page
def home_record_pdf(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The record on paper, with every point: nobody can choose there."""
    record, language = _record(request, pk), language_of(request.GET.get("lang", ""))
    with translation.override(language):
        return as_pdf(paper_of(record, read_beside(record, request.user), group=None), language)


def _record(request: SignedInRequest, pk: UUID) -> HomeRecord:
    need(request.user, Act.SEE, Due)
    return read_home_record(pk, request.user, Asked.of(request.GET), unit=request.user.length_unit)


def _choosers(record: HomeRecord) -> list[tuple[str, str, list[Choice]]]:
    """Return what can be chosen from lists: name, words, choices; the newest survey first."""
    wanted = (
        ("survey", _("Level map of"), record.shown and record.shown.survey.pk),
        ("first", _("Changes from"), record.first and record.first.survey.pk),
        ("second", _("to"), record.second and record.second.survey.pk),
    )
    return [
        (
            name,
            words,
            [
                Choice(value=str(each.survey.pk), words=survey_words(each), is_chosen=each.survey.pk == chosen)
                for each in reversed(record.series.surveys)
            ],
        )
        for name, words, chosen in wanted
    ]


def _groups(record: HomeRecord, group: str) -> Iterator[Choice]:
    """Return what points may be shown: those that change fastest, or those of a beam."""
    beams = groups_of(record)
    yield Choice(value=FASTEST, words=_("The fastest"), is_chosen=group not in beams)
    for beam in beams:
        yield Choice(value=beam, words=beam_words(beam), is_chosen=beam == group)
