"""What phones do in a soak test: send, lose replies, send again until they are told that it is stored."""

import http.client
import json
import random
import time
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from calcs.demo import office
from calcs.demo.client import API, Client
from calcs.demo.crew import shots
from calcs.demo.days import ago
from calcs.demo.scenario import SMALL
from calcs.demo.truth import Home
from calcs.soak.ledger import Entry, Ledger, Row

REPLY_LOST_1_IN = 12
TIMEOUT_S = 20.0
BETWEEN_TRIES_S = (0.1, 1.0)
TRY_AGAIN = (408, 429)  # and whatever is the server's trouble
NOON = "2026-03-03T12:00:00Z"
BATCH = 12


class GaveUpError(Exception):
    """The service did not come back for so long that the phone stops trying."""


@dataclass(slots=True, kw_only=True)
class Phone:
    """One client with a home of its own, which is read again and again."""

    address: str
    token: str
    name: str
    random: random.Random
    siting: str
    visit: str
    home: Home
    points: dict[str, str]  # the points' keys by label
    frame: Sequence[Any]
    last_try_at: float  # by time.monotonic
    ledger: Ledger = field(default_factory=Ledger)
    sequence: int = 0
    connection: http.client.HTTPConnection | None = None

    def work_until(self, at: float) -> None:
        """Read the home until then; the survey that was begun is finished."""
        while time.monotonic() < at:
            self.read_home()

    def read_home(self) -> None:
        """Make one survey: entries over both addresses, corrections, handing in, and a late reading."""
        survey = self._entry("survey", siting=self.siting, stage="check", method="water_level", started_at=NOON)
        setups = {
            place.code: self._entry("setup", survey=survey.key, code=place.code, sense=place.sense)
            for place in self.home.setups
        }
        self._sync([survey, *setups.values()])
        readings = [
            self._reading(setups[shot.setup].key, shot.label, shot=shot.shot, round=shot.round, value=shot.typed)
            for shot in shots(replace(self.home, seed=self.random.randrange(10**6)), self.frame)
        ]
        *taken, late = readings
        readings = taken
        while readings:
            batch, readings = readings[:BATCH], readings[BATCH:]
            self._send_readings(survey.key, batch)
        wrong = self.random.choice(taken)
        self._send_readings(survey.key, [self._correction(wrong)])
        point = self.random.choice([*self.points.values()])
        finding = self._entry("finding", siting=self.siting, point=point, grade="note", text="Wedge hangs.")
        counts = [
            self._entry("head_count", visit=self.visit, person_name="Ana", is_in=is_in) for is_in in (True, False)
        ]
        self._sync([finding, *counts, self._entry("visit_report", visit=self.visit, state="on_site")])
        self._submit(survey.key)
        if self.random.random() < 0.5:
            self._send_readings(survey.key, [late])
        else:
            del self.ledger.entries[late.key]  # it was never read

    # -- entries

    def _entry(self, kind: str, **body: Any) -> Entry:
        key = str(uuid.UUID(int=self.random.getrandbits(128), version=4))
        self.sequence += 1
        return self.ledger.note(Entry(kind=kind, key=key, sequence=self.sequence, body=body))

    def _reading(self, setup: str, label: str, **body: Any) -> Entry:
        return self._entry("reading", setup=setup, point=self.points[label], **body)

    def _correction(self, wrong: Entry) -> Entry:
        body = {**wrong.body, "value": "7 3/16", "replaces": wrong.key, "reason": "read again"}
        return self._entry("reading", **body)

    # -- sending

    def _send_readings(self, survey: str, batch: list[Entry]) -> None:
        if self.random.random() < 0.5:
            self._sync(batch)
            return
        rows = [{**e.body, "id": e.key, "sequence": e.sequence, "device": self.name} for e in batch]
        self._until_answered(f"surveys/{survey}/readings/", {"readings": rows}, expected=200)
        for entry in batch:
            entry.acknowledged = True

    def _sync(self, batch: list[Entry]) -> None:
        """Send entries until each is taken; what trouble of the server set aside is sent again."""
        left = {entry.key: entry for entry in batch}
        while left:
            entries = [
                {"id": e.key, "kind": e.kind, "sequence": e.sequence, "noted_at": NOON, "body": e.body}
                for e in left.values()
            ]
            answer = self._until_answered("sync/", {"device": self.name, "entries": entries}, expected=200)
            for result in answer["results"]:
                if result["state"] in ("taken", "repeated"):
                    left[result["id"]].by_sync = left[result["id"]].acknowledged = True
                    del left[result["id"]]
                elif result["code"] not in ("fault", "waits"):
                    self.ledger.refused.append(f"{result}")
                    del left[result["id"]]
            if left:
                self._pause()

    def _submit(self, survey: str) -> None:
        self._until_answered(f"surveys/{survey}/submit/", {}, expected=200)
        self.ledger.submitted.add(survey)

    def _until_answered(self, path: str, body: Row, *, expected: int) -> Any:
        """Send the same request until it is answered; a refusal is noted, and is no reason to go on trying."""
        began_at = time.monotonic()
        data = json.dumps(body).encode()
        self.ledger.requests += 1
        while True:
            status, answer = self._once(path, data)
            if status == expected:
                waited_s = time.monotonic() - began_at
                self.ledger.longest_wait_s = max(self.ledger.longest_wait_s, waited_s)
                return answer
            if 0 < status < 500 and status not in TRY_AGAIN:
                raise GaveUpError(f"{path} was refused: {status} {answer}")
            if time.monotonic() > self.last_try_at:
                raise GaveUpError(f"{path} was not answered in the end: {status} {answer}")
            self.ledger.retries += 1
            self._pause()

    def _once(self, path: str, data: bytes) -> tuple[int, Any]:
        """Send once; status 0 when there is no answer, or none that this phone hears."""
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        try:
            if self.connection is None:
                where = self.address.removeprefix("http://")
                self.connection = http.client.HTTPConnection(where, timeout=TIMEOUT_S)
            self.connection.request("POST", API + path, data, headers)
            if self.random.randrange(REPLY_LOST_1_IN) == 0:
                self.ledger.replies_dropped += 1
                time.sleep(self.random.uniform(0, 0.2))
                return self._hang_up("the phone lost the reply")
            response = self.connection.getresponse()
            text = response.read()
            return response.status, json.loads(text) if text else None
        except (OSError, http.client.HTTPException, ValueError) as error:
            return self._hang_up(repr(error))

    def _hang_up(self, why: str) -> tuple[int, str]:
        if self.connection:
            self.connection.close()
        self.connection = None
        return 0, why

    def _pause(self) -> None:
        time.sleep(self.random.uniform(*BETWEEN_TRIES_S))


def new_phone(
    *, address: str, number: int, seed: int, desk: Client, token: str, lead: str, last_try_at: float
) -> Phone:
    """Enter a home of its own for a phone, while nothing is killed yet."""
    name = f"phone {number}"
    home = replace(
        SMALL,
        customer={**SMALL.customer, "name": f"Customer {number}"},
        home={**SMALL.home, "code": f"SK-{number:03d}"},
        lead=lead,
        # The same people go to all of these homes: to each on a day of its own.
        visit={**SMALL.visit, "note": name, "starts_at": ago(number, 14), "ends_at": ago(number, 17)},
    )
    layout = office.enter(desk, home)
    return Phone(
        address=address,
        token=token,
        name=name,
        random=random.Random(f"{seed} {number}"),  # noqa: S311 - a test that can be had again, no secret
        siting=layout["siting"],
        visit=desk.all("visits/", siting=layout["siting"])[0]["id"],
        home=home,
        points={point["label"]: point["id"] for point in layout["points"]},
        frame=office.frame_of(layout),
        last_try_at=last_try_at,
    )
