"""The crew's sheet of a plan: one paper, told once, shown on a page and typeset as PDF alike."""

from datetime import date

from django.utils import formats, timezone
from django.utils.translation import gettext as _

from calcs.documents.blocks import Facts, Note, Paper, Section
from calcs.models import Approval, Plan
from calcs.sheet_page import attached, loading, passes, safety, supports
from calcs.sheet_page.known import Known, read_known
from calcs.sheet_page.state import mark_of, papers_missing
from calcs.spoken import OPTION_WORDS

__all__ = ["sheet_of"]


def sheet_of(plan: Plan, *, unit: str, language: str) -> Paper:
    """Return the sheet in the language that is active; ``language`` names it.

    The plan comes with its lift, and its survey with siting, home, rule set and author.
    """
    known = read_known(plan, unit=unit)
    approvals = Approval.objects.filter(plan=plan).select_related(
        "approved_by", "withdrawn_by", "plan__survey__siting__home"
    )
    approval = approvals.order_by("-number").first()
    mark = mark_of(plan, approval, is_current=known.is_of_these_heights)
    home = plan.survey.siting.home
    return Paper(
        title=_("Crew's sheet: {home}").format(home=home),
        subtitle=plan.survey.siting.address,
        date=_dated(plan, approval),
        mark=mark.word,
        notes=(*mark.notes, *papers_missing(known.visit, known.rules)),
        facts=_facts(known),
        sections=tuple(_sections(known, language)),
        foot=_("Planning figures, not approval: local codes, the home's own manual and licensed trades govern."),
    )


def _dated(plan: Plan, approval: Approval | None) -> date:
    """The day that the paper bears: it says what was decided then, whenever it is printed."""
    return timezone.localtime(approval.approved_at if approval else plan.created_at).date()


def _facts(known: Known) -> Facts:
    survey, visit = known.plan.survey, known.visit
    read = formats.date_format(timezone.localtime(survey.started_at), "j M Y")
    rows = [
        (_("plan"), str(OPTION_WORDS[known.plan.option])),
        (_("survey"), f"{survey.get_stage_display()}, {read}"),
        (_("way in"), survey.siting.home.access_notes),
    ]
    if visit is not None:
        day = formats.date_format(timezone.localtime(visit.starts_at), "D j M Y, H:i")
        rows.append((_("visit"), day))
        rows.append((_("crew"), ", ".join(str(person) for person in known.people)))
    if known.passes is not None:
        rows.append((_("passes"), str(len(known.passes.passes))))
        rows.append((_("days"), str(known.passes.days)))
    return Facts(rows=tuple(row for row in rows if row[1]))


def _sections(known: Known, language: str) -> list[Section]:
    """The work in its order; of readings that no longer stand, nothing that could be built."""
    moments = safety.moments_of(known, language)
    before = [safety.hazards_section(known), safety.readers_section(known, moments)]
    after = [safety.night_section(), safety.end_section(), safety.cautions_section(known, moments)]
    if not known.is_of_these_heights:
        words = _(
            "The heights that this plan was made from no longer stand, so no number is given. Choose a plan again."
        )
        nothing = Section(key="nothing", title=_("No numbers"), blocks=(Note(words=words, is_stop=True),))
        return [*before, nothing, *after]
    read = formats.date_format(timezone.localtime(known.plan.survey.started_at), "j M Y")
    drawn = supports.map_section(known, date=read)
    return [
        *before,
        loading.loading_section(known),
        attached.free_section(known),
        attached.straps_section(known),
        safety.stops_section(known),
        *([drawn] if drawn else []),
        passes.passes_section(known),
        supports.supports_section(known),
        attached.drains_section(known),
        *after,
    ]
