"""The crew's part of the demo: a survey with its setups and readings, sent as a phone sends them.

A phone names its readings itself, before it has signal. The names here are the same in every run, so sending all of
them again is harmless, and the service says how many are new.
"""

import datetime
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from calcs.demo.client import Client, Reply
from calcs.demo.crew import Shot, found
from calcs.demo.truth import Home

Row = dict[str, Any]
BETWEEN_SHOTS = datetime.timedelta(seconds=70)
DEVICE = "truck 2 phone"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A survey on the service: its row, and the keys of its setups and of the home's points by what people say."""

    home: Home
    survey: Row  # as it was when the phone looked
    setups: Mapping[str, str]
    points: Mapping[str, str]

    @property
    def readings_path(self) -> str:
        """Where its readings go."""
        return f"surveys/{self.survey['id']}/readings/"


def open_survey(client: Client, home: Home, layout: Row) -> Sent:
    """Make the survey and its setups, or find them."""
    siting, stage = layout["siting"], home.survey["stage"]
    survey = client.only("surveys/", {**home.survey, "siting": siting}, siting=siting, stage=stage)
    setups = {each["code"]: each["id"] for each in client.all("setups/", survey=survey["id"])}
    for place in home.setups:
        if place.code not in setups:
            trial = "grew" if place.sense == "up" else "shrank"
            setup = {"survey": survey["id"], "code": place.code, "sense": place.sense, "sense_trial": trial}
            setups[place.code] = client.post("setups/", {**setup, "device": DEVICE}).body["id"]
    points = {each["label"]: each["id"] for each in layout["points"]}
    return Sent(home=home, survey=survey, setups=setups, points=points)


def send(client: Client, sent: Sent, shots: Iterable[Shot]) -> Row:
    """Send readings in one go; return the service's count of what is new and what it had already."""
    return dict(client.post(sent.readings_path, {"readings": [_wire(sent, shot) for shot in shots]}).body)


def send_stored(client: Client, sent: Sent) -> Row:
    """Send what the service has of the survey once more, as a phone does that missed the answer; return its count."""
    fields = ("id", "setup", "point", "shot", "round", "taken_at", "sequence", "device", "replaces", "reason")
    rows = client.all("readings/", survey=sent.survey["id"])
    readings = [{name: row[name] for name in fields} | {"value": row["typed"]} for row in rows]
    return dict(client.post(sent.readings_path, {"readings": readings}).body)


def correct(client: Client, sent: Sent, wrong: Shot, again: Shot) -> Row:
    """Send what was read at the second look, in place of the wrong reading."""
    reading = _wire(sent, again) | {
        "replaces": reading_key(sent, wrong),
        "reason": "read again, half an inch had been misread",
    }
    return dict(client.post(sent.readings_path, {"readings": [reading]}).body)


def note_pulls(client: Client, sent: Sent, layout: Row) -> Row:
    """Send what was measured of straps' tensions as a phone sends entries; return how many were new, and known."""
    straps = {each["code"]: each["id"] for each in layout["straps"]}
    entries = [
        {
            "id": str(uuid.uuid5(uuid.UUID(sent.survey["id"]), f"strap {pull.strap}")),
            "kind": "strap",
            "sequence": number,
            "noted_at": sent.survey["started_at"],
            "body": {"strap": straps[pull.strap], "grade": "ok", **found(sent.home, pull)},
        }
        for number, pull in enumerate(sent.home.pulls, start=1)
    ]
    results = client.post("sync/", {"device": DEVICE, "entries": entries}).body["results"]
    return {state: sum(each["state"] == state for each in results) for state in ("taken", "repeated")}


def hand_in(client: Client, sent: Sent) -> Reply:
    """Hand the survey in and ask for its calculations; return the answer with the address of the first of them.

    Handing in asks for them by itself. Asking again gives the same ones, and where they are.
    """
    client.post(f"surveys/{sent.survey['id']}/submit/")
    return client.post(f"surveys/{sent.survey['id']}/calculations/")


def reading_key(sent: Sent, shot: Shot) -> str:
    """Return the lasting UUID of a reading, the same in every run on the same survey."""
    return str(uuid.uuid5(uuid.UUID(sent.survey["id"]), shot.key))


def _wire(sent: Sent, shot: Shot) -> Row:
    started_at = datetime.datetime.fromisoformat(sent.survey["started_at"])
    return {
        "id": reading_key(sent, shot),
        "setup": sent.setups[shot.setup],
        "point": sent.points[shot.label],
        "shot": shot.shot,
        "round": shot.round,
        "value": shot.typed,
        "taken_at": (started_at + shot.sequence * BETWEEN_SHOTS).isoformat(),
        "sequence": shot.sequence,
        "device": DEVICE,
    }
