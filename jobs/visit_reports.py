"""What a crew tells of its visit from the phone: it is there, it is done, or nobody let it in."""

from django.db import transaction

from jobs.booking import follow_report
from jobs.field_work import note
from jobs.models import Visit, VisitReport

MOST_REASON = Visit._meta.get_field("state_reason").max_length


@transaction.atomic
def note_visit_report(report: VisitReport) -> bool:
    """Keep a report and set its visit's state by it; tell whether it is new.

    A visit that is over stays as it is, and so does one whose state its author may not change: the report is kept.
    """
    is_new = note(report)
    visit = Visit.objects.select_for_update(no_key=True).get(pk=report.visit_id)
    if is_new and visit.state in Visit.UNDER_WAY and visit.state != report.state:
        follow_report(visit, by=report.author, state=report.state, reason=report.reason[:MOST_REASON])
    return is_new
