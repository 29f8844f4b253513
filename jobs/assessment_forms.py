"""Forms of assessments, of signing past a block, and of papers."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

from django import forms
from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from jobs.assessing import REASON_AT_MOST, problems_of
from jobs.constraints import SENTENCES
from jobs.editing import VersionedForm
from jobs.models import Assessment, Paper, Siting, Visit
from jobs.papers import COMPANY_KINDS, HOME_KINDS
from jobs.widgets import Words

CHOOSE = ("", _("choose"))


class RecordForm(VersionedForm):
    """A form that says of each rule of the database's what its sentence is, at the field to look at."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        for field in cast(dict[str, Any], self.fields).values():
            if isinstance(field, forms.TypedChoiceField):
                offered: Any = field.choices
                field.choices = [CHOOSE, *(choice for choice in offered if choice[0])]
            if isinstance(field, forms.DateField):
                field.widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
            if isinstance(field.widget, forms.Textarea):
                field.widget = Words({"rows": 2})

    def _post_clean(self) -> None:
        """Leave the framework's own sentences about constraints out, and say ours."""
        row = cast(Any, self.instance)
        row.validate_constraints = lambda exclude=None: None
        try:
            super()._post_clean()  # type: ignore[misc]  # the library's own hook
        finally:
            del row.validate_constraints
        for constraint in row._meta.constraints:
            try:
                constraint.validate(type(row), row)
            except ValidationError:
                field, sentence = SENTENCES[constraint.name]
                self.add_error(field if field in self.fields else None, str(sentence))


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Fields that belong together under one heading; ``ticks`` are boxes to tick."""

    title: Promise
    fields: Sequence[forms.BoundField]
    ticks: Sequence[forms.BoundField]


class AssessmentForm(RecordForm):
    """What made a home move, what stands in the way, and the verdict."""

    class Meta:
        model = Assessment
        fields = [
            *("assessed_on", "visit", "cause", "evidence", "water", "soil"),
            *("has_active_leak", "has_standing_water", "has_roof_snow", "has_wind_forecast"),
            *("has_gas_question", "has_bent_beam", "has_tied_masonry"),
            *("doors_windows", "doors_note", "attached_note", "land", "is_loan_pending"),
            *("verdict", "wait_until", "reason"),
        ]
        labels = {
            "assessed_on": _("Day"),
            "visit": _("At which visit"),
            "cause": _("What made the home move"),
            "evidence": _("What shows it"),
            "water": _("Water"),
            "soil": _("Soil"),
            "has_active_leak": _("something leaks"),
            "has_standing_water": _("water stands under the home"),
            "has_roof_snow": _("snow lies on the roof"),
            "has_wind_forecast": _("wind is forecast"),
            "has_gas_question": _("gas: a smell, a leak or a hard pipe is not settled"),
            "has_bent_beam": _("a beam is bent"),
            "has_tied_masonry": _("chimney or veneer is tied to the home"),
            "doors_windows": _("Doors and windows"),
            "doors_note": _("Which rub or stick, and where"),
            "attached_note": _("What is attached: steps, porch, carport, skirting"),
            "land": _("Land"),
            "is_loan_pending": _("a sale or loan that asks for a foundation letter is pending"),
            "verdict": _("Verdict"),
            "wait_until": _("Wait until"),
            "reason": _("Why, where it is not to lift; the letter to the customer says it"),
        }
        help_texts = dict.fromkeys(fields, "")

    GROUPS = (
        (_("Cause"), ("assessed_on", "visit", "cause", "evidence")),
        (
            _("Water, soil and weather"),
            ("water", "soil", "has_active_leak", "has_standing_water", "has_roof_snow", "has_wind_forecast"),
        ),
        (_("Gas, beams and masonry"), ("has_gas_question", "has_bent_beam", "has_tied_masonry")),
        (_("Doors, windows, what is attached"), ("doors_windows", "doors_note", "attached_note")),
        (_("Land and loan"), ("land", "is_loan_pending")),
        (_("Verdict"), ("verdict", "wait_until", "reason")),
    )

    def __init__(self, *args: Any, siting: Siting, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance.siting = siting
        visits: QuerySet[Visit] = Visit.objects.filter(siting=siting).order_by("-starts_at")
        visit = cast("forms.ModelChoiceField[Visit]", self.fields["visit"])
        visit.queryset, visit.empty_label = visits, str(_("none"))
        if self.instance._state.adding:
            self.fields["id"] = forms.UUIDField(widget=forms.HiddenInput)  # pressed twice, it is kept once

    def groups(self) -> list[Group]:
        """Return the fields as the page lays them out."""
        ticks = {name for name, field in self.fields.items() if isinstance(field, forms.BooleanField)}
        return [
            Group(
                title=title,
                fields=[self[name] for name in names if name not in ticks],
                ticks=[self[name] for name in names if name in ticks],
            )
            for title, names in self.GROUPS
        ]

    def _post_clean(self) -> None:
        super()._post_clean()
        if not self.errors:
            for name, sentence in problems_of(self.instance).items():
                self.add_error(name, sentence)


class OverrideForm(forms.Form):
    """The manager's reason for going past a block of an assessment as it was read."""

    code = forms.CharField(widget=forms.HiddenInput)
    version = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(label=_("Why you go past it"), max_length=REASON_AT_MOST, widget=Words({"rows": 2}))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class PaperForm(RecordForm):
    """A paper of a home, or of the company where ``siting`` is None."""

    class Meta:
        model = Paper
        fields = ["kind", "number", "issued_on", "expires_on", "released_on", "note"]
        labels = {
            "kind": _("What it is"),
            "number": _("Number"),
            "issued_on": _("Issued on"),
            "expires_on": _("Last day"),
            "released_on": _("Released on"),
            "note": _("Note"),
        }
        help_texts = dict.fromkeys(fields, "")

    def __init__(self, *args: Any, siting: Siting | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.instance.siting = siting
        kinds = HOME_KINDS if siting else COMPANY_KINDS
        cast(Any, self.fields["kind"]).choices = [CHOOSE, *((one, one.label) for one in kinds)]
        if siting is None:
            del self.fields["released_on"]  # only a hold is released
            self.fields["issued_on"].label = _("Issued or inspected on")
        if self.instance._state.adding:
            self.fields["id"] = forms.UUIDField(widget=forms.HiddenInput)
        else:
            self.fields["kind"].disabled = True
