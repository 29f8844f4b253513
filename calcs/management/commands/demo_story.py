"""``manage.py demo_story``: enter the demo's homes over the API of a running service and tell what it answers."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.urls import reverse

from calcs.demo import people
from calcs.demo.answers import StuckError
from calcs.demo.cast import Cast, Teller
from calcs.demo.client import Client, RefusedError
from calcs.demo.office import link_for_owner
from calcs.demo.story import tell
from jobs.models import User
from jobs.views import demo_link


class Command(BaseCommand):
    help = "Enters the demo's homes over the API of a running service, waits for its worker, and tells the story."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--address", required=True, help="where the service answers: http://127.0.0.1:PORT")

    def handle(self, *, address: str, **options: Any) -> None:
        if not settings.DEMO:
            raise CommandError("this is not a demo: set DEMO=true on an instance that holds nobody's real data")
        users = people.seed()
        address = address.rstrip("/")
        try:
            office = Client(address, people.token_for(users[people.OFFICE], "demo, office desk"))
            crew = Client(address, people.token_for(users[people.LEAD], "demo, truck 2 phone"))
            manager = Client(address, people.token_for(users[people.MANAGER], "demo, manager's desk"))
        except ValueError as error:
            raise CommandError(str(error)) from None
        teller = Teller(write=self._write)
        try:
            survey = tell(Cast(office=office, crew=crew, manager=manager, teller=teller))
            shared = link_for_owner(office, survey["siting"])
        except (RefusedError, StuckError, OSError) as error:
            raise CommandError(f"the story stopped: {error}") from error
        finally:
            for client in (office, crew, manager):
                client.close()
        self._say_where(address, users, survey)
        self._write(f"What the home's owner sees, without signing in: {shared}")

    def _say_where(self, address: str, users: dict[str, User], survey: dict[str, Any]) -> None:
        """Say where the pages are, with a link for each role that signs in without a password."""
        page = reverse("survey", args=[survey["id"]])
        self._write(f"\nSee it at {address}{page}; sign in by one of these links (demo only, for a week):")
        for role, username in people.SIGN_IN_AS.items():
            self._write(f"  {role:<10}{address}{demo_link(users[username])}")

    def _write(self, text: str) -> None:
        self.stdout.write(text)
        self.stdout.flush()
