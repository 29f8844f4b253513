"""Two at once in forms: a form carries the version it was filled from, and a clash shows both sides."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.db import transaction
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from jobs.errors import Stale
from jobs.history import Meanwhile, changes_since

if TYPE_CHECKING:
    ModelForm = forms.ModelForm[Any]
else:
    ModelForm = forms.ModelForm  # takes no parameter when it runs


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash:
    """One field that somebody else changed meanwhile, and what this person typed in it, where the form has it."""

    theirs: Meanwhile
    typed: str | None


class VersionedForm(ModelForm):
    """A form of a row that two may edit.

    It is refused when the row has moved on since the form was shown. Then nothing that was typed is lost: ``clashes``
    tells who changed what, and the form carries the new version, so that sending it once more saves over knowingly.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.clashes: list[Clash] = []
        self.has_clash = False
        if not self.instance._state.adding:
            self.fields["version"] = forms.IntegerField(
                widget=forms.HiddenInput,
                initial=self.instance.edition,
                error_messages={"required": _("This page is out of date: open it again.")},
            )

    def clean(self) -> dict[str, Any] | None:
        """Refuse what was filled in from an earlier version."""
        cleaned = super().clean()
        version = self.cleaned_data.get("version")
        if version is not None and version != self.instance.edition:
            self.tell_clash(version)
        return cleaned

    def tell_clash(self, version: int) -> None:
        """Show what was changed since ``version``, beside what was typed; a second try is from the newest."""
        row = self.instance._meta.model._default_manager.get(pk=self.instance.pk)
        self.clashes = [
            Clash(theirs=theirs, typed=self._typed(theirs.field)) for theirs in changes_since(row, version)
        ]
        self.has_clash = True
        self.data = cast(QueryDict, self.data).copy()
        self.data[self.add_prefix("version")] = str(row.edition)
        self.add_error(None, _("Somebody else has changed this meanwhile. Nothing was saved yet."))

    def _typed(self, name: str) -> str | None:
        """Return what was typed in a field, choices by their words."""
        if name not in self.fields:
            return None
        value = self[name].value()
        words = {str(key): str(word) for key, word in getattr(self.fields[name], "choices", ())}
        each = value if isinstance(value, list) else [value]
        return ", ".join(words.get(str(one), "" if one is None else str(one)) for one in each)


def saved(form: VersionedForm) -> bool:
    """Save a valid form, whole or not at all; False, with the clash told, where somebody else came first."""
    try:
        with transaction.atomic():
            form.save()
    except Stale:
        form.tell_clash(form.cleaned_data["version"])
        return False
    return True
