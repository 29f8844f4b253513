"""The form of what may be tried: a few fields, in the lengths that a person reads, turned into changes."""

from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.engine.errors import InvalidInput
from calcs.engine.units import parse_length
from calcs.trials import Changes, ConnectionChange, SupportChange
from jobs.errors import DomainError
from jobs.lengths import length
from jobs.models import Connection, DrainRun, Support
from jobs.spoken import retold
from surveys.models import Survey

SUPPORT_ROWS = 2  # more at once over the API


class LengthField(forms.CharField):
    """A length as crews type it, in the reader's unit; empty: as recorded."""

    def __init__(self, *, unit: str, **options: Any) -> None:
        super().__init__(required=False, max_length=20, **options)
        self.unit = unit
        self.widget.attrs["inputmode"] = "text"

    def clean(self, value: Any) -> float | None:
        """Return inches; None where nothing was typed."""
        typed = super().clean(value)
        if not typed:
            return None
        try:
            return float(parse_length(typed, unit="mm" if self.unit == "mm" else "in"))
        except InvalidInput as error:
            raise forms.ValidationError(retold(error.message)) from None


def _recorded(travel_in: Decimal | None, unit: str) -> str:
    """Say what is recorded of a connection's travel."""
    if travel_in is None:
        return _("not measured: counts as none")
    return _("recorded: {length}").format(length=length(travel_in, unit))


class TrialForm(forms.Form):
    """What is to be taken otherwise: each connection, a few supports, and what holds for the whole home."""

    def __init__(self, data: Any = None, *, survey: Survey, unit: str) -> None:
        super().__init__(data, label_suffix="")
        self.connections = list(Connection.objects.standing().filter(siting=survey.siting_id).order_by("code", "pk"))
        supports = Support.objects.standing().filter(point__siting=survey.siting_id).select_related("point")
        labels = [
            (str(row.point_id), row.point.label) for row in supports.order_by("point__walk_order", "point__label")
        ]
        self._where: dict[str, str] = {}  # the fields of the form by those of the changes
        for place, connection in enumerate(self.connections):
            self._add_connection(place, connection, unit)
        for place in range(SUPPORT_ROWS if labels else 0):
            self._add_support(place, labels, unit)
        for name, words in _WHOLE.items():
            self.fields[name] = LengthField(unit=unit, label=words)
        if DrainRun.objects.standing().filter(siting=survey.siting_id).exists():
            self.fields["rehang_drains"] = forms.BooleanField(
                label=gettext_lazy("Drains hung anew, at no cost"), required=False
            )

    def _add_connection(self, place: int, connection: Connection, unit: str) -> None:
        words = {"connection": connection}
        self.fields[f"free_{place}"] = forms.BooleanField(
            label=_("{connection} free, at no cost").format(**words), required=False
        )
        self.fields[f"up_{place}"] = LengthField(
            unit=unit,
            label=_("{connection}: free up").format(**words),
            help_text=_recorded(connection.free_up_in, unit),
        )
        self.fields[f"down_{place}"] = LengthField(
            unit=unit,
            label=_("{connection}: free down").format(**words),
            help_text=_recorded(connection.free_down_in, unit),
        )

    def _add_support(self, place: int, labels: list[tuple[str, str]], unit: str) -> None:
        choices = [("", gettext_lazy("none")), *labels]
        self.fields[f"support_{place}"] = forms.ChoiceField(
            label=gettext_lazy("Support"), choices=choices, required=False
        )
        self.fields[f"raise_{place}"] = LengthField(unit=unit, label=gettext_lazy("may go up"))
        self.fields[f"lower_{place}"] = LengthField(unit=unit, label=gettext_lazy("may come down"))

    @property
    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """The fields as they stand together on the page."""
        found = [
            (str(connection), [self[f"{name}_{place}"] for name in ("free", "up", "down")])
            for place, connection in enumerate(self.connections)
        ]
        for place, legend in enumerate((_("Limits of a support"), _("Limits of another support"))):
            if f"support_{place}" in self.fields:
                found.append((legend, [self[f"{name}_{place}"] for name in ("support", "raise", "lower")]))
        whole = [self[name] for name in (*_WHOLE, "rehang_drains") if name in self.fields]
        return [*found, (_("The whole home"), whole)]

    def clean(self) -> dict[str, Any]:
        """Limits need a support that they are for."""
        cleaned = super().clean() or {}
        for place in range(SUPPORT_ROWS):
            limits = (cleaned.get(f"raise_{place}"), cleaned.get(f"lower_{place}"))
            if limits != (None, None) and not cleaned.get(f"support_{place}"):
                self.add_error(f"support_{place}", _("Choose the support."))
        return cleaned

    def changes(self) -> Changes:
        """Return what was filled in; what was left empty stays as recorded."""
        return Changes(
            connections=tuple(self._connections()),
            supports=tuple(self._supports()),
            rehang_drains=self.cleaned_data.get("rehang_drains", False),
            **{name: self.cleaned_data[name] for name in _WHOLE},
        )

    def _connections(self) -> list[ConnectionChange]:
        found: list[ConnectionChange] = []
        for place, connection in enumerate(self.connections):
            is_free, up_in, down_in = (self.cleaned_data[f"{name}_{place}"] for name in ("free", "up", "down"))
            if is_free or up_in is not None or down_in is not None:
                names = {"is_free": "free", "free_up_in": "up", "free_down_in": "down", "connection": "free"}
                self._note("connections", len(found), place, names)
                found.append(
                    ConnectionChange(
                        connection=str(connection.pk), is_free=is_free, free_up_in=up_in, free_down_in=down_in
                    )
                )
        return found

    def _supports(self) -> list[SupportChange]:
        found: list[SupportChange] = []
        for place in range(SUPPORT_ROWS):
            point = self.cleaned_data.get(f"support_{place}")
            if point:
                self._note(
                    "supports",
                    len(found),
                    place,
                    {"point": "support", "max_raise_in": "raise", "max_lower_in": "lower"},
                )
                up_in, down_in = self.cleaned_data[f"raise_{place}"], self.cleaned_data[f"lower_{place}"]
                found.append(SupportChange(point=point, max_raise_in=up_in, max_lower_in=down_in))
        return found

    def _note(self, part: str, number: int, place: int, names: dict[str, str]) -> None:
        for name, own in names.items():
            self._where[f"{part}[{number}].{name}"] = f"{own}_{place}"

    def put_error(self, error: DomainError) -> None:
        """Show what is refused at the field that it is about."""
        for field, sentence in (error.fields or {"": error.message}).items():
            own = self._where.get(field, field)
            self.add_error(own if own in self.fields else None, sentence)


_WHOLE = {
    "max_raise_in": gettext_lazy("Every support may go up"),
    "tolerance_in": gettext_lazy("Tolerance between neighbours"),
    "target_in": gettext_lazy("What pairs with a moved support aim for"),
}
