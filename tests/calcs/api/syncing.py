"""A phone for the tests of syncing: it makes entries as a crew's phone does, and sends them."""

import datetime
import uuid
from typing import Any

from jobs.models import Siting, User
from tests.factories import NOON

Entry = dict[str, Any]


class Phone:
    """Makes entries with a count of its own; sends what it is told to, in order."""

    def __init__(self, client: Any, *, name: str = "truck 2 phone") -> None:
        self.client = client
        self.name = name
        self.count = 0

    def entry(self, kind: str, body: Any, **beside: Any) -> Entry:
        """Make one entry."""
        self.count += 1
        noted_at = NOON + datetime.timedelta(minutes=self.count)
        usual = {"id": str(uuid.uuid4()), "sequence": self.count, "noted_at": noted_at.isoformat()}
        return {**usual, "kind": kind, "body": body, **beside}

    def survey(self, siting: Siting, **body: Any) -> Entry:
        """Start a survey."""
        return self.entry("survey", {"siting": str(siting.pk), "stage": "as_found", "method": "water_level", **body})

    def setup(self, survey: Any, code: str = "S1", **body: Any) -> Entry:
        """Start a setup of a survey, which is an entry or its key."""
        return self.entry("setup", {"survey": key_of(survey), "code": code, "sense": "up", **body})

    def reading(self, setup: Any, point: Any, value: Any = "14 3/16", **body: Any) -> Entry:
        """Read a point."""
        return self.entry("reading", {"setup": key_of(setup), "point": key_of(point), "value": value, **body})

    def correction(self, of: Entry, value: Any, **body: Any) -> Entry:
        """Correct a reading."""
        places = {name: of["body"][name] for name in ("setup", "point")}
        return self.entry("reading", {**places, "value": value, "replaces": of["id"], "reason": "slip", **body})

    def post(self, *entries: Any, expect: int = 200, **beside: Any) -> dict[str, Any]:
        """Send entries; return the answer."""
        response = self.client.post("/api/v1/sync/", {"device": self.name, "entries": list(entries), **beside})
        assert response.status_code == expect, response.content
        return dict(response.json())

    def send(self, *entries: Any, **beside: Any) -> list[dict[str, Any]]:
        """Send entries; return what became of each."""
        answer = self.post(*entries, **beside)
        assert [one["id"] for one in answer["results"]] == [_told_id(entry) for entry in entries]
        return list(answer["results"])

    def states(self, *entries: Any, **beside: Any) -> list[str]:
        """Send entries; return their states, and the code with those that have one."""
        return [f"{one['state']} {one['code']}".strip() for one in self.send(*entries, **beside)]


def key_of(thing: Any) -> str:
    """Return the key of an entry, a row, or itself."""
    return str(thing["id"] if isinstance(thing, dict) else getattr(thing, "pk", thing))


def _told_id(entry: Any) -> Any:
    return entry.get("id") if isinstance(entry, dict) else None


def outdoors(crew: User, *sitings: Siting) -> None:
    """Send somebody to these homes."""
    from tests.factories import VisitFactory

    for siting in sitings:
        VisitFactory(siting=siting, in_turn=True).crew.add(crew)
