"""What the commands of the demo share: only a demo is told to, and trouble is one line."""

import contextlib
from abc import abstractmethod
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from calcs.demo import people
from calcs.demo.answers import StuckError
from calcs.demo.cast import Cast, Teller
from calcs.demo.client import Client, RefusedError
from jobs.errors import DomainError


class DemoCommand(BaseCommand):
    """A command that speaks to a running demo as its people do."""

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the address of the service."""
        parser.add_argument("--address", required=True, help="where the service answers: http://127.0.0.1:PORT")

    def handle(self, *, address: str, **options: Any) -> None:
        """Make the people if they are not there, and act."""
        if not settings.DEMO:
            raise CommandError("this is not a demo: set DEMO=true on an instance that holds nobody's real data")
        address = address.rstrip("/")
        with contextlib.ExitStack() as ends:
            cast = self._cast(address, ends)
            try:
                self.act(cast, address)
            except (RefusedError, StuckError, DomainError, OSError) as error:
                raise CommandError(f"the story stopped: {error}") from error

    def _cast(self, address: str, ends: contextlib.ExitStack) -> Cast:
        users = people.seed()
        names = {"office": people.OFFICE, "crew": people.LEAD, "manager": people.MANAGER}
        try:
            tokens = {part: people.token_for(users[name], f"demo, {part}") for part, name in names.items()}
            clients = {part: Client(address, token) for part, token in tokens.items()}
        except ValueError as error:
            raise CommandError(str(error)) from None
        for client in clients.values():
            ends.callback(client.close)
        return Cast(**clients, teller=Teller(write=self.write))

    @abstractmethod
    def act(self, cast: Cast, address: str) -> None:
        """Do what the command is for."""

    def write(self, text: str) -> None:
        """Write a line at once."""
        self.stdout.write(text)
        self.stdout.flush()
