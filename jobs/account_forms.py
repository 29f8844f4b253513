"""Forms about accounts: the first start, accepting an invitation, passwords, inviting, a person's roles, erasing."""

from typing import TYPE_CHECKING, Any
from zoneinfo import available_timezones

from django import forms
from django.contrib.auth.forms import PasswordChangeForm, SetPasswordForm, UserCreationForm
from django.utils.translation import get_language
from django.utils.translation import gettext_lazy as _

from jobs.accounts import is_start_code
from jobs.editing import VersionedForm
from jobs.errors import DomainError
from jobs.models import Company, Role, Skill, User

if TYPE_CHECKING:
    NewUserForm = UserCreationForm[User]
    NewPasswordForm = SetPasswordForm[User]
else:  # take no parameter when they run
    NewUserForm, NewPasswordForm = UserCreationForm, SetPasswordForm

PASSWORD_RULES = _("at least 10 characters; no common password, no number alone, not your name")
TIME_ZONES = sorted(
    name for name in available_timezones() if name == "UTC" or ("/" in name and not name.startswith("Etc/"))
)


def put_error(form: forms.BaseForm, error: DomainError) -> None:
    """Show what a service refuses at the fields it names, the rest above the form."""
    known = {name: words for name, words in error.fields.items() if name in form.fields}
    for name, words in known.items():
        form.add_error(name, words)
    if not known:
        form.add_error(None, error.message)


class NewPersonForm(NewUserForm):
    """Somebody makes their own account."""

    class Meta:
        model = User
        fields = ["username", "first_name", "last_name", "phone"]
        labels = {
            "username": _("Name to sign in with"),
            "first_name": _("First name"),
            "last_name": _("Last name"),
            "phone": _("Phone"),
        }
        help_texts = {"username": _("letters, digits and @ . + - _")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        _say_passwords(self, "password1", "password2")
        self.fields["first_name"].required = True

    def person(self) -> User:
        """Return the person, not stored yet, who speaks the language of the page they filled in."""
        person = self.save(commit=False)
        spoken = (get_language() or "")[:2]
        person.language = spoken if spoken in dict(User._meta.get_field("language").flatchoices) else "en"
        return person


class StartForm(NewPersonForm):
    """The company and its first manager."""

    code = forms.CharField(label=_("Start code"), max_length=40)
    company = forms.CharField(label=_("Company"), max_length=Company._meta.get_field("name").max_length)
    time_zone = forms.ChoiceField(
        label=_("Time zone"), choices=[("", _("choose")), *((name, name.replace("_", " ")) for name in TIME_ZONES)]
    )

    field_order = ["code", "company", "time_zone", "first_name", "last_name", "email", "username"]

    class Meta(NewPersonForm.Meta):
        fields = ["username", "first_name", "last_name", "email"]
        labels = {**NewPersonForm.Meta.labels, "email": _("E-mail")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["email"].required = True
        self.fields["username"].widget.attrs.pop("autofocus", None)
        self.fields["code"].help_text = _("whoever runs the server reads it there: python3 manage.py start_code")

    def clean_code(self) -> str:
        """Refuse a stranger."""
        typed: str = self.cleaned_data["code"]
        if not is_start_code(typed):
            raise forms.ValidationError(_("This is not the start code of this server."))
        return typed


class ChangePasswordForm(PasswordChangeForm):
    """A new password for oneself."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        self.fields["old_password"].label = _("Present password")
        _say_passwords(self, "new_password1", "new_password2")


class ResetPasswordForm(NewPasswordForm):
    """A new password by a link that the manager made."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
        _say_passwords(self, "new_password1", "new_password2")


def _say_passwords(form: forms.BaseForm, first: str, second: str) -> None:
    form.fields[first].label, form.fields[first].help_text = _("Password"), PASSWORD_RULES
    form.fields[second].label, form.fields[second].help_text = _("Password again"), ""


class InvitationForm(forms.Form):
    """Who is invited, and what they will do."""

    email = forms.EmailField(label=_("E-mail"))
    roles = forms.MultipleChoiceField(
        label=_("Roles"), choices=Role.choices, widget=forms.CheckboxSelectMultiple, initial=[Role.CREW]
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class PersonForm(VersionedForm):
    """What a manager changes about a person."""

    roles = forms.MultipleChoiceField(
        label=_("Roles"), choices=Role.choices, widget=forms.CheckboxSelectMultiple, required=False
    )
    skills = forms.MultipleChoiceField(
        label=_("Can do"), choices=Skill.choices, widget=forms.CheckboxSelectMultiple, required=False
    )

    class Meta:
        model = User
        fields = ["first_name", "last_name", "email", "phone", "roles", "skills", "is_active", "is_staff"]
        labels = {
            "first_name": _("First name"),
            "last_name": _("Last name"),
            "email": _("E-mail"),
            "phone": _("Phone"),
            "is_active": _("Active: may sign in"),
            "is_staff": _("Opens the tables (/admin/), as far as the roles go"),
        }
        help_texts = {"is_active": "", "is_staff": ""}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""

    def clean_roles(self) -> list[str]:
        """Return a set of roles in a steady order."""
        return sorted(self.cleaned_data["roles"])

    def clean_skills(self) -> list[str]:
        """Return a set of skills in a steady order."""
        return sorted(set(self.cleaned_data["skills"]))


class EraseForm(forms.Form):
    """The name, typed once more, of whose data is erased."""

    name = forms.CharField(label=_("Type the name to erase it"), max_length=320)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""
