"""The form that books a visit to a home that is due: the usual one, and what only the due list asks."""

import datetime
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from calcs.due_booking import TWO_JOBS
from jobs.models import Siting, Visit
from jobs.visit_forms import VisitForm

USUAL_HOURS = 3  # of a recheck; common practice, no source


class BookDueForm(VisitForm):
    """When, what for and who; with a job of its own, and another visit where one is booked."""

    opens_job = forms.BooleanField(label=_("Open a new job for it"), required=False)
    is_another = forms.BooleanField(label=_("Book another visit all the same"), required=False)

    def __init__(self, *args: Any, siting: Siting, day: datetime.date, is_booked: bool, **kwargs: Any) -> None:
        super().__init__(*args, siting=siting, initial={"kind": Visit.Kind.RECHECK, "day": day}, **kwargs)
        starts = self.initial["from_time"]
        self.initial["to_time"] = starts.replace(hour=min(starts.hour + USUAL_HOURS, 23))
        del self.fields["booked_why"]  # which the list knows
        if not is_booked:
            del self.fields["is_another"]

    def clean(self) -> dict[str, Any] | None:
        """Refuse two jobs for one visit."""
        cleaned = super().clean()
        if self.cleaned_data.get("job") and self.cleaned_data.get("opens_job"):
            self.add_error("opens_job", TWO_JOBS)
        return cleaned

    @property
    def values(self) -> dict[str, Any]:
        """What booking from the list takes."""
        typed = self.cleaned_data
        own = {name: typed.get(name, False) for name in ("opens_job", "is_another")}
        return {**super().values, **own}
