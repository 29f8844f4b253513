"""The browsers that are signed in: each a row with its person, so that it can be seen and ended from elsewhere."""

import datetime
import hashlib
from typing import Any
from uuid import UUID

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone

from jobs.models import BrowserSession, User

LAST_SEEN_EVERY = datetime.timedelta(minutes=1)
_BROWSER, _STARTED = "browser", "started_at"


class SessionStore(DatabaseStore):
    """Django's store in the database, in a table that also says whose browser it is and when it was last seen."""

    @classmethod
    def get_model_class(cls) -> type[BrowserSession]:
        """Return the table."""
        return BrowserSession

    def create_model_instance(self, data: dict[str, Any]) -> BrowserSession:
        """Return the row for a session's data."""
        row: BrowserSession = super().create_model_instance(data)  # type: ignore[assignment]  # of the table above
        row.user_id = UUID(data[SESSION_KEY]) if SESSION_KEY in data else None
        row.browser = data.get(_BROWSER, "")
        if _STARTED in data:
            row.started_at = datetime.datetime.fromisoformat(data[_STARTED])
        return row

    def _get_session_from_db(self) -> BrowserSession | None:
        """Return the row, and note that its browser was seen: one more statement, once a minute."""
        row: BrowserSession | None = super()._get_session_from_db()  # type: ignore[misc]  # the stubs leave it out
        now = timezone.now()
        if row is not None and row.user_id and row.last_seen_at < now - LAST_SEEN_EVERY:
            BrowserSession.objects.filter(pk=row.pk).update(last_seen_at=now)
        return row


def note_browser(sender: object, request: HttpRequest, **_: Any) -> None:
    """Keep with a session that has just signed in which browser it is and since when."""
    request.session[_BROWSER] = request.META.get("HTTP_USER_AGENT", "")[:200]
    request.session[_STARTED] = timezone.now().isoformat()


def sessions_of(user: User) -> QuerySet[BrowserSession]:
    """Return the browsers a person is signed in with, the one that was seen last first."""
    return BrowserSession.objects.filter(user=user, expire_date__gt=timezone.now()).order_by("-last_seen_at")


def name_of(session: BrowserSession) -> str:
    """Return what a session is called on pages: its key would let whoever reads it in."""
    return hashlib.sha256(session.session_key.encode()).hexdigest()[:32]


def end_session(*, user: User, name: str) -> bool:
    """End the one browser of a person that goes by ``name``; tell whether there was one."""
    keys = [session.pk for session in sessions_of(user) if name_of(session) == name]
    return bool(BrowserSession.objects.filter(pk__in=keys).delete()[0])


def end_other_sessions(*, user: User, current: str | None) -> int:
    """End all browsers of a person but the one that asks; return how many."""
    return BrowserSession.objects.filter(user=user).exclude(pk=current or "").delete()[0]
