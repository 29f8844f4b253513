"""The crew's part of the demo: a survey with its setups and readings, sent as a phone sends them.

A phone names its rows itself, before it has signal. The names here are the same in every run, so sending all of it
again is harmless, and the service says how much of it is new.
"""

import datetime
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from calcs.demo.client import Client, RefusedError
from calcs.demo.crew import Shot
from calcs.demo.scenario import Home

Row = dict[str, Any]
NAMESPACE = uuid.UUID("6f1d2c1e-5f0b-4a55-9d0e-7a3f5f0c2b91")
BETWEEN_SHOTS = datetime.timedelta(seconds=70)
DEVICE = "truck 2 phone"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A survey on the service: its row, and the keys of its setups and of the home's points by what people say."""

    home: Home
    survey: Row
    setups: Mapping[str, str]
    points: Mapping[str, str]

    @property
    def readings_path(self) -> str:
        """Where its readings go."""
        return f"surveys/{self.survey['id']}/readings/"


def key_of(home: Home, *words: str) -> str:
    """Return the lasting UUID of something that the phone makes at a home."""
    return str(uuid.uuid5(NAMESPACE, "/".join((home.code, *words))))


def open_survey(client: Client, home: Home, layout: Row) -> Sent:
    """Make the survey and its setups, or find them."""
    body = {**home.survey, "id": key_of(home, "survey"), "siting": layout["siting"]}
    survey = _made(client, "surveys/", body)
    setups = {}
    for place in home.setups:
        trial = "grew" if place.sense == "up" else "shrank"
        setup = {"id": key_of(home, place.code), "survey": survey["id"], "code": place.code, "device": DEVICE}
        setups[place.code] = _made(client, "setups/", {**setup, "sense": place.sense, "sense_trial": trial})["id"]
    points = {each["label"]: each["id"] for each in layout["points"]}
    return Sent(home=home, survey=survey, setups=setups, points=points)


def _made(client: Client, path: str, body: Row) -> Row:
    try:
        found: Row = client.get(f"{path}{body['id']}/")
    except RefusedError as refused:
        if refused.status != HTTPStatus.NOT_FOUND:
            raise
        found = client.post(path, body).body
    return found


def send(client: Client, sent: Sent, shots: Iterable[Shot]) -> Row:
    """Send readings in one go; return the service's count of what is new and what it had already."""
    return dict(client.post(sent.readings_path, {"readings": [_wire(sent, shot) for shot in shots]}).body)


def correct(client: Client, sent: Sent, wrong: Shot, again: Shot) -> Row:
    """Send what was read at the second look, in place of the wrong reading."""
    reading = _wire(sent, again) | {
        "replaces": reading_key(sent, wrong),
        "reason": "read again, half an inch had been misread",
    }
    return dict(client.post(sent.readings_path, {"readings": [reading]}).body)


def submit(client: Client, sent: Sent) -> int:
    """Hand the survey in; return the status of the answer."""
    return client.post(f"surveys/{sent.survey['id']}/submit/").status


def reading_key(sent: Sent, shot: Shot) -> str:
    """Return the UUID of a reading."""
    return key_of(sent.home, shot.key)


def _wire(sent: Sent, shot: Shot) -> Row:
    started_at = datetime.datetime.fromisoformat(sent.home.survey["started_at"])
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
