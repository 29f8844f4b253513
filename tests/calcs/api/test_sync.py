"""Entries from phones: each is answered by itself, kept once, and set aside with the reason when it is refused."""

import datetime
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from calcs.models import Calculation, PassEntry, Plan
from jobs.models import CautionRead, Finding, Hazard, Siting, StrapCheck, User, Visit, WorkTime
from surveys.models import Reading, Setup, Survey, SyncEntry
from tests.calcs.api.syncing import Phone, outdoors
from tests.factories import NOON, SetupFactory, SurveyFactory, UserFactory, lay_out_home

pytestmark = pytest.mark.django_db


@pytest.fixture
def siting(crew: User) -> Siting:
    siting = lay_out_home()
    outdoors(crew, siting)
    return siting


@pytest.fixture
def points(siting: Siting) -> dict[str, Any]:
    return {point.label: point for point in siting.points.all()}


@pytest.fixture
def phone(api_for: Any, crew: User) -> Phone:
    return Phone(api_for(crew))


@pytest.fixture
def setup(siting: Siting, crew: User) -> Setup:
    return SetupFactory(survey=SurveyFactory(siting=siting, author=crew), code="S1")


def kept() -> list[tuple[str, str]]:
    """Every content of every entry with its state, in the order they came in."""
    return [(row.kind, row.state) for row in SyncEntry.objects.order_by("received_at", "sequence", "id")]


# -- a day without signal ------------------------------------------------------------------------------------


def test_a_whole_day_made_without_signal_is_taken(
    phone: Phone, siting: Siting, points: dict[str, Any], crew: User, django_capture_on_commit_callbacks: Any
) -> None:
    visit = Visit.objects.get()
    survey = phone.survey(siting, visit=str(visit.pk))
    setup = phone.setup(survey)
    first = phone.reading(setup, points["A1"], "14 3/16", round=1)
    second = phone.reading(setup, points["A2"], '14-1/8"', shot="point")
    correction = phone.correction(second, "14 1/4")
    strap = siting.straps.get(code="T1")
    finding = phone.entry(
        "finding",
        {"siting": str(siting.pk), "point": str(points["A1"].pk), "grade": "fix", "text": "the cap is cracked"},
    )
    check = phone.entry("strap", {"strap": str(strap.pk), "grade": "note", "slack_in": "0.5"})
    hours = {"visit": str(visit.pk), "started_at": NOON.isoformat(), "ended_at": "2026-03-03T15:30:00Z"}
    time = phone.entry("time", hours)
    submit = phone.entry("submit", {"survey": survey["id"]})
    day = [survey, setup, first, second, finding, correction, check, time, submit]
    with django_capture_on_commit_callbacks(execute=True):
        assert phone.states(*day) == ["taken"] * 9

    row = Survey.objects.get(pk=survey["id"])
    assert (row.author, row.visit, row.state, row.revision) == (crew, visit, "submitted", 1)
    assert row.started_at == NOON + datetime.timedelta(minutes=1)
    assert Setup.objects.get(pk=setup["id"]).survey == row
    typed = Reading.objects.standing().order_by("sequence").values_list("typed", "sequence", "device", "author")
    assert list(typed) == [("14 3/16", 3, "truck 2 phone", crew.pk), ("14 1/4", 5, "truck 2 phone", crew.pk)]
    assert Finding.objects.get(pk=finding["id"]).text == "the cap is cracked"
    assert StrapCheck.objects.get(pk=check["id"]).author == crew
    strap.refresh_from_db()
    assert strap.slack_in == Decimal("0.5")
    assert WorkTime.objects.get(pk=time["id"]).person == crew
    assert Calculation.objects.filter(survey=row, kind="levels").exists()  # handing in asked for it

    assert phone.states(*day) == ["repeated"] * 9
    assert SyncEntry.objects.count() == 9
    assert Reading.objects.count() == 3


def test_hazards_and_cautions_that_were_read_come_from_phones_too(
    phone: Phone, siting: Siting, crew: User, api_for: Any
) -> None:
    visit = Visit.objects.get()
    (told,) = api_for(crew).get("/api/v1/day/?date=2026-03-03").json()["visits"]
    (slackening,) = [at for at in told["cautions_by_moment"] if at["moment"] == "slackening"]
    (wind,) = [one for one in slackening["cautions"] if one["code"] == "wind"]
    body = {"visit": str(visit.pk), "moment": "slackening", "reader_name": " Tomás  Rivas"}
    body |= {name: wind[name] for name in ("code", "language", "text_sha256")}
    read, again = phone.entry("caution", body), phone.entry("caution", {**body, "reader_name": "Tomás Rivas"})
    hazard = phone.entry("hazard", {"home": str(siting.home_id), "kind": "gas_smell", "text": "at the meter"})
    wrong = [
        phone.entry("caution", body | {"moment": "loading"}),
        phone.entry("caution", body | {"code": "luck"}),
        phone.entry("caution", body | {"text_sha256": "XY"}),
        phone.entry("caution", body | {"reader_name": " "}),
        phone.entry("hazard", {"home": str(siting.home_id), "kind": "other"}),
        phone.entry("hazard", {"home": str(siting.home_id), "kind": "dog", "cleared_why": "gone"}),
    ]
    told = phone.send(read, again, hazard, *wrong)
    assert [one["state"] for one in told] == ["taken"] * 3 + ["set_aside"] * 6
    fields = ["body.moment", "body.code", "body.text_sha256", "body.reader_name", "body.text", "body.cleared_why"]
    assert [list(one["fields"]) for one in told[3:]] == [[field] for field in fields]
    row = CautionRead.objects.get()
    assert (str(row.pk), row.reader_name, row.author, row.language) == (read["id"], "Tomás Rivas", crew, "en")
    assert Hazard.objects.get(pk=hazard["id"]).text == "at the meter"
    day = api_for(crew).get("/api/v1/day/?date=2026-03-03").json()
    (slackening,) = [at for at in day["visits"][0]["cautions_by_moment"] if at["moment"] == "slackening"]
    assert {one["code"]: one["read_by"] for one in slackening["cautions"]} == {
        "strap_recoil": [],
        "wind": ["Tomás Rivas"],
    }
    assert [(one["kind"], one["text"]) for one in day["places"][0]["hazards"]] == [("gas_smell", "at the meter")]


# -- one by one ----------------------------------------------------------------------------------------------


def test_a_bad_entry_stops_none_behind_it(phone: Phone, setup: Setup, points: dict[str, Any], siting: Siting) -> None:
    good = [phone.reading(setup, points[label]) for label in ("A1", "A2", "A3")]
    bad = phone.reading(setup, points["B1"], "3 5/7")
    worse = phone.entry("finding", {"siting": str(siting.pk), "grade": "awful"})
    stranger = phone.entry("reading", {"setup": str(setup.pk), "point": str(uuid.uuid4()), "value": 1})
    told = phone.send(good[0], bad, good[1], worse, stranger, good[2])
    assert [one["state"] for one in told] == ["taken", "set_aside", "taken", "set_aside", "set_aside", "taken"]
    assert "2, 4, 8, 16, 32 or 64" in told[1]["fields"]["body.value"]
    assert list(told[3]["fields"]) == ["body.grade"]
    assert told[4]["fields"] == {"body.point": "There is no such point."}
    assert {one["code"] for one in told} == {"", "invalid"}
    assert Reading.objects.count() == 3
    aside = SyncEntry.objects.filter(state="set_aside").order_by("sequence")
    assert [row.reason["fields"] for row in aside] == [told[place]["fields"] for place in (1, 3, 4)]
    assert [str(row.entry) for row in aside] == [bad["id"], worse["id"], stranger["id"]]


def test_what_rests_on_a_bad_entry_waits_and_is_taken_when_sent_again(
    phone: Phone, siting: Siting, points: dict[str, Any]
) -> None:
    survey = phone.survey(siting, method="dowsing")
    setup = phone.setup(survey)
    reading = phone.reading(setup, points["A1"])
    correction = phone.correction(reading, "3")
    submit = phone.entry("submit", {"survey": survey["id"]})
    other = phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"})
    day = [survey, setup, reading, correction, submit, other]
    waiting = ["set_aside invalid", *["set_aside waits"] * 4, "taken"]
    assert phone.states(*day) == waiting
    assert phone.states(*day) == [*waiting[:5], "repeated"]  # nothing has changed yet
    survey["body"]["method"] = "water_level"
    assert phone.states(*day) == [*["taken"] * 5, "repeated"]
    assert phone.states(*day) == ["repeated"] * 6
    assert SyncEntry.objects.filter(state="set_aside").count() == 0
    both = SyncEntry.objects.filter(entry=survey["id"]).order_by("received_at")
    assert [(row.state, row.body["method"]) for row in both] == [("mended", "dowsing"), ("taken", "water_level")]
    assert both[0].reason["fields"].keys() == {"body.method"}


def test_an_entry_before_what_it_needs_is_tried_again(phone: Phone, siting: Siting, points: dict[str, Any]) -> None:
    survey = phone.survey(siting)
    setup = phone.setup(survey)
    reading = phone.reading(setup, points["A1"])
    assert phone.states(reading, setup, survey) == ["set_aside invalid", "set_aside invalid", "taken"]
    assert phone.states(reading) == ["set_aside invalid"]
    assert phone.states(setup, reading) == ["taken", "taken"]
    row = SyncEntry.objects.get(entry=reading["id"])
    assert (row.state, row.reason["fields"]) == ("taken", {"body.setup": "There is no such setup."})
    assert row.taken_at is not None


def test_a_correction_of_a_reading_that_was_set_aside_waits_with_it(
    phone: Phone, setup: Setup, points: dict[str, Any]
) -> None:
    first = phone.reading(setup, points["A1"], "1 x")
    second = phone.correction(first, "2")
    third = phone.correction(second, "3")
    apart = phone.reading(setup, points["A2"])
    assert phone.states(first, second, third, apart) == [
        "set_aside invalid",
        "set_aside waits",
        "set_aside waits",
        "taken",
    ]
    first["body"]["value"] = "1"
    assert phone.states(first, second, third, apart) == ["taken", "taken", "taken", "repeated"]
    assert sorted(Reading.objects.standing().values_list("typed", flat=True)) == ["14 3/16", "3"]


def test_a_second_correction_is_taken_and_told_to_be_contested(
    phone: Phone, setup: Setup, points: dict[str, Any]
) -> None:
    first = phone.reading(setup, points["A1"], "1")
    holds, late = phone.correction(first, "2"), phone.correction(first, "3")
    assert phone.states(first, holds, late) == ["taken", "taken", "taken contested"]
    assert phone.states(first, late) == ["repeated", "repeated contested"]  # the first answer may never have come
    settled = phone.correction(holds, "3", settles=late["id"])
    assert phone.states(late, settled) == ["repeated contested", "taken"]
    assert phone.states(late, settled) == ["repeated", "repeated"]
    assert Reading.objects.standing().get().typed == "3"


def test_late_readings_raise_the_revision_once_a_batch(phone: Phone, setup: Setup, points: dict[str, Any]) -> None:
    phone.send(phone.reading(setup, points["A1"]), phone.entry("submit", {"survey": str(setup.survey_id)}))
    late = [phone.reading(setup, points["A2"]), phone.reading(setup, points["A3"])]
    phone.send(*late)
    phone.send(*late)
    setup.survey.refresh_from_db()
    assert setup.survey.revision == 2


# -- what is kept --------------------------------------------------------------------------------------------


def test_other_content_under_a_taken_id_is_set_aside_and_neither_is_lost(
    phone: Phone, setup: Setup, points: dict[str, Any]
) -> None:
    reading = phone.reading(setup, points["A1"], "1")
    other = reading | {"body": reading["body"] | {"value": "2"}}
    assert phone.states(reading, other) == ["taken", "set_aside conflict"]
    assert phone.states(other, reading) == ["set_aside conflict", "repeated"]
    rows = SyncEntry.objects.filter(entry=reading["id"]).order_by("state")
    assert [(row.state, row.body["value"]) for row in rows] == [("set_aside", "2"), ("taken", "1")]
    assert Reading.objects.get().typed == "1"
    # Under an id of its own it can be sent, as the correction that it is, and stands in for what was set aside.
    correction = phone.correction(reading, "2") | {"mends": reading["id"]}
    assert phone.states(correction) == ["taken"]
    assert SyncEntry.objects.filter(state="set_aside").count() == 0
    assert Reading.objects.standing().get().typed == "2"


def test_a_mended_entry_and_a_late_repeat_of_the_first_one(
    phone: Phone, setup: Setup, points: dict[str, Any]
) -> None:
    reading = phone.reading(setup, points["A1"], "x")
    mended = reading | {"body": reading["body"] | {"value": "1"}}
    assert phone.states(reading) == ["set_aside invalid"]
    assert phone.states(mended) == ["taken"]
    assert phone.states(reading) == ["repeated mended"]
    assert Reading.objects.get().typed == "1"


def test_what_came_in_as_a_batch_of_readings_is_known(phone: Phone, setup: Setup, points: dict[str, Any]) -> None:
    entry = phone.reading(setup, points["A1"], "1")
    address = f"/api/v1/surveys/{setup.survey_id}/readings/"
    sent = {"id": entry["id"], **entry["body"], "sequence": entry["sequence"], "device": phone.name}
    same = sent | {"taken_at": entry["noted_at"]}
    assert phone.client.post(address, {"readings": [same]}).status_code == 200
    assert phone.states(entry) == ["taken"]
    other = phone.reading(setup, points["A2"], "1")
    clash = {"id": other["id"], **other["body"], "value": "7"}
    assert phone.client.post(address, {"readings": [clash]}).status_code == 200
    assert phone.states(phone.reading(setup, points["A3"]), other) == ["taken", "set_aside conflict"]


def test_the_clock_of_a_device_is_put_right(
    phone: Phone, setup: Setup, points: dict[str, Any], siting: Siting
) -> None:
    hour = datetime.timedelta(hours=1)
    now = datetime.datetime.now(datetime.UTC)
    fast = (now + hour).isoformat()  # the phone is an hour ahead
    noted_at = (now + hour - datetime.timedelta(minutes=10)).isoformat()  # ten minutes ago
    finding = phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"}, noted_at=noted_at)
    reading = phone.reading(setup, points["A1"]) | {"noted_at": noted_at}
    hours = {"visit": str(Visit.objects.get().pk), "started_at": noted_at, "ended_at": fast}
    time = phone.entry("time", hours)
    assert phone.states(finding, reading, time, device_time=fast) == ["taken"] * 3
    near = datetime.timedelta(seconds=20)
    right = now - datetime.timedelta(minutes=10)
    for seen in (
        Finding.objects.get().noted_at,
        Reading.objects.get().taken_at,
        WorkTime.objects.get().started_at,
    ):
        assert seen is not None
        assert abs(seen - right) < near
    row = SyncEntry.objects.get(entry=finding["id"])
    assert row.noted_at == datetime.datetime.fromisoformat(noted_at)  # as it was sent
    assert row.clock_offset_s == pytest.approx(3600, abs=20)
    ahead = phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"}, noted_at="2045-01-01T00:00:00Z")
    phone.send(ahead)
    kept_at = Finding.objects.get(pk=ahead["id"]).noted_at
    assert abs(kept_at - now) < near  # nothing is noted after it came in


def test_author_and_sender_are_both_kept(phone: Phone, siting: Siting, lead: User, crew: User, office: User) -> None:
    body = {"siting": str(siting.pk), "grade": "ok"}
    theirs = phone.entry("finding", body, author=str(lead.pk))
    of_office = phone.entry("finding", body, author=str(office.pk))
    unknown = phone.entry("finding", body, author=str(uuid.uuid4()))
    told = phone.send(theirs, of_office, unknown)
    assert [one["code"] for one in told] == ["", "permission_denied", "invalid"]
    assert list(told[2]["fields"]) == ["author"]
    assert Finding.objects.get().author == lead
    row = SyncEntry.objects.get(entry=theirs["id"])
    assert (row.author, row.sent_by, row.device) == (lead, crew, "truck 2 phone")
    assert phone.states(theirs, of_office, unknown) == [
        "repeated",
        "set_aside permission_denied",
        "set_aside invalid",
    ]
    assert SyncEntry.objects.count() == 3


def test_only_a_lead_notes_the_time_of_others(phone: Phone, siting: Siting, crew: User, lead: User) -> None:
    hours = {"visit": str(Visit.objects.get().pk), "started_at": "2026-03-03T12:00:00Z"}
    hours |= {"ended_at": "2026-03-03T13:00:00Z", "person": str(UserFactory().pk)}
    assert phone.states(phone.entry("time", hours)) == ["set_aside permission_denied"]
    assert phone.states(phone.entry("time", hours, author=str(lead.pk))) == ["taken"]


def test_the_newest_check_says_what_a_strap_is(phone: Phone, siting: Siting) -> None:
    strap = siting.straps.get(code="T1")

    def check(minute: int, slack_in: str) -> dict[str, Any]:
        body = {"strap": str(strap.pk), "grade": "note", "slack_in": slack_in}
        return phone.entry("strap", body, noted_at=f"2026-03-03T12:{minute:02}:00Z")

    first, second, late = check(10, "0.25"), check(20, "0.5"), check(15, "0.75")
    assert phone.states(second, first) == ["taken", "taken"]
    assert phone.states(late) == ["taken"]
    strap.refresh_from_db()
    assert (strap.slack_in, strap.tension_lb) == (Decimal("0.5"), None)
    assert StrapCheck.objects.count() == 3


def test_a_plucked_strap_has_no_tension_until_its_pitch_is_computed(phone: Phone, siting: Siting) -> None:
    strap = siting.straps.get(code="T1")
    told = {"strap": str(strap.pk), "grade": "ok"}
    gauge = phone.entry("strap", told | {"method": "gauge", "tension_lb": "350"})
    pluck = phone.entry(
        "strap", told | {"method": "pluck", "frequency_hz": "38.25", "free_length_in": "45", "mode": 2}
    )
    assert phone.states(gauge) == ["taken"]
    strap.refresh_from_db()
    assert strap.tension_lb == 350
    assert phone.states(pluck, gauge) == ["taken", "repeated"]
    strap.refresh_from_db()
    assert (strap.slack_in, strap.tension_lb) == (0, None)
    kept = StrapCheck.objects.filter(method="pluck").values_list("frequency_hz", "free_length_in", "mode")
    assert list(kept) == [(Decimal("38.25"), 45, 2)]


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"method": "pluck"}, "frequency_hz"),
        ({"method": "pluck", "frequency_hz": "38"}, "frequency_hz"),
        ({"method": "pluck", "free_length_in": "45"}, "frequency_hz"),
        ({"method": "pluck", "frequency_hz": "0", "free_length_in": "45"}, "frequency_hz"),
        ({"method": "pluck", "frequency_hz": "38", "free_length_in": "45", "tension_lb": "9"}, "frequency_hz"),
        ({"method": "look", "frequency_hz": "38"}, "frequency_hz"),
        ({"method": "gauge"}, "tension_lb"),
        ({"mode": 11}, "mode"),
        ({"mode": 0}, "mode"),
        ({"method": "guess"}, "method"),
    ],
)
def test_how_a_tension_was_told_fits_what_was_noted(
    phone: Phone, siting: Siting, said: dict[str, Any], field: str
) -> None:
    body = {"strap": str(siting.straps.get(code="T1").pk), "grade": "ok", **said}
    assert list(phone.send(phone.entry("strap", body))[0]["fields"]) == [f"body.{field}"]
    alone = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), **body}
    refused = phone.client.post("/api/v1/strap-checks/", alone)
    assert (refused.status_code, list(refused.json()["fields"])) == (400, [field])


def test_a_pass_is_noted_as_typed(phone: Phone, siting: Siting, points: dict[str, Any]) -> None:
    survey = SurveyFactory(siting=siting)
    lift = Calculation.objects.create(survey=survey, kind="lift", input={}, input_sha256="0" * 64, engine_version="1")
    plan = Plan.objects.create(survey=survey, lift=lift, option="least_work")
    body = {"plan": str(plan.pk), "point": str(points["A1"].pk), "pass_number": 1, "value": "14 3/16"}
    elsewhere = str(lay_out_home().points.get(label="A1").pk)
    told = phone.send(
        phone.entry("pass", body),
        phone.entry("pass", body | {"value": "14,3"}),
        phone.entry("pass", body | {"pass_number": 201}),
        phone.entry("pass", body | {"point": elsewhere}),
        phone.entry("pass", {**body, "value": 360, "unit": "mm"}),
    )
    assert [list(one["fields"]) for one in told] == [[], ["body.value"], ["body.pass_number"], ["body.point"], []]
    values = PassEntry.objects.order_by("sequence").values_list("typed", "value_in")
    # 360 mm / 25.4 mm = 14.1732283... in, 1 in = 25.4 mm exactly (NIST SP 811 B.6)
    assert list(values) == [("14 3/16", Decimal("14.1875")), ("360", Decimal("14.173228"))]


def test_a_fault_of_ours_is_set_aside_too(
    phone: Phone, siting: Siting, setup: Setup, points: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*args: Any, **kwargs: Any) -> None:
        raise ZeroDivisionError

    body = {"siting": str(siting.pk), "grade": "ok"}
    finding, reading = phone.entry("finding", body), phone.reading(setup, points["A1"])
    with monkeypatch.context() as patch:
        patch.setattr("calcs.api.sync.kinds.note_finding", broken)
        patch.setattr("calcs.api.sync.readings.add_readings", broken)
        assert phone.states(finding, reading) == ["set_aside fault", "set_aside fault"]
    assert phone.states(finding, reading) == ["taken", "taken"]


# -- what can't be read --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "fields"),
    [
        ({"id": "7"}, ["id"]),
        ({"id": None}, ["id"]),
        ({"kind": "gossip"}, ["kind"]),
        ({"sequence": -1}, ["sequence"]),
        ({"sequence": "1"}, ["sequence"]),
        ({"noted_at": "yesterday"}, ["noted_at"]),
        ({"noted_at": "2026-03-03T12:00:00"}, ["noted_at"]),
        ({"noted_at": "9999-12-31T23:59:59-12:00"}, ["noted_at"]),
        ({"author": "me"}, ["author"]),
        ({"body": [1]}, ["body"]),
        ({"colour": "red", "mends": 1}, ["colour", "mends"]),
    ],
)
def test_an_unreadable_entry_is_kept_as_it_is(
    phone: Phone, siting: Siting, changed: dict[str, Any], fields: list[str]
) -> None:
    good = phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"})
    bad = phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"}) | changed
    told = phone.send(bad, good)
    assert (told[0]["state"], told[0]["code"], list(told[0]["fields"])) == ("set_aside", "invalid", fields)
    assert told[1]["state"] == "taken"
    assert phone.send(bad)[0]["state"] == "set_aside"
    row = SyncEntry.objects.get(state="set_aside")
    assert (row.kind, row.body) == ("", bad)


@pytest.mark.parametrize("entry", [None, 7, "seven", [], {}, [[]]])
def test_what_is_no_entry_at_all_is_kept_too(phone: Phone, siting: Siting, entry: Any) -> None:
    good = phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"})
    assert [one["state"] for one in phone.send(entry, good)] == ["set_aside", "taken"]
    assert [one["state"] for one in phone.send(entry, good)] == ["set_aside", "repeated"]
    assert SyncEntry.objects.count() == 2


def test_a_nul_shows_as_its_sign(phone: Phone, siting: Siting) -> None:
    body = {"siting": str(siting.pk), "grade": "note", "text": "rot\x00ten"}
    assert phone.states(phone.entry("finding", body)) == ["taken"]
    assert Finding.objects.get().text == "rot\u2400ten"


@pytest.mark.parametrize(
    ("kind", "body", "fields"),
    [
        ("finding", {"grade": "ok"}, ["body.siting"]),
        ("finding", {"colour": 1, "id": "x", "author": "y"}, ["body.author", "body.colour", "body.id"]),
        ("reading", {"taken_at": NOON.isoformat()}, ["body.point", "body.setup", "body.taken_at"]),
        ("reading", {"setup": [], "point": {}}, ["body.point", "body.setup"]),
        ("submit", {}, ["body.survey"]),
        ("submit", {"survey": str(uuid.UUID(int=1))}, ["body.survey"]),
        ("survey", {"stage": "never", "state": "submitted"}, ["body.state"]),
        ("time", {"visit": "1"}, ["body.ended_at", "body.started_at", "body.visit"]),
    ],
)
def test_what_is_wrong_is_told_at_its_field(phone: Phone, kind: str, body: dict[str, Any], fields: list[str]) -> None:
    assert sorted(phone.send(phone.entry(kind, body))[0]["fields"]) == fields


def test_the_database_refuses_what_no_field_alone_shows(phone: Phone, siting: Siting) -> None:
    strap = str(siting.straps.get(code="T1").pk)
    both = {"strap": strap, "grade": "note", "slack_in": "1", "tension_lb": "300"}
    silent = {"siting": str(siting.pk), "grade": "stop"}
    told = phone.send(phone.entry("strap", both), phone.entry("finding", silent))
    assert [list(one["fields"]) for one in told] == [["body.slack_in"], ["body.text"]]


# -- the request as a whole ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("document", "fields"),
    [
        ([], ["body"]),
        ({}, ["device", "entries"]),
        ({"device": "", "entries": {}, "device_time": "noon"}, ["device", "device_time", "entries"]),
        ({"device": "phone", "entries": [], "colour": 1}, ["colour"]),
    ],
)
def test_a_body_of_another_shape_is_told(phone: Phone, document: Any, fields: list[str]) -> None:
    response = phone.client.post("/api/v1/sync/", document)
    assert response.status_code == 400
    assert sorted(response.json()["fields"]) == fields


def test_what_is_no_json_and_what_is_too_much(phone: Phone, siting: Siting) -> None:
    deep = b'{"device": "x", "entries": [' + b"[" * 5000 + b"]" * 5000 + b"]}"
    for body in (b"", b"{", b'"\xff"', deep, b'{"device": NaN}'):
        response = phone.client.post("/api/v1/sync/", body, content_type="application/json")
        assert (response.status_code, response.json()["code"]) == (400, "parse_error")
    assert phone.client.post("/api/v1/sync/", "a,b", content_type="text/csv").status_code == 415
    finding = phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"})
    refused = phone.post(*[finding] * 2001, expect=413)
    assert refused["fields"]["entries"] == "Send at most 2,000 entries at once; this is 2,001."
    assert not SyncEntry.objects.exists()


def test_two_thousand_mixed_entries_are_taken(phone: Phone, setup: Setup, points: dict[str, Any]) -> None:
    siting = str(setup.survey.siting_id)
    day = [phone.reading(setup, points["A1"], number % 1000) for number in range(1900)]
    day += [phone.entry("finding", {"siting": siting, "grade": "ok"}) for _ in range(100)]
    assert set(phone.states(*day)) == {"taken"}
    assert set(phone.states(*day)) == {"repeated"}
    assert (Reading.objects.count(), SyncEntry.objects.count()) == (1900, 2000)


@pytest.mark.parametrize("role", ["office", "manager"])
def test_only_crews_send(role: str, api_for: Any, siting: Siting) -> None:
    phone = Phone(api_for(UserFactory(roles=[role])))
    phone.post(phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"}), expect=403)
    assert not SyncEntry.objects.exists()


# -- the rows ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("state", ["taken", "set_aside"])
def test_what_a_phone_sent_is_never_changed_or_deleted(phone: Phone, siting: Siting, state: str) -> None:
    grade = "ok" if state == "taken" else "awful"
    phone.send(phone.entry("finding", {"siting": str(siting.pk), "grade": grade}))
    rows = SyncEntry.objects.filter(state=state)
    assert rows.count() == 1
    for change in ({"body": {}}, {"device": "other"}, {"sequence": 9}, {"author": UserFactory()}, {"kind": "x"}):
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            rows.update(**change)
    with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
        rows.delete()
    if state == "taken":
        with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
            rows.update(state="set_aside", taken_at=None, reason={})


def test_everybody_sees_their_own_entries_and_the_office_all(
    phone: Phone, siting: Siting, api_for: Any, lead: User, office: User
) -> None:
    body = {"siting": str(siting.pk), "grade": "ok"}
    phone.send(phone.entry("finding", body), phone.entry("finding", body | {"grade": "x"}))
    Phone(api_for(lead), name="truck 1").send(phone.entry("finding", body))

    def seen(client: Any, query: str = "") -> list[tuple[str, str]]:
        rows = client.get(f"/api/v1/sync/{query}").json()["results"]
        return sorted((row["device"], row["state"]) for row in rows)

    own = [("truck 2 phone", "set_aside"), ("truck 2 phone", "taken")]
    assert seen(phone.client) == own
    assert seen(api_for(lead)) == [("truck 1", "taken")]
    assert seen(api_for(office)) == [("truck 1", "taken"), *own]
    assert seen(api_for(office), "?state=set_aside") == own[:1]
    assert seen(api_for(office), "?device=truck+1") == [("truck 1", "taken")]


@pytest.mark.parametrize("count", [1, 3, 60])
def test_queries_do_not_grow_with_readings_or_repeats(
    phone: Phone, setup: Setup, points: dict[str, Any], count: int
) -> None:
    batch = [phone.reading(setup, points["A1"], number) for number in range(count)]
    with CaptureQueriesContext(connection) as first:
        phone.send(*batch)
    with CaptureQueriesContext(connection) as again:
        phone.send(*batch)
    queries = {"first": len(first), "again": len(again)}
    # session, person, savepoint, lock and known entries, place, savepoint, insert, release, keep, release
    assert queries == {"first": 10, "again": 5}
