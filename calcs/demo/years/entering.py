"""The books of earlier years brought in by file, as the manager would, and who owns the homes."""

import datetime
from collections.abc import Sequence
from typing import Any

from calcs.demo.client import Client
from calcs.demo.years.books import readings_of, records_of
from calcs.demo.years.homes import Past

Row = dict[str, Any]


def bring_in(client: Client, homes: Sequence[Past]) -> Row:
    """Bring in what homes are and who owns them; return how many of each thing were added."""
    counts: Row = {}
    for kind, text in records_of(homes).items():
        counts |= _added(client.send_file(kind, text))
    key_of = {row["code"]: row["id"] for row in client.all("homes/")}
    owner_of = {row["name"]: row["id"] for row in client.all("customers/")}
    known = {row["home"] for row in client.all("home-contacts/")}
    for home in homes:
        if key_of[home.code] not in known:
            client.post("home-contacts/", {"home": key_of[home.code], "customer": owner_of[home.owner]})
    return counts


def read_in(client: Client, homes: Sequence[Past], today: datetime.date) -> Row:
    """Bring in what was read at homes, unless some of it is there; return how many of each thing were added."""
    first = next(home for home in homes if home.trips)
    if client.get("surveys/", siting=siting_of(client, first))["results"]:
        return {}
    return _added(client.send_file("readings", readings_of(homes, today)))


def siting_of(client: Client, home: Past) -> str:
    """Return the key of where a home stands."""
    row = client.all("homes/", code=home.code)[0]
    return str(client.all("sitings/", home=row["id"])[0]["id"])


def _added(report: Row) -> Row:
    return {thing: count["added"] for thing, count in report["counts"].items()}
