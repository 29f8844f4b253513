"""Forms of the pages: signing in, a person's own settings, and what a layout is generated from."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.utils.translation import gettext_lazy as _

from calcs.engine.errors import InvalidInput
from jobs.editing import VersionedForm
from jobs.layout import Layout, LayoutSpec, generate
from jobs.models import Home, User
from jobs.spoken import retold


class SignInForm(AuthenticationForm):
    """A name and a password."""

    error_messages = {
        "invalid_login": _("No one has this name with this password. Capitals count."),
        "inactive": _("This person no longer signs in here. Ask the manager."),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class AccountForm(VersionedForm):
    """What a person chooses for himself."""

    class Meta:
        model = User
        fields = ["language", "length_unit"]
        labels = {"language": _("Language"), "length_unit": _("Lengths in")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class DeviceForm(forms.Form):
    """What a phone or program that shall speak for a person is called, and for how long."""

    name = forms.CharField(label=_("Name"), max_length=80, help_text=_("such as 'truck 2 phone'"))
    days = forms.IntegerField(label=_("Days"), min_value=1, max_value=365, initial=90)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class LayoutForm(forms.Form):
    """What a layout is generated from. The names are those of the API's layout request."""

    sections = forms.IntegerField(label=_("Sections"), min_value=1, max_value=4)
    width_ft = forms.FloatField(label=_("Width, ft"), min_value=4, max_value=200)
    length_ft = forms.FloatField(label=_("Length, ft"), min_value=4, max_value=200)
    beams = forms.IntegerField(
        label=_("Beams a section"), min_value=1, max_value=12, required=False, help_text=_("empty: as usual, two")
    )
    beam_spacing_in = forms.FloatField(
        label=_("Beam to beam, in"),
        min_value=6,
        max_value=600,
        required=False,
        help_text=_("empty: 99 1/2, as usual"),
    )
    support_spacing_ft = forms.FloatField(label=_("Supports at most apart, ft"), min_value=1, max_value=20, initial=8)
    has_mate_line = forms.BooleanField(label=_("Supports along the mate line"), required=False)
    mate_line_spacing_ft = forms.FloatField(
        label=_("Mate line supports apart, ft"), min_value=1, max_value=20, required=False
    )
    mate_line_offset_in = forms.FloatField(
        label=_("Mate line above beams, in"), required=False, help_text=_("empty: not measured")
    )
    has_perimeter = forms.BooleanField(label=_("Supports along the perimeter"), required=False)
    perimeter_spacing_ft = forms.FloatField(
        label=_("Perimeter supports apart, ft"), min_value=1, max_value=20, required=False
    )
    rim_offset_in = forms.FloatField(
        label=_("Rim above beams, in"), required=False, help_text=_("empty: not measured")
    )

    def __init__(self, data: Any = None, *, home: Home) -> None:
        usual = {
            "sections": home.sections,
            "width_ft": f"{home.width_ft.normalize():f}",
            "length_ft": f"{home.length_ft.normalize():f}",
            "has_mate_line": home.sections > 1,
        }
        super().__init__(data, initial=usual, label_suffix="")
        self.home = home

    def layout(self) -> Layout | None:
        """Generate the layout; None, with the reason at its field, where there can't be one."""
        given = {name: value for name, value in self.cleaned_data.items() if value is not None}
        try:
            return generate(LayoutSpec(**{"kind": self.home.kind, **given}))
        except InvalidInput as wrong:
            self.add_error(wrong.field if wrong.field in self.fields else None, retold(wrong.message))
            return None
