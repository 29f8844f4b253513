"""What mail to customers says, on pages: the company's own words, with their blanks, and how they read filled in."""

import datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.db import IntegrityError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_safe

from jobs.blanks import BLANKS, NEEDED
from jobs.clock import company_zone, on_day
from jobs.editing import VersionedForm, saved
from jobs.errors import Stale
from jobs.mail_words import Words, defaults, of_due, of_visit, words_of
from jobs.models import Customer, Home, MailKind, MailText, Siting, Visit
from jobs.models.base import Act
from jobs.models.people import LANGUAGES
from jobs.rights import need
from jobs.views import SignedInRequest, page


class MailTextForm(VersionedForm):
    """Subject and body of one kind of message in one language."""

    class Meta:
        model = MailText
        fields = ["subject", "body"]
        labels = {"subject": gettext_lazy("Subject"), "body": gettext_lazy("Message")}
        widgets = {"body": forms.Textarea(attrs={"rows": 14})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.label_suffix = ""

    def words(self) -> Words:
        """Return the words as they were typed, or as they are where nothing was typed yet."""
        return Words(subject=self["subject"].value() or "", body=self["body"].value() or "")


@require_safe
@page
def mail_words(request: SignedInRequest) -> HttpResponse:
    """Every kind of message in every language, and whose words it has."""
    need(request.user, Act.CHANGE, MailText)
    own = {(text.kind, text.language): text for text in MailText.objects.all()}
    kinds = [
        {
            "label": label,
            "each": [
                {
                    "kind": kind,
                    "language": language,
                    "language_words": words,
                    "subject": (own.get((kind, language)) or defaults()[kind, language]).subject,
                    "is_own": (kind, language) in own,
                }
                for language, words in LANGUAGES
            ],
        }
        for kind, label in MailKind.choices
    ]
    return render(request, "jobs/mail_words.html", {"kinds": kinds})


@page
def mail_text(request: SignedInRequest, kind: str, language: str) -> HttpResponse:
    """The words of one message: changed, shown filled in, or given up for those of the service."""
    need(request.user, Act.CHANGE, MailText)
    if kind not in MailKind.values or language not in dict(LANGUAGES):
        raise Http404
    own = MailText.objects.filter(kind=kind, language=language).first()
    if "drop" in request.POST:
        return _dropped(request, own)
    brought = words_of(kind, language)
    text = own or MailText(kind=kind, language=language, subject=brought.subject, body=brought.body)
    form = MailTextForm(request.POST or None, instance=text)
    if request.method == "POST" and form.is_valid() and "preview" not in request.POST and _kept(form):
        messages.success(request, _("Kept: the next message says it so."))
        return redirect("mail-words")
    context = {
        "form": form,
        "kind": MailKind(kind),
        "language": dict(LANGUAGES)[language],
        "is_own": own is not None,
        "blanks": [
            {"name": f"{{{name}}}", "words": words, "is_needed": name in NEEDED.get(kind, ())}
            for name, words in BLANKS[kind].items()
        ],
        "example": form.words().filled(_example(kind, language)) if not form.errors else None,
    }
    return render(request, "jobs/mail_text.html", context, status=400 if form.errors else 200)


def _kept(form: MailTextForm) -> bool:
    try:
        return saved(form)
    except IntegrityError:
        form.add_error(None, _("Somebody else has written words for this meanwhile: open the page again."))
        return False


def _dropped(request: SignedInRequest, own: MailText | None) -> HttpResponse:
    """Give the company's own words up, unless somebody has changed them since the page was opened."""
    if own is not None and str(own.version) == request.POST.get("version"):
        own.as_read().delete()
        messages.success(request, _("From now on the words of the service are used."))
    elif own is not None:
        messages.error(request, Stale().message)
    return redirect("mail-words")


def _example(kind: str, language: str) -> dict[str, str]:
    """Return blanks filled with an invented visit, a week from today."""
    name, address = {"en": ("Ann Example", "12 Example Lane"), "es": ("Ana Ejemplo", "Calle Ejemplo 12")}[language]
    customer = Customer(name=name, language=language)
    siting = Siting(address=address, home=Home(code="H-0001"))
    today = timezone.localdate()
    if kind == MailKind.DUE:
        due = today + datetime.timedelta(weeks=6)
        return of_due(siting, customer, due_on=due, until_on=due + datetime.timedelta(weeks=6))
    zone = company_zone()
    start = on_day(datetime.datetime(2000, 1, 3, 8, 0, tzinfo=zone), today + datetime.timedelta(weeks=1), zone)
    visit = Visit(siting=siting, kind=Visit.Kind.INSPECTION, starts_at=start)
    visit.ends_at = start + datetime.timedelta(hours=4)
    return of_visit(visit, customer)
