"""A service on a bad day: what befalls the parcels of phones on their way in and out, as planned by a test.

It stands around the real view, in the real server, so that browsers meet it over HTTP as they would a proxy, a
restart or a broken line.
"""

import json
import threading
import time
from collections import defaultdict, deque
from collections.abc import Callable
from typing import Any

import pytest
from django.http import HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.test import Client
from rest_framework.request import Request

from calcs.api.sync.views import SyncViewSet
from jobs.models import User
from tests.surveys.field.wire import Wire

SLOW_S = 0.15
DEAF_S = 0.25
STRAY = {"X-Stray": "1"}  # with a request that comes in late: nothing more befalls it
FAULTS = (
    "never came",  # the request was lost on its way
    "reply lost",  # it was taken, and the phone never learns of it
    "reply cut",  # it was taken, and half of the answer comes
    "twice",  # it came twice at once
    "late",  # lost, and then it comes all the same, when nobody waits for it any more
    "slow",
    "busy",  # 429 with Retry-After
    "down",  # 503 from what stands before the service
    "portal",  # 200, from something else
    "too large",  # 413
    "token",  # 403: the token has changed
    "signed out",  # 401
)


class BadService:
    """What befalls each phone's parcels, in turn; without a plan they are taken as ever."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.planned: dict[str, deque[str]] = defaultdict(deque)
        self.late: list[tuple[User, bytes]] = []
        self.met: list[str] = []
        self.sizes: list[int] = []  # of the parcels that came
        self.most_at_once = 0
        self._at_once = 0
        self.wires: dict[str, Wire] = {}
        self._take = SyncViewSet.create
        self._lock = threading.Lock()

        def create(view: Any, request: Request) -> HttpResponseBase:
            return self._create(view, request)

        monkeypatch.setattr(SyncViewSet, "create", create)

    def plan(self, device: str, fault: str) -> None:
        """Have this befall the next parcel of a phone that has nothing planned before it."""
        self.planned[device].append(fault)

    def get_well(self) -> None:
        """Plan no more."""
        self.planned.clear()

    def bring_late(self) -> None:
        """Have what was lost on its way come in after all."""
        late, self.late = self.late, []
        for sender, body in late:
            client = Client()
            client.force_login(sender)
            answer = client.post("/api/v1/sync/", body, content_type="application/json", headers=STRAY)
            assert answer.status_code == 200, answer.content

    def _create(self, view: Any, request: Request) -> HttpResponseBase:
        if STRAY.keys() <= request.headers.keys():
            return self._take(view, request)
        body = request._request.body
        parcel = json.loads(body)
        with self._lock:
            planned = self.planned[parcel["device"]]
            fault = planned.popleft() if planned else ""
            self.met += [fault] if fault else []
            self.sizes.append(len(parcel["entries"]))
            self._at_once += 1
            self.most_at_once = max(self.most_at_once, self._at_once)
        if fault == "late" and isinstance(request.user, User):
            self.late.append((request.user, body))
        try:
            return self._answer(fault, parcel, lambda: self._take(view, request))
        finally:
            self._at_once -= 1

    def _answer(self, fault: str, parcel: dict[str, Any], take: Callable[[], HttpResponse]) -> HttpResponseBase:
        if fault in REFUSALS and (len(parcel["entries"]) > 1 or fault != "too large"):
            return REFUSALS[fault]()
        if fault in ("never came", "late", "reply lost"):
            self._hang_up(parcel["device"])
        if fault in ("never came", "late"):
            return HttpResponse(status=503)  # which nobody hears
        if fault == "slow":
            time.sleep(SLOW_S)
        answer = take()
        if fault == "reply cut":
            half = answer.content[: len(answer.content) // 2]
            return StreamingHttpResponse([half], content_type="application/json")
        return take() if fault == "twice" else answer

    def _hang_up(self, device: str) -> None:
        """Have the line break before anything goes back to the phone."""
        wire = self.wires[device]
        wire.loses_replies = True
        threading.Timer(DEAF_S, setattr, (wire, "loses_replies", False)).start()


def refused(status: int, code: str, headers: dict[str, str] | None = None) -> HttpResponse:
    """Answer in the shape of the API's errors."""
    body = json.dumps({"code": code, "message": f"planned: {code}", "fields": {}})
    return HttpResponse(body, status=status, content_type="application/json", headers=headers)


REFUSALS: dict[str, Callable[[], HttpResponse]] = {
    "busy": lambda: refused(429, "throttled", {"Retry-After": "1"}),
    "busy for long": lambda: refused(429, "throttled", {"Retry-After": "3000"}),
    "down": lambda: HttpResponse("<h1>Bad gateway</h1>", status=503),
    "portal": lambda: HttpResponse("<h1>Welcome to our network</h1>"),
    "too large": lambda: refused(413, "too_large"),
    "token": lambda: refused(403, "permission_denied"),
    "signed out": lambda: refused(401, "not_authenticated"),
}
