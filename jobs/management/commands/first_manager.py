"""``manage.py first_manager``: the company and its first manager, without a browser."""

import getpass
import os
import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from jobs import accounts
from jobs.account_forms import StartForm
from jobs.errors import DomainError
from jobs.models import Company

ASKED = {
    "company": "company",
    "time_zone": "time zone, such as America/Chicago",
    "first_name": "first name",
    "last_name": "last name (may be empty)",
    "email": "e-mail",
    "username": "name to sign in with",
}
PASSWORD_VARIABLE = "FIRST_MANAGER_PASSWORD"  # noqa: S105 - a variable's name


class Command(BaseCommand):
    help = (
        "Make the company and its first manager, once. What is not given is asked for; the password comes from "
        f"{PASSWORD_VARIABLE}, from standard input, or is asked for."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        """Take what the page asks for, but the password: command lines are seen by others."""
        for name, words in ASKED.items():
            parser.add_argument(f"--{name.replace('_', '-')}", help=words)

    def handle(self, **options: Any) -> None:
        """Make both by the rules of the page."""
        if not accounts.is_fresh():
            raise CommandError("This service has its company and its manager already.")
        asks = sys.stdin.isatty()
        typed = {name: self._value(name, words, options, asks=asks) for name, words in ASKED.items()}
        password = _password(asks=asks)
        form = StartForm({**typed, "code": accounts.start_code(), "password1": password, "password2": password})
        if not form.is_valid():
            told = {name: " ".join(str(one) for one in errors) for name, errors in form.errors.items()}
            raise CommandError("\n".join(f"{name}: {words}" for name, words in told.items()))
        company = Company(name=typed["company"], letterhead=typed["company"], time_zone=typed["time_zone"])
        try:
            manager = accounts.start(company=company, manager=form.person())
        except DomainError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{company} is set up; {manager.username} signs in as its manager.")

    def _value(self, name: str, words: str, options: dict[str, Any], *, asks: bool) -> str:
        given = options.get(name)
        return given if given is not None else input(f"{words}: ") if asks else ""


def _password(*, asks: bool) -> str:
    if PASSWORD_VARIABLE in os.environ:
        return os.environ[PASSWORD_VARIABLE]
    if not asks:
        return sys.stdin.readline().rstrip("\n")
    password = getpass.getpass("password: ")
    if getpass.getpass("password again: ") != password:
        raise CommandError("The two passwords differ.")
    return password
