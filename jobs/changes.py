"""Who made a change: the database's triggers are told the person of a request, or the program that did it."""

from typing import Any

import pghistory
from django.http import HttpRequest, HttpResponse
from pghistory.middleware import HistoryMiddleware

from jobs.project.logs import safe_path


class ChangesMiddleware(HistoryMiddleware):
    """Leaves out batches of readings: those are never changed, so nothing of them is tracked, and they hurry."""

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Answer the request with its person and address known to the triggers."""
        if request.path.endswith("/readings/"):
            answer: HttpResponse = self.get_response(request)
        else:
            answer = super().__call__(request)  # type: ignore[no-untyped-call]  # the library's own gap
        return answer

    def get_context(self, request: HttpRequest) -> dict[str, Any]:
        """Leave secrets in addresses, of invitations say, out of what is kept for ever."""
        known: dict[str, Any] = super().get_context(request)
        return known | {"url": safe_path(request.path)}


def changed_by(program: str) -> pghistory.context:
    """Name the program that makes changes, where no person's request does, for as long as the context lasts."""
    return pghistory.context(by=program)
