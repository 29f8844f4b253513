"""``manage.py start_code``: what the first page of a new instance asks for."""

from typing import Any

from django.core.management.base import BaseCommand
from django.urls import reverse

from jobs import accounts


class Command(BaseCommand):
    help = "Print the code that the first page of a new instance asks for."

    def handle(self, **options: Any) -> None:
        """Print the code and nothing else, so that scripts can use it; what it is for goes to standard error."""
        if not accounts.is_fresh():
            self.stderr.write("This service has its company and its manager already; the code opens nothing more.")
            return
        self.stderr.write(f"Open {reverse('start')} and give this code:")
        self.stdout.write(accounts.start_code())
