"""How many requests a minute one device, person or stranger may make, counted where all processes see it: the broker.

A request over the limit is answered 429 before anything of it is read; its sender keeps it and sends it again after
``Retry-After`` seconds. Counting is a courtesy among clients, not a lock: with the broker gone nothing is counted,
and nothing is refused, failed or held up.
"""

import logging
import math
import time
from functools import cache
from typing import TYPE_CHECKING

import redis
from django.conf import settings
from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from jobs.models import DeviceToken

if TYPE_CHECKING:
    from rest_framework.views import APIView  # it reads the settings, which name the classes below

log = logging.getLogger(__name__)

WINDOW_S = 60
PATIENCE_S = 0.25  # how long the broker may take
REST_S = 10.0  # how long it is left alone after it took longer, or was gone


@cache
def _client(address: str) -> redis.Redis:
    """Return the broker's client; Celery writes the address of a socket in its own way."""
    address = address.replace("redis+socket://", "unix://").replace("?virtual_host=", "?db=")
    return redis.Redis.from_url(address, socket_timeout=PATIENCE_S, socket_connect_timeout=PATIENCE_S)


class _Rest:
    """Until when the broker is left alone, in this process."""

    until = 0.0


def seconds_to_wait(scope: str, who: str) -> int | None:
    """Count a request; return how long to wait when it is one too many in this minute, None when it may go on."""
    now = time.time()
    if now < _Rest.until:
        return None
    key = f"{settings.CELERY_TASK_DEFAULT_QUEUE}:requests:{scope}:{who}:{int(now // WINDOW_S)}"
    try:
        with _client(settings.CELERY_BROKER_URL).pipeline(transaction=False) as ask:
            ask.incr(key)
            ask.expire(key, 2 * WINDOW_S)
            count, _ = ask.execute()
    except (redis.RedisError, OSError) as error:
        _Rest.until = now + REST_S
        log.warning("requests are not counted: %s", error)
        return None
    if count <= settings.REQUESTS_A_MINUTE[scope]:
        return None
    return max(1, math.ceil(WINDOW_S - now % WINDOW_S))


class Requests(BaseThrottle):
    """Slows down a device or a person that asks too often, and strangers much sooner."""

    scope = "person"

    def __init__(self) -> None:
        self.wait_s: int | None = None

    def allow_request(self, request: Request, view: "APIView") -> bool:
        """Count the request."""
        scope, who = self.scope, str(getattr(request.user, "pk", None))
        if isinstance(request.auth, DeviceToken):
            who = str(request.auth.pk)
        elif not request.user.is_authenticated:
            scope, who = "stranger", str(self.get_ident(request))
        self.wait_s = seconds_to_wait(scope, who)
        return self.wait_s is None

    def wait(self) -> float | None:
        """Return the seconds until the next minute begins."""
        return self.wait_s


class SyncRequests(Requests):
    """Slows down a phone that sends too often. One request takes 2,000 entries: a week's outbox in one or two."""

    scope = "sync"


class UploadRequests(Requests):
    """Slows down a phone that sends photos too fast, counted apart, so that entries never wait for them."""

    scope = "upload"
