"""``manage.py soak_load``: the clients of a soak test; started by ``manage.py soak``, on its scratch instance."""

import json
import threading
import time
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import OperationalError, connection

from calcs.demo import people
from calcs.demo.client import Client
from calcs.soak.compare import compare, wait_until_at_rest
from calcs.soak.ledger import Ledger
from calcs.soak.load import GaveUpError, Phone, new_phone
from jobs.models import Home

DRAIN_S = 90.0
REST_S = 120.0


class Command(BaseCommand):
    help = "The clients of a soak test, and its comparison; `manage.py soak` starts this."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take where to send, how long, and where to write."""
        parser.add_argument("--address", required=True)
        parser.add_argument("--clients", type=int, required=True)
        parser.add_argument("--seconds", type=float, required=True)
        parser.add_argument("--seed", type=int, required=True)
        parser.add_argument("--started", type=Path, required=True, help="made once the load begins")
        parser.add_argument("--report", type=Path, required=True, help="written at the end")

    def handle(
        self, *, address: str, clients: int, seconds: float, seed: int, started: Path, report: Path, **options: Any
    ) -> None:
        """Send, come to rest, compare, write the report."""
        if Home.objects.exists():
            raise CommandError("There are homes here already: a soak test runs on an instance of its own.")
        phones = self._phones(address, clients=clients, seconds=seconds, seed=seed)
        connection.close()
        started.touch()
        ledger, gave_up = _send(phones, until=time.monotonic() + seconds)
        ledger.refused += gave_up
        rested = _patiently(lambda: wait_until_at_rest(REST_S))
        told = compare(ledger)
        if not rested:
            told["off"].append(f"calculations did not come to rest within {REST_S:.0f} s")
        report.write_text(json.dumps(told))

    def _phones(self, address: str, *, clients: int, seconds: float, seed: int) -> list[Phone]:
        users = people.seed()
        desk = Client(address, people.token_for(users[people.OFFICE], "soak test, office desk"))
        last_try_at = time.monotonic() + seconds + DRAIN_S
        try:
            return [
                new_phone(
                    address=address,
                    number=number,
                    seed=seed,
                    desk=desk,
                    token=people.token_for(users[people.LEAD], f"phone {number}"),
                    lead=people.LEAD,
                    last_try_at=last_try_at,
                )
                for number in range(1, clients + 1)
            ]
        finally:
            desk.close()


def _send(phones: list[Phone], *, until: float) -> tuple[Ledger, list[str]]:
    """Let all phones work side by side; return what they sent, and who had to give up."""
    gave_up: list[str] = []

    def work(phone: Phone) -> None:
        try:
            phone.work_until(until)
        except GaveUpError as error:
            gave_up.append(f"{phone.name}: {error}")
        except Exception as error:  # a thread's own fault must be seen in the table
            gave_up.append(f"{phone.name} broke: {error!r}")

    threads = [threading.Thread(target=work, args=(phone,)) for phone in phones]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    ledger = Ledger()
    for phone in phones:
        ledger.add(phone.ledger)
    return ledger, gave_up


def _patiently(look: Any) -> Any:
    """Look at the database, which may still be starting again after its last kill."""
    until = time.monotonic() + DRAIN_S
    while True:
        try:
            return look()
        except OperationalError:
            connection.close()
            if time.monotonic() > until:
                raise
            time.sleep(0.5)
