"""Papers without which nobody starts: each kind by its rule, day by day; and what pages say of them."""

import datetime
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from jobs import rulebook
from jobs.models import Company, Paper, RuleSet, Siting
from jobs.papers import holds_on, last_day, missing_papers, rules_of, state_of
from tests.factories import NOON, CompanyFactory, HomeFactory, PaperFactory, RuleSetFactory, SitingFactory

pytestmark = pytest.mark.django_db
DAY = datetime.date(2026, 3, 3)
KINDS = ("permit", "locate", "hold", "licence", "insurance", "jacks")
OFF = {f"{kind}_blocks": 0.0 for kind in KINDS}


def day(n: int) -> datetime.date:
    """A day some days after the day in question."""
    return DAY + datetime.timedelta(days=n)


def only(kind: str, **more: float) -> rulebook.Rules:
    """The rules with one kind of paper that blocks."""
    return rulebook.resolve(OFF | {f"{kind}_blocks": 1.0} | more)


@pytest.fixture
def siting() -> Siting:
    place: Siting = SitingFactory()
    return place


def blocked(siting: Siting, kind: str, **more: float) -> bool:
    found = missing_papers(siting, DAY, only(kind, **more))
    assert all((block.code, block.is_absolute, block.override) == (kind, True, None) for block in found)
    return bool(found)


def note(siting: Siting, kind: str, **fields: Any) -> Paper:
    paper: Paper = PaperFactory(kind=kind, siting=siting if kind in ("permit", "locate", "hold") else None, **fields)
    return paper


# Kind, the days of each paper (issued, last day), and whether it keeps everybody from starting on the day.
YEAR = 365
TABLE: list[tuple[str, list[dict[str, int]], bool]] = [
    ("permit", [], True),
    ("permit", [{}], False),
    ("permit", [{"issued_on": 0, "expires_on": 0}], False),
    ("permit", [{"expires_on": -1}], True),
    ("permit", [{"issued_on": 1}], True),
    ("permit", [{"expires_on": -1}, {"expires_on": 9}], False),
    ("locate", [], False),  # nobody said that anything is dug
    ("locate", [{}], True),  # noted, not called in yet
    ("locate", [{"issued_on": -3}], True),
    ("locate", [{"expires_on": 9}], True),
    ("locate", [{"issued_on": -3, "expires_on": 0}], False),
    ("locate", [{"issued_on": -14, "expires_on": -1}], True),
    ("locate", [{"issued_on": 1, "expires_on": 14}], True),
    ("hold", [], False),
    ("hold", [{}], True),
    ("hold", [{"issued_on": -3}], True),
    ("hold", [{"issued_on": 1}], False),
    ("hold", [{"issued_on": -3, "released_on": 0}], False),
    ("hold", [{"issued_on": -3, "released_on": 1}], True),
    ("hold", [{"issued_on": -9, "released_on": -8}, {"issued_on": -3}], True),
    ("licence", [], True),
    ("licence", [{"expires_on": 0}], False),
    ("licence", [{"expires_on": -1}], True),
    ("insurance", [], True),
    ("insurance", [{"issued_on": -YEAR, "expires_on": 30}], False),
    ("insurance", [{"issued_on": -YEAR, "expires_on": -2}], True),
    ("jacks", [], True),
    ("jacks", [{}], True),  # inspected nobody knows when
    ("jacks", [{"issued_on": -183}], False),
    ("jacks", [{"issued_on": -184}], True),
    ("jacks", [{"issued_on": 1}], True),
    ("jacks", [{"issued_on": -10, "expires_on": -1}], True),
]


@pytest.mark.parametrize(("kind", "papers", "is_blocked"), TABLE, ids=lambda value: str(value)[:50])
def test_each_kind_by_its_days(siting: Siting, kind: str, papers: list[dict[str, int]], is_blocked: bool) -> None:
    for days in papers:
        note(siting, kind, **{name: day(n) for name, n in days.items()})
    assert blocked(siting, kind) is is_blocked
    assert missing_papers(siting, DAY, rulebook.resolve(OFF)) == ()


def test_what_is_archived_counts_no_more(siting: Siting) -> None:
    note(siting, "permit", archived_at=NOON)
    note(siting, "hold", archived_at=NOON)
    assert blocked(siting, "permit")
    assert not blocked(siting, "hold")


def test_another_homes_papers_count_for_that_home(siting: Siting) -> None:
    other = SitingFactory()
    note(other, "permit")
    note(other, "hold")
    assert blocked(siting, "permit")
    assert not blocked(siting, "hold")


def test_every_jack_needs_its_own_inspection(siting: Siting) -> None:
    note(siting, "jacks", number="1", issued_on=day(-200))
    second = note(siting, "jacks", number="2", issued_on=day(-190))
    note(siting, "jacks", number="1 ", issued_on=day(-5))
    (block,) = missing_papers(siting, DAY, only("jacks"))
    assert block.words == "inspection of the jacks 2: ran out on 24 Feb 2026"  # 183 days after 25 August 2025
    Paper.objects.filter(pk=second.pk).archive()  # out of service
    assert not blocked(siting, "jacks")


def test_an_inspection_still_to_come_hides_none_that_holds(siting: Siting) -> None:
    note(siting, "jacks", number="1", issued_on=day(-5))
    note(siting, "jacks", number="1", issued_on=day(5))
    assert not blocked(siting, "jacks")


def test_six_months_is_the_rule_and_a_company_may_be_stricter(siting: Siting) -> None:
    """29 CFR 1926.305(d)(1)(iv)(A): at least every six months."""
    note(siting, "jacks", issued_on=day(-100))
    assert rulebook.RULES["jacks_days"].value == 183
    assert "1926.305(d)" in rulebook.RULES["jacks_days"].source
    assert not blocked(siting, "jacks")
    assert blocked(siting, "jacks", jacks_days=90)


def test_the_companys_own_record_counts_as_a_paper(siting: Siting) -> None:
    CompanyFactory(licence_number="L-1", licence_expires_on=day(10), insurance_expires_on=day(-1))
    assert not blocked(siting, "licence")
    (block,) = missing_papers(siting, DAY, only("insurance"))
    assert block.words == "insurance: ran out on 2 Mar 2026"
    note(siting, "insurance", expires_on=day(10))
    assert not blocked(siting, "insurance")
    Company.objects.update(licence_number="", licence_expires_on=None)
    assert blocked(siting, "licence")


def test_what_blocks_is_told_in_words(siting: Siting) -> None:
    note(siting, "hold", number="7")
    note(siting, "locate", number="88")
    rules = rulebook.resolve({f"{kind}_blocks": 1.0 for kind in KINDS})
    assert [(block.code, block.words) for block in missing_papers(siting, DAY, rules)] == [
        ("permit", "permit: none is noted"),
        ("locate", "locate ticket for buried lines 88: its days are not entered, so it does not count"),
        ("hold", "inspector's hold 7: nobody starts until it is released"),
        ("licence", "licence: none is noted"),
        ("insurance", "insurance: none is noted"),
        ("jacks", "inspection of the jacks: none is noted"),
    ]


def test_by_default_all_but_the_permit_block() -> None:
    rules = rulebook.resolve({})
    assert {kind: rules[f"{kind}_blocks"] for kind in KINDS} == dict.fromkeys(KINDS, 1.0) | {"permit": 0.0}


def test_a_homes_own_rules_go_before_the_companys() -> None:
    company = CompanyFactory(rule_set=RuleSetFactory(values={"permit_blocks": 1, "jacks_days": 90}))
    own: RuleSet = RuleSetFactory(values={"hold_blocks": 0})
    assert rules_of(HomeFactory(), company)["permit_blocks"] == 1
    assert rules_of(HomeFactory(rule_set=own), company) == own.resolved()
    assert rules_of(HomeFactory(), None) == rulebook.resolve({})


def test_papers_take_as_many_queries_for_many(siting: Siting) -> None:
    counts = []
    for more in (1, 3):
        for _ in range(more):
            note(siting, "permit")
            note(siting, "jacks", issued_on=DAY)
        with CaptureQueriesContext(connection) as queries:
            missing_papers(siting, DAY, rulebook.resolve({}))
        counts.append(len(queries))
    assert counts == [2, 2]  # papers, the company's record


STATES: list[tuple[str, dict[str, int], str, bool, bool]] = [
    ("permit", {}, "holds, no last day noted", False, False),
    ("permit", {"expires_on": 31}, "holds until 3 Apr 2026", False, False),
    ("permit", {"expires_on": 30}, "runs out on 2 Apr 2026", False, True),
    ("permit", {"expires_on": 0}, "runs out on 3 Mar 2026", False, True),
    ("permit", {"expires_on": -1}, "ran out on 2 Mar 2026", True, False),
    ("permit", {"issued_on": 1}, "holds from 4 Mar 2026", True, False),
    ("jacks", {"issued_on": -160}, "runs out on 26 Mar 2026", False, True),
    ("locate", {}, "its days are not entered, so it does not count", True, False),
    ("hold", {}, "nobody starts until it is released", True, False),
    ("hold", {"issued_on": 2}, "holds from 5 Mar 2026", False, False),
    ("hold", {"released_on": 0}, "released on 3 Mar 2026", False, False),
]


@pytest.mark.parametrize(("kind", "days", "words", "is_stop", "is_soon"), STATES)
def test_how_a_paper_stands_is_told(
    kind: str, days: dict[str, int], words: str, is_stop: bool, is_soon: bool
) -> None:
    paper = Paper(kind=kind, **{name: day(n) for name, n in days.items()})
    state = state_of(paper, DAY, rulebook.resolve({}))
    assert (state.words, state.is_stop, state.is_soon) == (words, is_stop, is_soon)
    assert holds_on(paper, DAY, rulebook.resolve({})) is (state.is_stop if kind == "hold" else not state.is_stop)


def test_an_inspection_may_hold_shorter_than_the_rule_has_it() -> None:
    rules = rulebook.resolve({})
    assert last_day(Paper(kind="jacks", issued_on=DAY), rules) == day(183)
    assert last_day(Paper(kind="jacks", issued_on=DAY, expires_on=day(30)), rules) == day(30)
    assert last_day(Paper(kind="jacks", issued_on=DAY, expires_on=day(300)), rules) == day(183)


@pytest.mark.parametrize(
    ("fields", "name"),
    [
        ({"kind": "permit", "siting": None}, "paper_lies_under_its_home_or_the_company"),
        ({"kind": "licence"}, "paper_lies_under_its_home_or_the_company"),
        ({"issued_on": DAY, "expires_on": day(-1)}, "paper_expires_after_issue"),
        ({"released_on": DAY}, "paper_only_holds_are_released"),
    ],
)
def test_the_database_holds_what_a_paper_is(fields: dict[str, Any], name: str) -> None:
    with pytest.raises(IntegrityError, match=name), transaction.atomic():
        PaperFactory(**fields)
