"""What crews found under the home, held against the record that the plan was made from."""

import datetime
from collections.abc import Iterator

from django.utils.translation import ngettext

from calcs.approving.refusals import Case, Refusal, listed, managers
from jobs.inspection_figures import Measured, differs
from jobs.models import Finding

LOOKED_WITHIN = datetime.timedelta(days=90)  # before the survey; judgement: wedges work loose


def of_findings(case: Case) -> Iterator[Refusal]:
    """Tell of figures that somebody measured and nobody recorded: the plan was made without them."""
    newest: dict[object, Finding] = {}
    rows = Finding.objects.standing().filter(siting=case.siting).exclude(figures={})
    for finding in rows.order_by("noted_at", "sequence", "pk"):
        newest[finding.point_id or finding.connection_id] = finding
    names = [
        case.record.name(str(key))
        for key, finding in newest.items()
        if (row := _measured(case, finding)) and differs(row, finding.figures)
    ]
    if names:
        words = ngettext(
            "Measured, but the record says otherwise: {things}. Record it, or measure again.",
            "Measured, but the record says otherwise: {things}. Record them, or measure again.",
            len(names),
        )
        yield managers("not_recorded", words.format(things=listed(names)))


def _measured(case: Case, finding: Finding) -> Measured | None:
    if finding.point_id:
        return case.record.supports.get(str(finding.point_id))
    return case.record.connections.get(str(finding.connection_id))


def not_looked_at(case: Case) -> list[str]:
    """Name the supports that nobody noted anything of: whether their wedges are tight is a guess."""
    since = case.plan.survey.started_at - LOOKED_WITHIN
    seen = Finding.objects.standing().filter(siting=case.siting, point__isnull=False, noted_at__gte=since)
    points = {str(key) for key in seen.values_list("point_id", flat=True)}
    tight = (key for key, support in case.record.supports.items() if not support.gap_in)
    return [case.record.name(key) for key in tight if key not in points]
