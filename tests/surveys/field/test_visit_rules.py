"""What screens of a visit go by, without a page: who is under, who has read, what is due, minutes, the gate."""

import datetime
import random
import uuid
from typing import Any

from calcs import work
from calcs.closing import readings as gate
from jobs.head_counts import under_now
from jobs.models import HeadCount
from tests.surveys.field.conftest import UseModule

NOON = datetime.datetime(2026, 11, 30, 12, tzinfo=datetime.UTC)
MINUTE = datetime.timedelta(minutes=1)


def _counts(seed: int) -> list[HeadCount]:
    """Twenty counts of five people as several phones note them: out of order, some of one minute, names as typed."""
    chance = random.Random(seed)  # noqa: S311 - not a secret
    names = ("Ana Ruelas", "ana ruelas", "Bo", "Cy Dee", "CY DEE", "Lee Ardent")
    return [
        HeadCount(
            id=uuid.UUID(int=chance.getrandbits(128), version=4),
            person_name=chance.choice(names),
            is_in=chance.random() < 0.5,
            noted_at=NOON + chance.randrange(8) * MINUTE,
            sequence=place,
        )
        for place in range(20)
    ]


def _told(count: HeadCount) -> dict[str, Any]:
    noted_at = count.noted_at.isoformat()
    fields = {"person_name": count.person_name, "is_in": count.is_in, "sequence": count.sequence}
    return {"id": str(count.pk), "noted_at": noted_at, **fields}


def test_who_is_under_is_who_the_service_says(module: UseModule) -> None:
    days = [_counts(seed) for seed in range(60)]
    told = module(
        "visit_steps",
        "({ whoIsUnder }, days) => days.map((counts) => whoIsUnder(counts).map((each) => each.name))",
        [[_told(count) for count in counts] for counts in days],
    )
    expected = [{name.casefold() for name in under_now(counts)} for counts in days]
    assert [{name.casefold() for name in names} for names in told] == expected
    assert any(expected)


def test_a_number_that_was_read_is_judged_as_the_service_does(module: UseModule) -> None:
    cases = [(off / 640, sd) for off in range(-160, 161, 4) for sd in (0.02, 0.0625, 0.1)]
    told = module("working", "({ verdictOf }, cases) => cases.map(([off, sd]) => verdictOf(off, sd))", cases)
    assert told == [work._verdict(off, sd) for off, sd in cases]
    assert set(told) == {"as_wanted", "unsure", "off"}
    unknown = module("working", "({ verdictOf }) => [verdictOf(null, 0.1), verdictOf(0.1, null)]")
    assert unknown == [work._verdict(None, 0.1), work._verdict(0.1, None)]


def test_a_support_is_named_where_the_service_finds_its_name(module: UseModule) -> None:
    texts = ("A1 and A2 stay off", "a1", "A12", "BA1", "(A1)", "A1,A2", "A1-A2", "A_1", "Ä1", "xA1", "A1é", "A.1", "")
    labels = ("A1", "A.1", "Ä1")
    cases = [(label, text) for label in labels for text in texts]
    told = module(
        "closing_rules", "({ isNamed }, cases) => cases.map(([label, text]) => isNamed(label, text))", cases
    )
    assert told == [gate._is_named(label, text) for label, text in cases]


def _caution(code: str, language: str, *, read_by: tuple[str, ...] = ()) -> dict[str, Any]:
    text_sha256 = f"{code}-{language}"
    return {"code": code, "language": language, "text_sha256": text_sha256, "read_by": list(read_by)}


def test_a_caution_is_read_in_either_language_by_its_words(module: UseModule) -> None:
    """Ana read both in Spanish on this phone, Lee one of the two on another; other words count as not read."""
    english = [_caution("gas", "en", read_by=("Lee Ardent",)), _caution("wind", "en")]
    spanish = [_caution("gas", "es"), _caution("wind", "es")]
    tellings = [{"cautions_by_moment": [{"moment": "after", "cautions": each}]} for each in (english, spanish)]
    noted = [("gas", "gas-es", "ana  RUELAS"), ("wind", "wind-es", "Ana Ruelas"), ("wind", "old words", "Bo")]
    entries = [
        {"body": {"moment": "after", "code": code, "text_sha256": words, "reader_name": name}}
        for code, words, name in noted
    ]
    missing = module(
        "visit_steps",
        """({ cautionsAt, notRead }, { tellings, entries, names }) =>
             notRead(names, cautionsAt("after", tellings, entries))""",
        {"tellings": tellings, "entries": entries, "names": ["Ana Ruelas", "Lee Ardent", "Bo"]},
    )
    assert missing == ["Lee Ardent", "Bo"]


_STEPS = """({ stepsOf }, said) => stepsOf({
  visit: { id: "v", kind: said.kind ?? "releveling" }, state: said.state ?? "booked",
  isReadBy: (moment) => (said.read ?? []).includes(moment), counts: said.counts ?? [], under: said.under ?? [],
  findings: said.findings ?? [], surveys: said.surveys ?? [], progress: said.progress ?? null,
  straps: said.straps ?? [],
  isClosed: said.isClosed ?? false,
}).map(({ key, state }) => `${key} ${state}`)"""


def test_the_day_has_its_steps_in_order_and_one_is_due(module: UseModule) -> None:
    begun = module("visit_steps", _STEPS, {"read": ["loading"]})
    assert begun == [
        "load done",
        "arrive due",
        *(f"{key} later" for key in ("start", "before_entry", "count_in", "inspect", "read", "work", "straps")),
        *(f"{key} later" for key in ("as_left", "count_out", "leave")),
    ]
    looked = module("visit_steps", _STEPS, {"kind": "recheck", "state": "on_site", "read": ["start", "before_entry"]})
    assert looked == [
        *("arrive done", "start done", "before_entry done", "count_in due"),
        *("inspect later", "read later", "count_out later", "leave later"),
    ]


def test_what_was_left_out_before_the_work_is_not_due_once_it_has_begun(module: UseModule) -> None:
    """The cautions stay due; a home that was read at another visit need not be read again."""
    said = {
        "state": "on_site",
        "read": ["loading", "start", "before_entry"],
        "counts": [{"is_in": True}],
        "progress": {"isDone": False, "isOff": False, "isBegun": False},
    }
    assert "inspect due" in module("visit_steps", _STEPS, said)
    said["progress"] = {"isDone": False, "isOff": False, "isBegun": True}
    assert "work due" in module("visit_steps", _STEPS, said)
    said["read"] = ["loading", "start"]
    assert "before_entry due" in module("visit_steps", _STEPS, said)


def test_straps_are_not_done_before_the_work_is(module: UseModule) -> None:
    said = {
        "state": "on_site",
        "read": ["loading", "start", "before_entry"],
        "counts": [{"is_in": True}],
        "findings": [{"visit": "v"}],
        "surveys": [{"visit": "v", "stage": "check", "state": "submitted"}],
        "straps": [{"due": ""}],
        "progress": {"isDone": False, "isOff": False},
    }
    due = [step for step in module("visit_steps", _STEPS, said) if step.endswith("due")]
    assert due == ["work due"]
    said["progress"] = {"isDone": True, "isOff": False}
    assert "as_left due" in module("visit_steps", _STEPS, said)
    said["straps"] = [{"due": "tighten"}]
    assert "straps due" in module("visit_steps", _STEPS, said)


_DUE = """({ strapsOf }, { handling, check, isDone, lastStep_ms }) =>
  strapsOf({ straps: [{ strap: "s", handling }] }, check ? [{ strap: "s", ...check }] : [], { isDone, lastStep_ms })
    .map((strap) => strap.due)"""


def test_a_strap_is_loosened_before_and_tight_after(module: UseModule) -> None:
    early, late = NOON.isoformat(), (NOON + 9 * MINUTE).isoformat()
    last_ms = (NOON + 5 * MINUTE).timestamp() * 1000
    slack, tight = {"slack_in": "0.3750", "grade": "note"}, {"slack_in": "0.0000", "grade": "ok"}

    def due(handling: str, check: dict[str, Any] | None, *, is_done: bool) -> list[str]:
        said = {"handling": handling, "check": check, "isDone": is_done, "lastStep_ms": last_ms if is_done else None}
        return list(module("working", _DUE, said))

    assert due("loosen_first", None, is_done=False) == ["loosen"]
    assert due("loosen_first", {**slack, "noted_at": early}, is_done=False) == [""]
    assert due("loosen_first", {**tight, "noted_at": early}, is_done=False) == ["loosen"]  # tied for the night
    assert due("retension", None, is_done=False) == [""]
    assert due("retension", None, is_done=True) == ["tighten"]
    assert due("loosen_first", {**tight, "noted_at": early}, is_done=True) == ["tighten"]  # not since the last step
    assert due("loosen_first", {**slack, "noted_at": late}, is_done=True) == ["recheck"]
    assert due("loosen_first", {**tight, "noted_at": late, "grade": "fix"}, is_done=True) == ["recheck"]
    assert due("loosen_first", {**tight, "noted_at": late}, is_done=True) == [""]
    assert due("leave", None, is_done=True) == []


_BODY = """({ timeBody, isDoubtful }, { started_at, now, minutes }) => ({
  body: timeBody({ visit: "v", person: "p", started_at }, { minutes, now: new Date(now) }),
  isDoubtful: isDoubtful({ started_at }, new Date(now)),
})"""


def test_minutes_go_by_the_clock_unless_that_cannot_be(module: UseModule) -> None:
    def stopped(after: datetime.timedelta, minutes: int | None = None) -> tuple[float, bool]:
        told = module(
            "minutes", _BODY, {"started_at": NOON.isoformat(), "now": (NOON + after).isoformat(), "minutes": minutes}
        )
        ends = [datetime.datetime.fromisoformat(told["body"][name]) for name in ("started_at", "ended_at")]
        return (ends[1] - ends[0]).total_seconds(), told["isDoubtful"]

    assert stopped(90 * MINUTE) == (5400.0, False)
    assert stopped(datetime.timedelta()) == (0.001, False)  # what is kept ends after it started
    assert stopped(13 * 60 * MINUTE, minutes=45) == (2700.0, True)  # forgotten over night
    assert stopped(-30 * MINUTE, minutes=45) == (2700.0, True)  # the clock was set back
