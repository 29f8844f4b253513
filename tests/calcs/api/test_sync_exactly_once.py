"""Whatever is repeated, cut off, reordered or sent twice at once: the rows are those of each entry taken once."""

import datetime
import threading
import uuid
from collections import Counter
from collections.abc import Iterator
from typing import Any
from unittest import mock

import hypothesis
import pytest
from django.db import OperationalError, connection, connections, transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test
from rest_framework.test import APIClient

from calcs.api.sync import keep
from jobs.models import (
    CautionRead,
    Finding,
    Hazard,
    HeadCount,
    Siting,
    Strap,
    StrapCheck,
    User,
    Visit,
    VisitReport,
)
from surveys.models import Reading, Setup, Survey, SyncEntry
from tests.calcs.api.syncing import Entry, Phone, outdoors
from tests.factories import NOON, UserFactory, lay_out_home


class Cut(Exception):
    """The process is gone before its transaction was committed."""


def rows() -> dict[str, set[tuple[Any, ...]]]:
    """Return what all entries together have left in the database."""
    return {
        "surveys": set(Survey.objects.values_list("pk", "siting", "method", "author", "state", "revision")),
        "setups": set(Setup.objects.values_list("pk", "survey", "code")),
        "readings": set(Reading.objects.values_list("pk", "setup", "point", "typed", "replaces", "author", "device")),
        "findings": set(Finding.objects.values_list("pk", "siting", "text", "author", "noted_at")),
        "checks": set(StrapCheck.objects.values_list("pk", "strap", "slack_in", "noted_at")),
        "straps": set(Strap.objects.values_list("pk", "slack_in")),
        "hazards": set(Hazard.objects.values_list("pk", "home", "kind", "author", "noted_at")),
        "heads": set(HeadCount.objects.values_list("pk", "visit", "person_name", "is_in", "author", "noted_at")),
        "reports": set(VisitReport.objects.values_list("pk", "visit", "state", "author", "noted_at")),
        "cautions": set(CautionRead.objects.values_list("visit", "code", "moment", "text_sha256", "reader_name")),
    }


class Syncing(RuleBasedStateMachine):
    """Two phones with an outbox each; entries leave it only when the answer says so, as phones do."""

    siting: Siting  # made once, before the first example
    people: list[User]

    def __init__(self) -> None:
        super().__init__()
        self.example = transaction.atomic()  # each example starts from the same home, as yet unread
        self.example.__enter__()
        self.phones = [Phone(self._client(person), name=f"phone {n}") for n, person in enumerate(self.people)]
        self.points = list(self.siting.points.order_by("label")[:4])
        self.strap = self.siting.straps.get(code="T1")
        self.visit = Visit.objects.filter(siting=self.siting)[0]
        self.visit.crew.set(self.people)
        self.outboxes: list[list[Entry]] = [[], []]
        self.made: list[tuple[int, Entry]] = []
        self.bad: set[str] = set()

    @staticmethod
    def _client(person: User) -> APIClient:
        client = APIClient()
        client.force_login(person)
        return client

    def _make(self, which: int, entry: Entry) -> Entry:
        self.outboxes[which].append(entry)
        self.made.append((which, entry))
        return entry

    @initialize()
    def start(self) -> None:
        self.surveys = []
        self.setups = []
        self.readings: list[list[Entry]] = [[], []]
        for which, phone in enumerate(self.phones):
            survey = self._make(which, phone.survey(self.siting))
            self.surveys.append(survey)
            self.setups.append(self._make(which, phone.setup(survey)))

    @rule(which=st.integers(0, 1), count=st.integers(1, 4))
    def read(self, which: int, count: int) -> None:
        for number in range(count):
            point = self.points[number % len(self.points)]
            entry = self.phones[which].reading(self.setups[which], point, str(number + 1))
            self.readings[which].append(self._make(which, entry))

    @rule(which=st.integers(0, 1), of=st.integers(0, 50))
    def correct(self, which: int, of: int) -> None:
        """Each reading is corrected once at most, so that no order makes a correction contested."""
        corrected = {entry["body"].get("replaces") for entry in self.readings[which]}
        standing = [entry for entry in self.readings[which] if entry["id"] not in corrected]
        if standing:
            entry = self.phones[which].correction(standing[of % len(standing)], "9")
            self.readings[which].append(self._make(which, entry))

    @rule(which=st.integers(0, 1))
    def find(self, which: int) -> None:
        body = {"siting": str(self.siting.pk), "grade": "note", "text": "damp"}
        self._make(which, self.phones[which].entry("finding", body))

    @rule(which=st.integers(0, 1), minute=st.integers(0, 59), eighths=st.integers(1, 20))
    def check(self, which: int, minute: int, eighths: int) -> None:
        noted_at = NOON + datetime.timedelta(minutes=minute, seconds=len(self.made))
        body = {"strap": str(self.strap.pk), "grade": "note", "slack_in": eighths / 8}
        self._make(which, self.phones[which].entry("strap", body, noted_at=noted_at.isoformat()))

    @rule(which=st.integers(0, 1), kind=st.sampled_from(["dog", "sewage"]))
    def warn(self, which: int, kind: str) -> None:
        body = {"home": str(self.siting.home_id), "kind": kind}
        self._make(which, self.phones[which].entry("hazard", body))

    @rule(which=st.integers(0, 1), reader=st.sampled_from(["Ana", "Bo"]), text=st.sampled_from(["0" * 64, "1" * 64]))
    def read_a_caution(self, which: int, reader: str, text: str) -> None:
        """Both phones may say the same of one person: it is one reading."""
        body = {"visit": str(self.visit.pk), "code": "wind", "moment": "slackening", "language": "en"}
        self._make(which, self.phones[which].entry("caution", {**body, "reader_name": reader, "text_sha256": text}))

    @rule(which=st.integers(0, 1), name=st.sampled_from(["Ana", "Bo"]), is_in=st.booleans())
    def count_a_head(self, which: int, name: str, is_in: bool) -> None:
        body = {"visit": str(self.visit.pk), "person_name": name, "is_in": is_in}
        self._make(which, self.phones[which].entry("head_count", body))

    @rule(which=st.integers(0, 1), state=st.sampled_from(["on_site", "done"]))
    def report(self, which: int, state: str) -> None:
        self._make(which, self.phones[which].entry("visit_report", {"visit": str(self.visit.pk), "state": state}))

    @rule(which=st.integers(0, 1))
    def make_a_bad_one(self, which: int) -> None:
        entry = self._make(which, self.phones[which].reading(self.setups[which], self.points[0], "1/3"))
        self.bad.add(entry["id"])

    @rule(
        which=st.integers(0, 1),
        order=st.randoms(use_true_random=False),
        share=st.floats(0.1, 1),
        is_shuffled=st.booleans(),
        fate=st.sampled_from(["answered", "answer is lost", "cut before the commit", "sent twice"]),
    )
    def send(self, which: int, order: Any, share: float, is_shuffled: bool, fate: str) -> None:
        batch = list(self.outboxes[which])
        if is_shuffled:
            order.shuffle(batch)
        batch = batch[: max(1, int(share * len(batch)))]
        if fate == "sent twice":
            batch += batch
        phone = self.phones[which]
        if fate == "cut before the commit":
            with mock.patch.object(keep.Known, "write", side_effect=Cut), pytest.raises(Cut):
                phone.send(*batch)
            return
        told = phone.send(*batch)
        if fate != "answer is lost":
            done = {one["id"] for one in told if one["state"] != "set_aside"}
            self.outboxes[which] = [entry for entry in self.outboxes[which] if entry["id"] not in done]

    @rule(which=st.integers(0, 1), order=st.randoms(use_true_random=False))
    def send_old_ones_again(self, which: int, order: Any) -> None:
        """An answer that came late: what was taken long ago is sent once more."""
        own = [entry for phone, entry in self.made if phone == which]
        told = self.phones[which].send(*order.sample(own, min(3, len(own))))
        assert {one["state"] for one in told} <= {"taken", "repeated", "set_aside"}

    @invariant()
    def nothing_is_there_twice(self) -> None:
        taken = SyncEntry.objects.filter(state="taken").values_list("entry", flat=True)
        assert max(Counter(taken).values(), default=1) == 1

    def teardown(self) -> None:
        """At the end all is sent until nothing changes; then the rows are compared with what was made."""
        try:
            self.finish()
        finally:
            transaction.set_rollback(True)
            self.example.__exit__(None, None, None)

    def finish(self) -> None:
        for which, phone in enumerate(self.phones):
            for _ in range(4):
                if self.outboxes[which]:
                    told = phone.send(*self.outboxes[which])
                    left = {one["id"] for one in told if one["state"] == "set_aside"}
                    self.outboxes[which] = [entry for entry in self.outboxes[which] if entry["id"] in left]
            assert {entry["id"] for entry in self.outboxes[which]} <= self.bad
        assert rows() == self.expected()
        states = Counter(SyncEntry.objects.values_list("state", flat=True))
        sent = {entry["id"] for _, entry in self.made}
        assert states["taken"] == len(sent - self.bad)
        assert states["mended"] == 0

    def expected(self) -> dict[str, set[tuple[Any, ...]]]:
        """Work out what the entries make, each once, without the code under test."""

        def of(kind: str) -> Iterator[tuple[User, Phone, uuid.UUID, dict[str, Any], datetime.datetime]]:
            for which, entry in self.made:
                if entry["kind"] == kind and entry["id"] not in self.bad:
                    at = datetime.datetime.fromisoformat(entry["noted_at"])
                    yield self.people[which], self.phones[which], uuid.UUID(entry["id"]), entry["body"], at

        def key(value: str | None) -> uuid.UUID | None:
            return None if value is None else uuid.UUID(value)

        straps = {strap.code: strap.pk for strap in self.siting.straps.all()}
        checks = {(pk, self.strap.pk, body["slack_in"], at) for _, _, pk, body, at in of("strap")}
        newest = max(checks, key=lambda check: check[3], default=None)
        return {
            "surveys": {(pk, self.siting.pk, "water_level", who.pk, "open", 0) for who, _, pk, _, _ in of("survey")},
            "setups": {(pk, key(body["survey"]), body["code"]) for _, _, pk, body, _ in of("setup")},
            "readings": {
                (
                    pk,
                    key(body["setup"]),
                    key(body["point"]),
                    body["value"],
                    key(body.get("replaces")),
                    who.pk,
                    phone.name,
                )
                for who, phone, pk, body, _ in of("reading")
            },
            "findings": {(pk, self.siting.pk, "damp", who.pk, at) for who, _, pk, _, at in of("finding")},
            "checks": checks,
            "straps": {(straps["T1"], newest[2] if newest else 0), (straps["T2"], 0.5)},
            "hazards": {(pk, self.siting.home_id, body["kind"], who.pk, at) for who, _, pk, body, at in of("hazard")},
            "heads": {
                (pk, self.visit.pk, body["person_name"], body["is_in"], who.pk, at)
                for who, _, pk, body, at in of("head_count")
            },
            "reports": {
                (pk, self.visit.pk, body["state"], who.pk, at) for who, _, pk, body, at in of("visit_report")
            },
            "cautions": {
                (key(body["visit"]), body["code"], body["moment"], body["text_sha256"], body["reader_name"])
                for _, _, _, body, _ in of("caution")
            },
        }


@pytest.mark.django_db
def test_every_entry_is_taken_exactly_once_whatever_happens() -> None:
    Syncing.siting = lay_out_home()
    Syncing.people = [UserFactory(), UserFactory()]
    for person in Syncing.people:
        outdoors(person, Syncing.siting)
    run_state_machine_as_test(
        Syncing,
        settings=hypothesis.settings(
            max_examples=12,
            stateful_step_count=15,
            deadline=None,
            suppress_health_check=[hypothesis.HealthCheck.too_slow],
        ),
    )


# -- at once -------------------------------------------------------------------------------------------------


def at_once(*jobs: Any) -> list[Any]:
    """Run functions in threads that start together, each on its own connection; return their answers."""
    ready = threading.Barrier(len(jobs))
    answers: list[Any] = [None] * len(jobs)

    def work(place: int) -> None:
        ready.wait()
        try:
            answers[place] = jobs[place]()
        except Exception as error:
            answers[place] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=work, args=[place]) for place in range(len(jobs))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("senders", ["one person", "two people"])
def test_the_same_entries_twice_at_once_are_taken_once(senders: str, crew: User, lead: User, api_for: Any) -> None:
    siting = lay_out_home()
    outdoors(crew, siting)
    phone = Phone(api_for(crew))
    survey = phone.survey(siting)
    setup = phone.setup(survey)
    points = list(siting.points.order_by("label")[:12])
    batch = [survey, setup, *(phone.reading(setup, point) for point in points)]
    batch += [phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"}) for _ in range(10)]
    other = crew if senders == "one person" else lead
    batch = [entry | {"author": str(crew.pk)} for entry in batch]
    clients = [api_for(crew), api_for(other), api_for(crew), api_for(other)]
    answers = at_once(*(lambda client=client: Phone(client).states(*batch) for client in clients))
    assert sorted(Counter(answer).most_common() for answer in answers) == [
        [("repeated", len(batch))],
        [("repeated", len(batch))],
        [("repeated", len(batch))],
        [("taken", len(batch))],
    ]
    assert (Reading.objects.count(), Finding.objects.count(), SyncEntry.objects.count()) == (12, 10, len(batch))


@pytest.mark.django_db(transaction=True)
def test_one_person_s_reading_from_two_phones_at_once_is_kept_once(crew: User, lead: User, api_for: Any) -> None:
    siting = lay_out_home()
    outdoors(crew, siting)
    body = {"visit": str(Visit.objects.get().pk), "code": "wind", "moment": "slackening", "reader_name": "Ana"}
    phones = [Phone(api_for(crew), name="one"), Phone(api_for(lead), name="two")]
    read = [
        [phone.entry("caution", {**body, "language": "en", "text_sha256": f"{n:064x}"}) for n in range(10)]
        for phone in phones
    ]
    answers = at_once(*(lambda n=n: phones[n].states(*read[n]) for n in (0, 1)))
    assert Counter(state for answer in answers for state in answer) == {"taken": 20}
    assert CautionRead.objects.count() == 10


@pytest.mark.django_db(transaction=True)
def test_two_devices_at_once_on_one_survey(crew: User, lead: User, api_for: Any) -> None:
    """Each takes its own way through the same survey, strap and readings; of two corrections one is contested."""
    siting = lay_out_home()
    outdoors(crew, siting)
    phones = [Phone(api_for(crew), name="one"), Phone(api_for(lead), name="two")]
    survey = phones[0].survey(siting)
    setup = phones[0].setup(survey)
    point = siting.points.get(label="A1")
    first = phones[0].reading(setup, point, "1")
    assert phones[0].states(survey, setup, first) == ["taken"] * 3
    strap = str(siting.straps.get(code="T1").pk)

    def day(phone: Phone, minute: int) -> list[Entry]:
        at = f"2026-03-03T13:{minute:02}:00Z"
        return [
            *(phone.reading(setup, point, number) for number in range(20)),
            phone.entry("strap", {"strap": strap, "grade": "ok", "slack_in": minute / 8}, noted_at=at),
            phone.correction(first, "7"),
        ]

    days = [day(phones[0], 4), list(reversed(day(phones[1], 2)))]
    answers = at_once(*(lambda n=n: phones[n].states(*days[n]) for n in (0, 1)))
    assert Counter(state for answer in answers for state in answer) == {"taken": 43, "taken contested": 1}
    assert Reading.objects.count() == 43
    assert float(Strap.objects.get(pk=strap).slack_in) == 0.5
    answers = at_once(*(lambda n=n: phones[n].states(*days[n]) for n in (0, 1)))
    assert Counter(state for answer in answers for state in answer) == {"repeated": 43, "repeated contested": 1}


@pytest.mark.django_db(transaction=True)
def test_a_deadlock_is_tried_again_and_other_trouble_takes_nothing(crew: User, api_for: Any) -> None:
    siting = lay_out_home()
    outdoors(crew, siting)
    phone = Phone(api_for(crew))
    finding = phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"})
    write = keep.Known.write
    troubles = [deadlock(), deadlock(), None]

    def trouble(known: keep.Known) -> None:
        write(known)
        if (error := troubles.pop(0)) is not None:
            raise error

    with mock.patch.object(keep.Known, "write", trouble):
        assert phone.states(finding) == ["taken"]
    assert SyncEntry.objects.count() == Finding.objects.count() == 1
    other = phone.entry("finding", {"siting": str(siting.pk), "grade": "ok"})
    troubles = [deadlock() for _ in range(5)]
    with mock.patch.object(keep.Known, "write", trouble):
        assert phone.post(other, expect=503)["code"] == "busy"
    assert SyncEntry.objects.count() == Finding.objects.count() == 1
    assert connection.in_atomic_block is False


class DeadlockDetected(Exception):
    """As the driver names it."""

    sqlstate = "40P01"


def deadlock() -> OperationalError:
    """What the database layer raises when the server broke a deadlock by ending this transaction."""
    error = OperationalError("deadlock detected")
    error.__cause__ = DeadlockDetected()
    return error
