"""``manage.py demo_story``: enter the demo's homes over the API of a running service and tell what it answers."""

from typing import Any

from django.urls import reverse

from calcs.demo import people
from calcs.demo.cast import Cast
from calcs.demo.command import DemoCommand
from calcs.demo.office import link_for_owner
from calcs.demo.story import tell
from jobs import calendar_feed
from jobs.models import User
from jobs.views import demo_link

PAGES = {"the week": "week", "who is due": "due", "all homes (manager)": "all-homes", "jobs": "jobs", "mail": "mails"}


class Command(DemoCommand):
    help = "Enters the demo's homes over the API of a running service, waits for its worker, and tells the story."

    def act(self, cast: Cast, address: str) -> None:
        """Tell the story, and where the pages are."""
        survey = tell(cast)
        shared = link_for_owner(cast.office, survey["siting"])
        users = {user.username: user for user in User.objects.all()}
        self._say_where(address, users, survey)
        self.write(f"What the home's owner sees, without signing in: {shared}")
        secret = calendar_feed.issue(users[people.LEAD])[1]
        feed = reverse("calendar", args=[secret])
        self.write(f"The crew lead's visits for a calendar program, until the next start: {address}{feed}")

    def _say_where(self, address: str, users: dict[str, User], survey: dict[str, Any]) -> None:
        """Say where the pages are, with a link for each role that signs in without a password."""
        page = reverse("survey", args=[survey["id"]])
        self.write(f"\nSee it at {address}{page}; sign in by one of these links (demo only, for a week):")
        for role, username in people.SIGN_IN_AS.items():
            self.write(f"  {role:<10}{username:<9}{address}{demo_link(users[username])}")
        self.write("Then: " + ", ".join(f"{words} {reverse(name)}" for words, name in PAGES.items()))
