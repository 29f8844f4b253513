"""Forms of visits: what is booked, in the company's hours, and how a visit stands."""

import datetime
from collections.abc import Collection, Mapping
from typing import Any, cast
from zoneinfo import ZoneInfo

from django import forms
from django.db.models import QuerySet
from django.db.models.functions import Lower
from django.http import QueryDict
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.booking import NEXT
from jobs.booking_questions import QUESTIONS
from jobs.clock import ONE_DAY, company_zone, start_of
from jobs.editing import VersionedForm
from jobs.errors import DomainError
from jobs.history import changes_since
from jobs.history.words import moment_words
from jobs.models import Company, Job, Occupied, Role, Siting, Skill, Truck, User, Visit

GOES_OUT = [Role.CREW_LEAD, Role.CREW, Role.MANAGER]
_WHEN = ("day", "from_time", "to_time", "last_day")
_MORNING, _EVENING = datetime.time(8), datetime.time(17)


class VisitForm(VersionedForm):
    """When somebody goes to a home, what for, and who; ``values`` is what booking takes."""

    day = forms.DateField(label=gettext_lazy("Day"), widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"))
    from_time = forms.TimeField(label=gettext_lazy("From"), widget=forms.TimeInput({"type": "time"}, format="%H:%M"))
    to_time = forms.TimeField(label=gettext_lazy("To"), widget=forms.TimeInput({"type": "time"}, format="%H:%M"))
    last_day = forms.DateField(
        label=gettext_lazy("Last day, if it is another one"),
        required=False,
        widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d"),
    )
    needs = forms.MultipleChoiceField(
        label=gettext_lazy("Somebody must be able to do this"),
        choices=Skill.choices,
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    reason = forms.CharField(label=gettext_lazy("Why it is moved"), max_length=300, required=False)
    despite = forms.MultipleChoiceField(
        label=gettext_lazy("Book it all the same"), required=False, widget=forms.CheckboxSelectMultiple
    )
    field_order = (*_WHEN, "despite", "reason", "kind", "lead", "crew", "trucks", "needs", "job")

    class Meta:
        model = Visit
        fields = ("kind", "lead", "crew", "trucks", "needs", "job", "booked_why", "note")
        labels = {
            "kind": gettext_lazy("What for"),
            "lead": gettext_lazy("Lead"),
            "crew": gettext_lazy("Crew"),
            "trucks": gettext_lazy("Trucks"),
            "job": gettext_lazy("Job"),
            "booked_why": gettext_lazy("Why the home is due"),
            "note": gettext_lazy("Note for the crew"),
        }
        help_texts = dict.fromkeys(fields, "")
        widgets = {
            "crew": forms.CheckboxSelectMultiple,
            "trucks": forms.CheckboxSelectMultiple,
            "note": forms.Textarea({"rows": 3}),
        }

    def __init__(self, *args: Any, siting: Siting, initial: Mapping[str, Any] | None = None, **kwargs: Any) -> None:
        self.zone = company_zone()
        kept = kwargs.get("instance")
        super().__init__(*args, initial={**self._hours_of(kept), **(initial or {})}, **kwargs)
        self.label_suffix = ""
        if kept is not None:
            del self.fields["booked_why"]
        else:
            del self.fields["reason"]
        self._offer(siting, kept)
        self._offer_despite(self["despite"].value() or ())

    def _hours_of(self, kept: Visit | None) -> dict[str, Any]:
        if kept is None:
            company = Company.objects.first()
            hours = (company.works_from, company.works_to) if company else (_MORNING, _EVENING)
            return {"day": timezone.localdate(timezone=self.zone), "from_time": hours[0], "to_time": hours[1]}
        start, end = kept.starts_at.astimezone(self.zone), kept.ends_at.astimezone(self.zone)
        last = end.date() if end.date() != start.date() else None
        return {"day": start.date(), "from_time": start.time(), "to_time": end.time(), "last_day": last}

    def _offer(self, siting: Siting, kept: Visit | None) -> None:
        """Offer people and trucks, each with the hours in which it is taken that day, and the home's open jobs."""
        people = User.objects.filter(is_active=True, roles__overlap=GOES_OUT).order_by(
            Lower("first_name"), Lower("last_name"), "username"
        )
        jobs = Job.objects.filter(home=siting.home_id, state__in=[Job.State.ENQUIRY, Job.State.OPEN])
        offered: dict[str, QuerySet[Any]] = {
            "lead": people,
            "crew": people,
            "trucks": Truck.objects.standing(),
            "job": jobs | Job.objects.filter(visits=kept.pk) if kept else jobs,
        }
        day = self._day_shown()
        taken = self._taken(kept, day)
        cast(forms.ChoiceField, self.fields["kind"]).choices = [("", _("choose")), *Visit.Kind.choices]
        for name, rows in offered.items():
            field = cast("forms.ModelChoiceField[Any]", self.fields[name])
            field.queryset = rows.distinct() if name == "job" else rows
            field.empty_label = _("no lead yet") if name == "lead" else _("none") if name == "job" else None
            if name in ("lead", "crew", "trucks"):
                field.label_from_instance = lambda row: _with_hours(row, day, taken.get(row.pk, []))  # type: ignore[assignment]  # the library's own way

    def _offer_despite(self, codes: Collection[str]) -> None:
        """Offer to book all the same what was asked, and nothing that was not."""
        asked = [(code, words) for code, words in QUESTIONS.items() if code in codes]
        cast(forms.ChoiceField, self.fields["despite"]).choices = asked

    def _taken(self, kept: Visit | None, day: datetime.date | None) -> dict[Any, list[str]]:
        """Return the hours in which people and trucks are taken on the day that the form shows."""
        if day is None:
            return {}
        hours: dict[Any, list[str]] = {}
        on_day = Occupied.objects.filter(
            during__overlap=(start_of(day, self.zone), start_of(day + ONE_DAY, self.zone))
        )
        if kept is not None:
            on_day = on_day.exclude(visit=kept)
        for row in on_day.order_by("during"):
            words = _("off") if row.time_off_id else _hours(row.during, self.zone)
            hours.setdefault(row.person_id or row.truck_id, []).append(words)
        return hours

    def _day_shown(self) -> datetime.date | None:
        try:
            return cast("datetime.date | None", self.fields["day"].clean(self["day"].value()))
        except forms.ValidationError:
            return None

    def clean(self) -> dict[str, Any] | None:
        """Make hours of the company's clock moments, and refuse those that a clock change leaves out."""
        typed = self.cleaned_data
        day = typed.get("day")
        if day is not None:
            self._moment("starts_at", "from_time", day, typed.get("from_time"))
            self._moment("ends_at", "to_time", typed.get("last_day") or day, typed.get("to_time"))
        return super().clean()

    def _typed(self, name: str) -> str | None:
        """Return what was typed; of hours the moment that they make, as it is told of what somebody else saved."""
        at = self.cleaned_data.get(name) if name in ("starts_at", "ends_at") else None
        return moment_words(at) if at else super()._typed(name)

    def _moment(self, name: str, field: str, day: datetime.date, time: datetime.time | None) -> None:
        if time is None:
            return
        at = datetime.datetime.combine(day, time, self.zone)
        if at.astimezone(datetime.UTC).astimezone(self.zone).replace(tzinfo=None) != at.replace(tzinfo=None):
            self.add_error(field, _("There is no such hour on that day: the clock is put forward."))
            return
        self.cleaned_data[name] = at

    @property
    def hours(self) -> list[forms.BoundField]:
        """The fields of when it is."""
        return [self[name] for name in _WHEN]

    @property
    def others(self) -> list[forms.BoundField]:
        """All other fields that are seen; whether to book all the same only where that is asked."""
        asked = cast(forms.ChoiceField, self.fields["despite"]).choices
        hidden = () if asked or self["despite"].errors else ("despite",)
        return [field for field in self.visible_fields() if field.name not in (*_WHEN, *hidden)]

    @property
    def values(self) -> dict[str, Any]:
        """What booking takes, by its own names."""
        typed = self.cleaned_data
        names = ["kind", "starts_at", "ends_at", "lead", "crew", "trucks", "needs", "job", "note", "despite"]
        return {name: list(typed[name]) if name in ("crew", "trucks") else typed[name] for name in names}

    def put_refusal(self, error: DomainError) -> None:
        """Show what booking refuses, at the fields as this form has them; what it only asks can be ticked then."""
        self._offer_despite([*self.cleaned_data["despite"], error.code])
        ends = "last_day" if self.cleaned_data.get("last_day") else "to_time"
        own = {"starts_at": "day", "ends_at": ends, "state_reason": "reason"}
        known = {own.get(name, name): words for name, words in error.fields.items()}
        for name, words in known.items():
            self.add_error(name if name in self.fields else None, words)
        if not known:
            self.add_error(None, error.message)


def _with_hours(row: User | Truck, day: datetime.date | None, hours: list[str]) -> str:
    """Name somebody with the hours taken, and the day they are of: another one may be chosen meanwhile."""
    if day is None or not hours:
        return str(row)
    return _("{who} (taken on {day}: {hours})").format(who=row, day=date_format(day, "j M"), hours=", ".join(hours))


def _hours(during: Any, zone: ZoneInfo) -> str:
    start, end = (f"{moment.astimezone(zone):%H:%M}" for moment in (during.lower, during.upper))
    return _("{start} to {end}").format(start=start, end=end)


class StateForm(forms.Form):
    """How a visit stands, out of what may follow, and why."""

    version = forms.IntegerField(widget=forms.HiddenInput)
    state = forms.ChoiceField(label=gettext_lazy("How it stands"))
    state_reason = forms.CharField(
        label=gettext_lazy("Why, where nobody was let in or it is cancelled"), max_length=300, required=False
    )

    def __init__(self, *args: Any, visit: Visit, **kwargs: Any) -> None:
        kwargs |= {"initial": {"version": visit.version}, "auto_id": "id_state_%s"}
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self.visit = visit
        choices = [(state.value, state.label) for state in Visit.State if state in NEXT[visit.state]]
        cast(forms.ChoiceField, self.fields["state"]).choices = choices

    def clean(self) -> dict[str, Any] | None:
        """Where the visit is not as it was read any more, say what became of it and by whom, and nothing else."""
        cleaned = super().clean()
        version = self.cleaned_data.get("version")
        if version is not None and version != self.visit.version:
            self.errors.clear()
            self.add_error(None, self._became_since(version))
            self.data = cast(QueryDict, self.data).copy()
            self.data["version"] = str(self.visit.version)
        return cleaned

    def _became_since(self, version: int) -> str:
        changes = "; ".join(
            f"{one.label}: {one.before} → {one.after} ({one.who}, {moment_words(one.at)})"
            for one in changes_since(self.visit, version)
        )
        sentence = _("Nothing was noted: the visit has changed since this page was opened. {changes}")
        return sentence.format(changes=changes).strip()
