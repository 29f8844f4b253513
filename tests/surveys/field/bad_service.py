"""A service on a bad day: what befalls the parcels of phones on their way in and out, as planned by a test.

It stands around the real view, in the real server, so that browsers meet it over HTTP as they would a proxy, a restart
or a broken line.
"""

import json
import threading
import time
from collections import defaultdict, deque
from typing import Any

import pytest
from django.http import HttpResponse
from django.test import Client
from rest_framework.request import Request

from calcs.api.sync.views import SyncViewSet
from jobs.models import User

SLOW_S = 0.15
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
        self._take = SyncViewSet.create
        self._lock = threading.Lock()
        service = self
        monkeypatch.setattr(SyncViewSet, "create", lambda view, request: service._create(view, request))

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
            answer = client.post("/api/v1/sync/", body, content_type="application/json")
            assert answer.status_code == 200, answer.content

    def _create(self, view: Any, request: Request) -> HttpResponse:
        body = request._request.body
        with self._lock:
            planned = self.planned[json.loads(body)["device"]]
            fault = planned.popleft() if planned else ""
            if fault:
                self.met.append(fault)
        if fault == "late" and isinstance(request.user, User):
            self.late.append((request.user, body))
        return self._answer(fault, lambda: self._take(view, request), len(json.loads(body)["entries"]))

    def _answer(self, fault: str, take: Any, count: int) -> HttpResponse:
        match fault:
            case "never came" | "late":
                return broken(b"")
            case "reply lost":
                take()
                return broken(b"")
            case "reply cut":
                whole = take().content
                return broken(whole[: len(whole) // 2])
            case "twice":
                take()
            case "slow":
                time.sleep(SLOW_S)
            case "busy":
                return refused(429, "throttled", {"Retry-After": "1"})
            case "down":
                return HttpResponse("<h1>Bad gateway</h1>", status=503)
            case "portal":
                return HttpResponse("<h1>Welcome to our network</h1>")
            case "too large" if count > 1:
                return refused(413, "too_large")
            case "token":
                return refused(403, "permission_denied")
            case "signed out":
                return refused(401, "not_authenticated")
        answer: HttpResponse = take()
        return answer


def refused(status: int, code: str, headers: dict[str, str] | None = None) -> HttpResponse:
    """Answer in the shape of the API's errors."""
    body = json.dumps({"code": code, "message": f"planned: {code}", "fields": {}})
    return HttpResponse(body, status=status, content_type="application/json", headers=headers)


def broken(begun: bytes) -> HttpResponse:
    """Answer with a beginning, and hang up where more was promised."""
    promised = {"Content-Length": str(len(begun) + 1000), "Connection": "close"}
    return HttpResponse(begun, content_type="application/json", headers=promised)
