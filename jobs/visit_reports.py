"""What a crew tells of its visit from the phone: it is there, it is done, or nobody let it in."""

from django.db import transaction

from jobs.field_work import note
from jobs.models import Visit, VisitReport
from jobs.models.base import Act


@transaction.atomic
def note_visit_report(report: VisitReport) -> bool:
    """Keep a report and set its visit's state by it; tell whether it is new.

    A visit that is over stays as it is, and so does one whose state its author may not change: the report is kept.
    """
    is_new = note(report)
    visit = Visit.objects.select_for_update(no_key=True).get(pk=report.visit_id)
    is_news = is_new and visit.state in Visit.UNDER_WAY and visit.state != report.state
    if is_news and visit.refusal(report.author, Act.CHANGE, ["state"]) is None:
        visit.state = report.state
        visit.save(update_fields=["state"])
    return is_new
