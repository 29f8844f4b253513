"""Forms of jobs: what somebody asks for, taking it with a home and a customer, not taking it, saying it is done."""

from collections.abc import Collection
from typing import Any, cast

from django import forms
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from jobs.assessment_forms import Group, RecordForm
from jobs.enquiry import QUESTIONS, TEXT_AT_MOST
from jobs.job_matching import customer_of, home_of
from jobs.job_services import REASON_AT_MOST, WARRANTY_AT_MOST_MONTHS
from jobs.models import Customer, Home, HomeContact, HomeKind, Job, Siting, Symptom
from jobs.models.people import LANGUAGES

NEW = "new"
NOT_ASKED = ("", _("not asked"))
ASKED = "ask_"  # before the code of a question, the name of its field


class JobForm(RecordForm):
    """What somebody asks for: who, where, what was noticed, and the questions of the list."""

    symptoms = forms.MultipleChoiceField(
        label=_("Symptoms"), choices=Symptom.choices, required=False, widget=forms.CheckboxSelectMultiple
    )

    class Meta:
        model = Job
        fields = [
            *("asked_on", "came", "home", "customer", "call_back_of"),
            *("caller_name", "caller_phone", "caller_email", "address"),
            *("symptoms", "rooms", "began", "note"),
        ]
        labels = {
            "asked_on": _("Day"),
            "came": _("How they asked"),
            "customer": _("For whom"),
            "call_back_of": _("Call-back of"),
            "caller_name": _("Who asks"),
            "caller_phone": _("Phone"),
            "caller_email": _("E-mail"),
            "address": _("Where the home stands"),
            "rooms": _("In which rooms"),
            "began": _("When it began, after what"),
            "note": _("Note"),
        }
        help_texts = dict.fromkeys(fields, "")
        widgets = {"home": forms.HiddenInput}

    GROUPS = (
        (_("Who asks"), ("asked_on", "came", "customer", "caller_name", "caller_phone", "caller_email", "address")),
        (_("What was noticed"), ("symptoms", "rooms", "began", "call_back_of", "note")),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        home = self.instance.home
        cast("forms.ModelChoiceField[Home]", self.fields["home"]).queryset = Home.objects.standing()
        self._offer("customer", Customer.objects.filter(homes__home=home) if home else Customer.objects.none())
        done = Job.objects.filter(home=home, state=Job.State.DONE) if home else Job.objects.none()
        self._offer("call_back_of", done.exclude(pk=self.instance.pk))
        for code, question in QUESTIONS.items():
            self.fields[ASKED + code] = _field_of(code, self.instance.answers.get(code, ""))
            self.fields[ASKED + code].label, self.fields[ASKED + code].help_text = question.asked, question.reason
        if self.instance._state.adding:
            self.fields["id"] = forms.UUIDField(widget=forms.HiddenInput)  # pressed twice, it is kept once

    def _offer(self, name: str, rows: Any) -> None:
        """Offer rows in a field, which is left out where there are none; what is set already stays."""
        kept = rows | type(self.instance)._meta.get_field(name).related_model._default_manager.filter(
            pk=getattr(self.instance, f"{name}_id")
        )
        field = cast("forms.ModelChoiceField[Any]", self.fields[name])
        field.queryset, field.empty_label = kept.distinct(), "\N{EN DASH}"
        if not field.queryset:
            del self.fields[name]

    def groups(self) -> list[Group]:
        """Return the fields as the page lays them out."""
        questions = (_("Questions"), tuple(ASKED + code for code in QUESTIONS))
        return [
            Group(title=title, fields=[self[name] for name in names if name in self.fields], ticks=[])
            for title, names in (*self.GROUPS, questions)
        ]

    def _post_clean(self) -> None:
        typed = {code: self.cleaned_data.get(ASKED + code, "").strip() for code in QUESTIONS}
        self.instance.answers = {code: answer for code, answer in typed.items() if answer}
        super()._post_clean()
        if not self.errors:
            for name, sentence in self.instance.problems().items():
                self.add_error(name if name in self.fields else None, sentence)


def _field_of(code: str, answer: str) -> forms.Field:
    offered = QUESTIONS[code].offered
    if not offered:
        return forms.CharField(max_length=TEXT_AT_MOST, required=False, initial=answer)
    return forms.ChoiceField(choices=[NOT_ASKED, *offered.items()], required=False, initial=answer)


class _Plain(forms.Form):
    """A form about a job as it was read."""

    version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""


class DeclineForm(_Plain):
    """Why a job is not taken."""

    reason = forms.CharField(
        label=_("Why it is not taken"), max_length=REASON_AT_MOST, widget=forms.Textarea({"rows": 2})
    )


class FinishForm(_Plain):
    """On which day a job was done, and for how long there is a warranty."""

    done_on = forms.DateField(
        label=_("Done on"),
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        initial=timezone.localdate,
    )
    warranty_months = forms.IntegerField(
        label=_("Months of warranty"),
        min_value=0,
        max_value=WARRANTY_AT_MOST_MONTHS,
        required=False,
        help_text=_("from that day; empty: none"),
    )


class PlaceForm(_Plain):
    """Which home on record an enquiry is about."""

    home = forms.ModelChoiceField(Home.objects.standing(), widget=forms.HiddenInput)


class CallBackForm(_Plain):
    """Which earlier job's work an enquiry complains of."""

    job = forms.ModelChoiceField(Job.objects.filter(state=Job.State.DONE), widget=forms.HiddenInput)


class TakeForm(_Plain):
    """What a job is about and for whom: a home and a customer on record, or new ones."""

    home = forms.ChoiceField(label=_("Home"), widget=forms.RadioSelect)
    code = forms.CharField(label=_("Number of the home"), max_length=20, required=False)
    name = forms.CharField(label=_("Name of the home"), max_length=120, required=False)
    kind = forms.ChoiceField(label=_("Kind"), choices=HomeKind.choices, required=False)
    sections = forms.IntegerField(label=_("Sections"), min_value=1, max_value=4, required=False)
    width_ft = forms.DecimalField(
        label=_("Width, ft"), min_value=1, max_value=200, max_digits=6, decimal_places=3, required=False
    )
    length_ft = forms.DecimalField(
        label=_("Length, ft"), min_value=1, max_value=200, max_digits=6, decimal_places=3, required=False
    )
    address = forms.CharField(label=_("Where the home stands"), max_length=200, required=False)
    from_on = forms.DateField(
        label=_("Stands there since"),
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        required=False,
        help_text=_("the first of January where only the year is known"),
    )
    customer = forms.ChoiceField(label=_("Customer"), widget=forms.RadioSelect)
    customer_name = forms.CharField(label=_("Name"), max_length=120, required=False)
    customer_phone = forms.CharField(label=_("Phone"), max_length=40, required=False)
    customer_email = forms.EmailField(label=_("E-mail"), required=False)
    customer_language = forms.ChoiceField(label=_("Language of mail"), choices=LANGUAGES, required=False)
    part = forms.ChoiceField(label=_("What they are to the home"), choices=HomeContact.Part.choices)

    OF_HOME = ("code", "name", "kind", "sections", "width_ft", "length_ft", "address", "from_on")
    OF_CUSTOMER = ("customer_name", "customer_phone", "customer_email", "customer_language")
    NEEDED = {
        "home": ("code", "kind", "sections", "width_ft", "length_ft", "address", "from_on"),
        "customer": ("customer_name",),
    }
    DESCRIBED = {"home": OF_HOME, "customer": OF_CUSTOMER}
    ONE_OR_THE_OTHER = {
        "home": _("A new home is described below, and one on record is chosen: choose one or empty the other."),
        "customer": _(
            "A new customer is described below, and one on record is chosen: choose one or empty the other."
        ),
    }

    def __init__(
        self, *args: Any, job: Job, homes: Collection[Home], customers: Collection[Customer], **kwargs: Any
    ) -> None:
        self.homes = {str(home.pk): home for home in homes}
        self.customers = {str(customer.pk): customer for customer in customers}
        suggested = {
            "version": job.version,
            "home": _suggested(home_of(job, homes), homes),
            "kind": HomeKind.values[0],
            "code": f"H-{job.number}",
            "sections": 1,
            "address": job.address,
            "customer": _suggested(customer_of(job), customers),
            "customer_name": job.caller_name,
            "customer_phone": job.caller_phone,
            "customer_email": job.caller_email,
            "customer_language": LANGUAGES[0][0],
        }
        super().__init__(*args, initial=suggested, **kwargs)
        new_home = [] if job.home else [(NEW, _("a new home"))]
        self._offer("home", [*((key, _home_words(home)) for key, home in self.homes.items()), *new_home])
        named = ((key, _customer_words(one)) for key, one in self.customers.items())
        self._offer("customer", [*named, (NEW, _("a new customer"))])

    def _offer(self, name: str, choices: list[tuple[str, Any]]) -> None:
        cast(forms.ChoiceField, self.fields[name]).choices = choices

    def of_home(self) -> list[forms.BoundField]:
        """Return the fields of a new home."""
        return [self[name] for name in self.OF_HOME]

    def of_customer(self) -> list[forms.BoundField]:
        """Return the fields of a new customer."""
        return [self[name] for name in self.OF_CUSTOMER]

    def clean(self) -> dict[str, Any]:
        """What is new is described, and nothing of a new one is typed beside one on record."""
        typed = super().clean() or {}
        for choice, names in self.DESCRIBED.items():
            if typed.get(choice) not in (None, NEW) and any(map(self._is_typed, names)):
                self.add_error(choice, self.ONE_OR_THE_OTHER[choice])
        for choice, needed in self.NEEDED.items():
            for name in needed if typed.get(choice) == NEW else ():
                if not typed.get(name) and name not in self.errors:
                    self.add_error(name, _("This is needed for a new one."))
        return typed

    def _is_typed(self, name: str) -> bool:
        """Whether something other than what the form suggests stands in a field."""
        return name in self.changed_data and bool(self.data.get(name, "").strip())

    def what(self) -> dict[str, Any]:
        """Return what was chosen as the service takes it: what is new as rows that are not stored yet."""
        typed = self.cleaned_data
        chosen: dict[str, Any] = {"part": typed["part"], "home": self.homes.get(typed["home"])}
        if chosen["home"] is None:
            chosen["siting"] = Siting(address=typed["address"], from_on=typed["from_on"])
            chosen["home"] = Home(
                **{name: typed[name] for name in self.OF_HOME if name not in ("address", "from_on")}
            )
        chosen["customer"] = self.customers.get(typed["customer"]) or Customer(
            name=typed["customer_name"],
            phone=typed["customer_phone"],
            email=typed["customer_email"],
            language=typed["customer_language"] or "en",
        )
        return chosen


def _suggested(row: Home | Customer | None, offered: Collection[Home | Customer]) -> str | None:
    """Return the choice that a form opens with: what is beyond doubt; a new one where nothing is on record."""
    if row is not None and row in offered:
        return str(row.pk)
    return None if offered else NEW


def _home_words(home: Home) -> str:
    return ", ".join([str(home), *(siting.address for siting in home.sitings.all() if siting.to_on is None)])


def _customer_words(customer: Customer) -> str:
    return ", ".join(filter(None, [customer.name, customer.phone, customer.email]))
