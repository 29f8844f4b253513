"""Papers without which nobody starts: a home's permit, locate ticket and holds; the company's own.

Which of them block a start is a matter of the rule set, kind by kind (``permit_blocks`` and so on), and of nothing
else: where a paper blocks, it blocks whoever asks, the manager too. Who decides that a kind is not needed makes a new
version of the rule set, which keeps who decided it and on what ground.

    kind       holds on a day when
    permit     one stands whose days it lies in; a first or last day that is not entered does not bound it
    locate     likewise, with both days entered. It counts only where a ticket was noted at all: noting one, with or
               without its number, is how the record knows that anchors are driven or footings dug at this home
    hold       none stands that is not released by then
    licence    one of the company's, or the number and last day in the company's own record
    insurance  as a licence
    jacks      every jack's newest inspection is young enough; a number is a jack or a set of them, and one that is
               out of service is archived
"""

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Q
from django.utils.formats import date_format
from django.utils.translation import gettext

from jobs import rulebook
from jobs.assessing import Block
from jobs.models import Company, Home, Paper, Siting
from jobs.rulebook import Rules

TOLD_DAYS_AHEAD = 30
COMPANY_KINDS = (Paper.Kind.LICENCE, Paper.Kind.INSURANCE, Paper.Kind.JACKS)
HOME_KINDS = (Paper.Kind.PERMIT, Paper.Kind.LOCATE, Paper.Kind.HOLD)


def rules_of(home: Home, company: Company | None) -> Rules:
    """Return the rules that hold at a home: its own rule set, else the company's, else the rule book."""
    rule_set = home.rule_set or (company.rule_set if company else None)
    return rule_set.resolved() if rule_set else rulebook.resolve({})


def company_rules(company: Company | None) -> Rules:
    """Return the rules that hold for the company where no home has its own."""
    return company.rule_set.resolved() if company and company.rule_set else rulebook.resolve({})


def the_company() -> Company | None:
    """Return the company with its rules, as the functions here take it."""
    return Company.objects.select_related("rule_set").first()


# -- what is missing -----------------------------------------------------------------------------------------------


def missing_papers(siting: Siting, on: datetime.date, rules: Rules) -> tuple[Block, ...]:
    """Return what keeps everybody from starting at a siting on a day, by the rules that hold there."""
    rows = Paper.objects.standing().filter(Q(siting=siting) | Q(siting__isnull=True)).order_by("pk")
    return missing_among([*rows, *of_company_record(Company.objects.first())], on, rules)


def missing_among(papers: Iterable[Paper], on: datetime.date, rules: Rules) -> tuple[Block, ...]:
    """Return the same from papers at hand: those of one home and of the company that are not archived."""
    of_kind: dict[str, list[Paper]] = {kind: [] for kind in Paper.Kind}
    for paper in papers:
        of_kind[paper.kind].append(paper)
    told = ((kind, _why(kind, of_kind[kind], on, rules)) for kind in Paper.Kind if rules[f"{kind}_blocks"] > 0)
    return tuple(Block(code=kind, words=words, is_absolute=True, override=None) for kind, words in told if words)


def of_company_record(company: Company | None) -> list[Paper]:
    """Return what the company's own row says of licence and insurance, as papers that are stored nowhere."""
    if company is None:
        return []
    noted = (
        (Paper.Kind.LICENCE, company.licence_number, company.licence_expires_on),
        (Paper.Kind.INSURANCE, company.insurance_number, company.insurance_expires_on),
    )
    return [Paper(kind=kind, number=number, expires_on=until) for kind, number, until in noted if number or until]


def last_day(paper: Paper, rules: Rules) -> datetime.date | None:
    """Return the last day on which a paper holds; None where nothing bounds it."""
    if paper.kind != Paper.Kind.JACKS or paper.issued_on is None:
        return paper.expires_on
    by_age = paper.issued_on + datetime.timedelta(days=int(rules["jacks_days"]))
    return min(by_age, paper.expires_on) if paper.expires_on else by_age


def holds_on(paper: Paper, on: datetime.date, rules: Rules) -> bool:
    """Tell whether a paper holds on a day; of a hold: whether it keeps everybody off."""
    if paper.kind == Paper.Kind.HOLD:
        return _is_begun(paper, on) and (paper.released_on is None or on < paper.released_on)
    last = last_day(paper, rules)
    return not _lacks_days(paper) and _is_begun(paper, on) and (last is None or on <= last)


def _is_begun(paper: Paper, on: datetime.date) -> bool:
    return paper.issued_on is None or paper.issued_on <= on


def _lacks_days(paper: Paper) -> bool:
    """Tell whether a paper lacks a day without which nobody can say that it holds."""
    needed = {Paper.Kind.JACKS.value: [paper.issued_on], Paper.Kind.LOCATE.value: [paper.issued_on, paper.expires_on]}
    return None in needed.get(paper.kind, [])


def _why(kind: Paper.Kind, papers: Sequence[Paper], on: datetime.date, rules: Rules) -> str:
    """Say why papers of one kind keep everybody from starting; nothing where they don't."""
    if kind == Paper.Kind.HOLD:
        return _told([paper for paper in papers if holds_on(paper, on, rules)], on, rules)
    if not papers:
        return "" if kind == Paper.Kind.LOCATE else gettext("{paper}: none is noted").format(paper=kind.label)
    if kind == Paper.Kind.JACKS:
        return _told([paper for paper in _newest_of_each(papers, on) if not holds_on(paper, on, rules)], on, rules)
    if any(holds_on(paper, on, rules) for paper in papers):
        return ""
    return _told(papers[-1:], on, rules)


def _newest_of_each(papers: Sequence[Paper], on: datetime.date) -> list[Paper]:
    """Return the newest inspection of each jack, by its number; a later one only where none came before the day."""
    by_day = sorted(papers, key=lambda paper: (_is_begun(paper, on), paper.issued_on or datetime.date.min))
    return list({paper.number.strip().casefold(): paper for paper in by_day}.values())


def _told(papers: Sequence[Paper], on: datetime.date, rules: Rules) -> str:
    return "; ".join(f"{paper}: {state_of(paper, on, rules).words}" for paper in papers)


# -- how a paper stands ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """How a paper stands on a day. ``is_stop``: it does not hold, or keeps everybody off; ``is_soon``: runs out."""

    words: str
    is_stop: bool = False
    is_soon: bool = False


def state_of(paper: Paper, on: datetime.date, rules: Rules) -> State:
    """Say how a paper stands on a day."""
    if paper.kind == Paper.Kind.HOLD:
        return _state_of_hold(paper, on, rules)
    if _lacks_days(paper):
        return State(words=gettext("its days are not entered, so it does not count"), is_stop=True)
    if not _is_begun(paper, on):
        return State(words=_with_day(gettext("holds from {day}"), paper.issued_on), is_stop=True)
    return _state_until(last_day(paper, rules), on)


def _state_until(last: datetime.date | None, on: datetime.date) -> State:
    if last is None:
        return State(words=gettext("holds, no last day noted"))
    if last < on:
        return State(words=_with_day(gettext("ran out on {day}"), last), is_stop=True)
    if (last - on).days <= TOLD_DAYS_AHEAD:
        return State(words=_with_day(gettext("runs out on {day}"), last), is_soon=True)
    return State(words=_with_day(gettext("holds until {day}"), last))


def _state_of_hold(paper: Paper, on: datetime.date, rules: Rules) -> State:
    if holds_on(paper, on, rules):
        return State(words=gettext("nobody starts until it is released"), is_stop=True)
    if paper.released_on is not None and paper.released_on <= on:
        return State(words=_with_day(gettext("released on {day}"), paper.released_on))
    return State(words=_with_day(gettext("holds from {day}"), paper.issued_on))


def _with_day(sentence: str, day: datetime.date | None) -> str:
    return sentence.format(day=date_format(day, "j M Y") if day else "")
