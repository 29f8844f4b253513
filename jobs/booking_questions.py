"""What is asked before a visit is booked or moved: a holiday of the company, and somebody else at the home then.

Neither is forbidden, somebody may have to go: whoever books says that it is meant.
"""

from collections.abc import Collection, Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.clock import company_zone, days, days_touched, window
from jobs.errors import DomainError
from jobs.models import TimeOff, Visit

HOLIDAY, SAME_HOME = "holiday", "same_home"
# What may be booked all the same, by the code of the question.
QUESTIONS: Mapping[str, Promise] = {
    HOLIDAY: gettext_lazy("on a holiday of the company"),
    SAME_HOME: gettext_lazy("while somebody else is at this home"),
}


class Question(DomainError):
    """Something that speaks against a visit's hours; who says that it is meant, by its code, may book it."""

    def __init__(self, code: str, sentence: str) -> None:
        super().__init__(code, sentence, fields={"starts_at": sentence}, status=409)


def ask(visit: Visit, despite: Collection[str]) -> None:
    """Ask what speaks against a visit's hours, unless it is meant: one thing at a time.

    Raises
    ------
    Question
        409 ``holiday`` or ``same_home`` at ``starts_at``, unless ``despite`` holds that code.
    """
    for code, told in ((HOLIDAY, _holidays), (SAME_HOME, _others_there)):
        if code not in despite and (sentence := told(visit)):
            raise Question(code, sentence)


def _holidays(visit: Visit) -> str:
    first, last = days_touched(visit.starts_at, visit.ends_at, company_zone())
    holidays = TimeOff.objects.holidays().filter(from_on__lte=last, to_on__gte=first).order_by("from_on", "pk")
    sentence = _("The company is off then: {why}, {days}.")
    return " ".join(sentence.format(why=one.why, days=days(one.from_on, one.to_on)) for one in holidays)


def _others_there(visit: Visit) -> str:
    others = Visit.objects.filter(siting__home=visit.siting.home_id, state__in=Visit.UNDER_WAY).exclude(pk=visit.pk)
    there = others.filter(starts_at__lt=visit.ends_at, ends_at__gt=visit.starts_at).select_related("lead")
    return " ".join(map(_told, there.order_by("starts_at", "pk")))


def _told(visit: Visit) -> str:
    return _("Somebody is at this home then: {lead}, {kind}, {window}.").format(
        lead=visit.lead or _("nobody named yet"),
        kind=visit.get_kind_display(),
        window=window(visit.starts_at, visit.ends_at, company_zone()),
    )
