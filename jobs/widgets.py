"""What people type into, where the framework's own would lose something."""

from typing import Any

from django import forms


class Words(forms.Textarea):
    """A box for words without a limit in the browser, which cuts what is pasted: the form says what is too long."""

    def build_attrs(self, base_attrs: dict[str, Any], extra_attrs: dict[str, Any] | None = None) -> dict[str, Any]:
        """Return the attributes that the box is drawn with."""
        attrs = super().build_attrs(base_attrs, extra_attrs)
        return {name: value for name, value in attrs.items() if name != "maxlength"}
