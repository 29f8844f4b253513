"""The forms of planning: which homes, which days, which crews; and where a planned home is to stay."""

import datetime
from collections.abc import Iterator, Sequence
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.dates import WEEKDAYS
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.models import Due
from calcs.planning.problem import MOST_STOPS
from calcs.routes.asked import WORKDAYS, Asked, AskedCrew, AskedHome, Lock
from calcs.routes.crews import UsualCrew
from calcs.routes.telling import PlanTold
from jobs.models import Role, Truck, User, Visit

USUAL_DAYS = 5
MOST_CHOSEN = 25  # that are ticked at the beginning


class PlanForm(forms.Form):
    """Homes with what each is visited for, days, and crews with who goes along."""

    from_on = forms.DateField(label=gettext_lazy("From"), widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))
    to_on = forms.DateField(label=gettext_lazy("To"), widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))
    weekdays = forms.TypedMultipleChoiceField(
        label=gettext_lazy("Days of the week"),
        choices=list(WEEKDAYS.items()),
        coerce=int,
        widget=forms.CheckboxSelectMultiple,
    )
    homes = forms.MultipleChoiceField(
        label=gettext_lazy("Homes"),
        error_messages={"required": gettext_lazy("Choose the homes that are to be visited.")},
    )

    def __init__(self, *args: Any, dues: Sequence[Due], crews: Sequence[UsualCrew], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self.dues, self.usual = dues, crews
        self.fields["homes"].choices = [(str(due.siting_id), str(due.siting)) for due in dues]  # type: ignore[attr-defined]  # of a choice
        for due in dues:
            self.fields[f"kind_{due.siting_id}"] = forms.ChoiceField(
                label=_("What for"), choices=Visit.Kind.choices, initial=Visit.Kind.RECHECK, required=False
            )
        people = User.objects.filter(is_active=True, roles__contains=[Role.CREW]).order_by("first_name", "username")
        trucks = Truck.objects.standing().order_by("name")
        for crew in crews:
            self._add_crew(crew, people, trucks)

    def _add_crew(self, crew: UsualCrew, people: Any, trucks: Any) -> None:
        several: dict[str, Any] = {"required": False, "widget": forms.CheckboxSelectMultiple}
        key = crew.lead.pk
        others = people.exclude(pk=key)  # nobody goes along with himself
        goes = _("{lead} goes").format(lead=crew.lead)
        self.fields[f"go_{key}"] = forms.BooleanField(label=goes, required=False, initial=True)
        self.fields[f"crew_{key}"] = forms.ModelMultipleChoiceField(
            label=_("Along with {lead}").format(lead=crew.lead), queryset=others, initial=crew.crew, **several
        )
        self.fields[f"trucks_{key}"] = forms.ModelMultipleChoiceField(
            label=_("Trucks of {lead}").format(lead=crew.lead), queryset=trucks, initial=crew.trucks, **several
        )

    def crew_fields(self) -> Iterator[tuple[UsualCrew, Any, Any, Any]]:
        """Yield each lead's crew with its three fields."""
        for crew in self.usual:
            key = crew.lead.pk
            yield crew, self[f"go_{key}"], self[f"crew_{key}"], self[f"trucks_{key}"]

    def rows(self) -> Iterator[tuple[Due, bool, Any]]:
        """Yield each home, whether it is ticked, and the field of what it is visited for."""
        chosen = set(self["homes"].value() or ())
        for due in self.dues:
            yield due, str(due.siting_id) in chosen, self[f"kind_{due.siting_id}"]

    def asked(self) -> Asked:
        """Return what is asked, of a form that is valid."""
        given = self.cleaned_data
        homes = [AskedHome(siting=key, kind=given[f"kind_{key}"] or Visit.Kind.RECHECK) for key in given["homes"]]
        return Asked(
            homes=tuple(homes),
            crews=tuple(self._crews(given)),
            from_on=given["from_on"].isoformat(),
            to_on=given["to_on"].isoformat(),
            weekdays=tuple(given["weekdays"]),
        )

    def _crews(self, given: dict[str, Any]) -> Iterator[AskedCrew]:
        for crew in self.usual:
            key = crew.lead.pk
            if given[f"go_{key}"]:
                along, trucks = (tuple(str(row.pk) for row in given[f"{name}_{key}"]) for name in ("crew", "trucks"))
                yield AskedCrew(lead=str(key), crew=along, trucks=trucks)


def beginning(dues: Sequence[Due], named: set[str]) -> dict[str, Any]:
    """Return what the form begins with: the next five days of work, and who is due by then, or who was named."""
    first = timezone.localdate() + datetime.timedelta(days=1)
    while first.weekday() not in WORKDAYS:
        first += datetime.timedelta(days=1)
    last, count = first, 1
    while count < USUAL_DAYS:
        last += datetime.timedelta(days=1)
        count += last.weekday() in WORKDAYS
    due = [
        str(due.siting_id)
        for due in dues
        if due.due_on and due.due_on <= last and due.siting.latitude_deg is not None
    ]
    chosen = [str(due.siting_id) for due in dues if str(due.siting_id) in named]
    return {
        "from_on": first,
        "to_on": last,
        "weekdays": list(WORKDAYS),
        "homes": chosen[:MOST_STOPS] or due[:MOST_CHOSEN],
    }


class LockForm(forms.Form):
    """For each home of a plan: where it is to be, or that it is free."""

    def __init__(self, *args: Any, told: PlanTold, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        locked = {lock.siting: f"{lock.lead} {lock.on}" for lock in told.asked.locks}
        places = [("", _("wherever it is best")), *_places(told)]
        for home in told.asked.homes:
            self.fields[f"lock_{home.siting}"] = forms.ChoiceField(
                label=_("Lock to"), choices=places, initial=locked.get(home.siting, ""), required=False
            )

    def field_of(self, siting: str) -> Any:
        """Return the field of one home."""
        return self[f"lock_{siting}"]

    def locks(self) -> tuple[Lock, ...]:
        """Return what is locked, of a form that is valid."""
        given = {name.removeprefix("lock_"): value.split(" ") for name, value in self.cleaned_data.items() if value}
        return tuple(Lock(siting=siting, lead=lead, on=on) for siting, (lead, on) in given.items())


def _places(told: PlanTold) -> Iterator[tuple[str, str]]:
    """Yield every crew's day that can be locked to."""
    first = told.asked.first
    for shift in told.document.shifts:
        day = first + datetime.timedelta(days=shift.day)
        words = _("{day}, {lead}").format(day=date_format(day, "D j M"), lead=told.leads[shift.crew])
        yield f"{shift.crew} {day.isoformat()}", words
