"""What a message to a customer says: the company's own words or those that the service brings, blanks filled."""

import datetime
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from django.utils import timezone, translation
from django.utils.formats import date_format

from jobs.blanks import MOST_SUBJECT, fill, one_line
from jobs.clock import company_zone, days_touched
from jobs.models import Company, Customer, MailText, Siting, Visit

# With the day of the week, by which people know when to be at home.
_DAY = {"en": "l, F j, Y", "es": r"l j \d\e F \d\e Y"}
_ON_DAY = {"en": "{time} on {day}", "es": "{time} del {day}"}
_DATE = {"en": "F j, Y", "es": r"j \d\e F \d\e Y"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Subject and body of a message."""

    subject: str
    body: str

    def filled(self, values: Mapping[str, str]) -> "Words":
        """Return them with their blanks filled: names on one line each, the letterhead as it is written."""
        flat = {name: value if name == "letterhead" else one_line(value) for name, value in values.items()}
        return Words(subject=one_line(fill(self.subject, flat), MOST_SUBJECT), body=fill(self.body, flat).strip())


@cache
def defaults() -> Mapping[tuple[str, str], Words]:
    """Return the words that the service brings, by kind and language."""
    told = tomllib.loads((Path(__file__).parent / "mail_words.toml").read_text(encoding="utf-8"))
    return {
        (kind, language): Words(subject=words["subject"], body=words["body"].strip())
        for kind, each in told.items()
        for language, words in each.items()
    }


def words_of(kind: str, language: str) -> Words:
    """Return the words for a kind of message in a language: the company's own where it has some."""
    own = MailText.objects.filter(kind=kind, language=language).first()
    return Words(subject=own.subject, body=own.body) if own else defaults()[kind, language]


def of_visit(visit: Visit, customer: Customer) -> dict[str, str]:
    """Return what fills the blanks of a message about a visit, in the customer's language, by the company's clock."""
    zone, language = company_zone(), customer.language
    start, end = (timezone.localtime(at, zone) for at in (visit.starts_at, visit.ends_at))
    with translation.override(language):
        return {
            **_always(visit.siting, customer),
            "visit": visit.get_kind_display(),
            "day": date_format(start, _DAY[language]),
            "from": date_format(start, "TIME_FORMAT"),
            "until": _until(visit, end, language),
        }


def _until(visit: Visit, end: datetime.datetime, language: str) -> str:
    """Say when a visit ends, with its last day where that is not the one on which it begins."""
    first, last = days_touched(visit.starts_at, visit.ends_at, company_zone())
    time = date_format(end, "TIME_FORMAT")
    return time if first == last else _ON_DAY[language].format(time=time, day=date_format(last, _DAY[language]))


def of_due(siting: Siting, customer: Customer, *, due_on: datetime.date, until_on: datetime.date) -> dict[str, str]:
    """Return what stands in the blanks of a message that a home is due, in the customer's language."""
    with translation.override(customer.language):
        return {
            **_always(siting, customer),
            "due_from": date_format(due_on, _DATE[customer.language]),
            "due_until": date_format(until_on, _DATE[customer.language]),
        }


def _always(siting: Siting, customer: Customer) -> dict[str, str]:
    company = Company.objects.first() or Company()
    return {
        "customer": customer.name,
        "address": siting.address,
        "home": siting.home.code,
        "company": company.name,
        "letterhead": company.letterhead.strip() or company.name,
    }
