"""What is done before the first pass of a plan's work: straps are loosened, connections freed."""

from django.utils.translation import gettext as _

from calcs.engine.lift import LiftOption
from calcs.engine.straps import StrapsResult
from calcs.models import Plan
from calcs.survey_page.plans import to_free
from calcs.survey_page.record import Record, result_of


def before_first_pass(record: Record, plan: Plan, option: LiftOption) -> tuple[str, ...]:
    """Return what comes first, a line each, in the reader's words."""
    found = result_of(record.checks_of(plan).get("straps"), StrapsResult)
    straps = [strap for strap in (found.straps if found else ()) if strap.handling == "loosen_first"]
    loosen = (
        _("strap {strap}: loosen it by {by}").format(
            strap=record.name(strap.code), by=record.length(strap.slack_needed_in)
        )
        for strap in sorted(straps, key=lambda strap: record.name(strap.code))
    )
    free = (_("{what}: freed by {who}").format(what=row.label, who=row.by) for row in to_free(record, option))
    return (*loosen, *free)
