"""The form that books a visit to a home that is due."""

import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from jobs.models import Role, Skill, Truck, User, Visit

USUAL_HOURS = 3  # of a recheck; common practice, no source


class BookDueForm(forms.Form):
    """When, what for, who and with what."""

    kind = forms.ChoiceField(label=_("What for"), choices=Visit.Kind.choices)
    day = forms.DateField(label=_("Day"), widget=forms.DateInput({"type": "date"}))
    from_time = forms.TimeField(label=_("From"), widget=forms.TimeInput({"type": "time"}))
    to_time = forms.TimeField(label=_("To"), widget=forms.TimeInput({"type": "time"}))
    lead = forms.ModelChoiceField(label=_("Crew lead"), queryset=User.objects.none(), required=False)
    crew = forms.ModelMultipleChoiceField(
        label=_("Crew"), queryset=User.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )
    trucks = forms.ModelMultipleChoiceField(
        label=_("Trucks"), queryset=Truck.objects.none(), required=False, widget=forms.CheckboxSelectMultiple
    )
    needs = forms.MultipleChoiceField(
        label=_("Somebody must be able to"),
        choices=Skill.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    note = forms.CharField(label=_("Note"), required=False, widget=forms.Textarea({"rows": 2}), max_length=2000)
    opens_job = forms.BooleanField(label=_("Open a job for it"), required=False)
    is_another = forms.BooleanField(label=_("Book another visit all the same"), required=False)

    def __init__(self, *args: Any, is_booked: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        people = User.objects.filter(is_active=True).order_by("first_name", "username")
        for name, role in (("lead", Role.CREW_LEAD), ("crew", Role.CREW)):
            self.fields[name].queryset = people.filter(roles__contains=[role])  # type: ignore[attr-defined]  # of rows
        self.fields["trucks"].queryset = Truck.objects.standing().order_by("name")  # type: ignore[attr-defined]  # of rows
        if not is_booked:
            del self.fields["is_another"]

    def clean(self) -> dict[str, Any]:
        """Put day and times together, by the company's clock that the page runs on."""
        given = super().clean() or {}
        if {"day", "from_time", "to_time"} <= given.keys():
            for name, time in (("starts_at", given["from_time"]), ("ends_at", given["to_time"])):
                given[name] = timezone.make_aware(datetime.datetime.combine(given["day"], time))
        return given

    def asked(self) -> dict[str, Any]:
        """Return what the service is asked for."""
        return {name: value for name, value in self.cleaned_data.items() if name not in _PARTS}


_PARTS = frozenset({"day", "from_time", "to_time"})


def usual(day: datetime.date, *, kind: str, starts: datetime.time) -> dict[str, Any]:
    """Return what the form begins with: the day that fits, the morning, the usual length."""
    ends = min(starts.hour + USUAL_HOURS, 23)
    return {"kind": kind, "day": day, "from_time": starts, "to_time": starts.replace(hour=ends)}
