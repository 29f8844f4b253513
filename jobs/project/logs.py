"""What the processes log: a line a record, with ids that join a request to its tasks, and nothing that people typed.

Exceptions are told by type and place. While a request or a task is served, JSON leaves their words out, because they
may quote what somebody sent; only those of lost connections, which the operator needs, are kept.
"""

import json
import logging
import re
import traceback
import uuid
from collections.abc import Callable, Iterator
from contextvars import ContextVar
from datetime import UTC, datetime
from http import HTTPStatus
from time import perf_counter
from typing import Any
from urllib.parse import unquote

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase

request_id: ContextVar[str] = ContextVar("request_id", default="")
task_id: ContextVar[str] = ContextVar("task_id", default="")
current_request: ContextVar[HttpRequest | None] = ContextVar("current_request", default=None)

ID_HEADER = "X-Request-ID"
_IN_META = "releveling.request_id"
_WELL_FORMED = re.compile(r"[A-Za-z0-9._-]{8,64}")
_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)
_KNOWN_WORD = re.compile(r"[a-z0-9_-]{1,24}(\.[a-z]{2,4})?")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]")

logger = logging.getLogger("requests")


class RequestIds:
    """Gives every request an id, which its answer, its log lines and its tasks carry; logs each answer at INFO."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer the request under its id: the proxy's own, where there is one that is trusted, or a new one."""
        key = _id_of(request)
        request.META[_IN_META] = key  # for Django's own lines, some of which come when this has ended
        tokens = (request_id.set(key), current_request.set(request))
        began = perf_counter()
        try:
            answer = self.get_response(request)
            answer.headers[ID_HEADER] = key
            if logger.isEnabledFor(logging.INFO):
                took_ms = round((perf_counter() - began) * 1000, 1)
                facts = {"method": request.method, "status": answer.status_code, "took_ms": took_ms}
                logger.info("%s %d", request.method, answer.status_code, extra={"facts": facts})
            return answer
        finally:
            request_id.reset(tokens[0])
            current_request.reset(tokens[1])


def _id_of(request: HttpRequest) -> str:
    sent = request.META.get("HTTP_X_REQUEST_ID", "") if settings.BEHIND_PROXY else ""
    return sent if _WELL_FORMED.fullmatch(sent) else uuid.uuid4().hex


def safe_path(path: str) -> str:
    """Return a path with its words and keys; whatever else stands in it, secrets of links above all, is left out."""
    return "/".join(part if _is_plain(part) else "..." for part in path.split("/"))


def _is_plain(part: str) -> bool:
    return not part or bool(_UUID.fullmatch(part) or _KNOWN_WORD.fullmatch(part))


# -- one record ---------------------------------------------------------------------------------------------------


def facts_of(record: logging.LogRecord) -> dict[str, Any]:
    """Return what a line says, in order; ids that are not known are left out."""
    of_record = getattr(record, "request", None)
    request = current_request.get() or (of_record if isinstance(of_record, HttpRequest) else None)
    known = {
        "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
        "level": record.levelname,
        "logger": record.name,
        "message": one_line(_message(record)),
        "request_id": request_id.get() or (request.META.get(_IN_META, "") if request else ""),
        "task_id": task_id.get(),
        "user": _user_key(request),
        "path": safe_path(unquote(request.path)) if request else "",
        **getattr(record, "facts", {}),
    }
    return {name: value for name, value in known.items() if value != ""}


def one_line(text: str) -> str:
    """Return text whose control characters are written out, so that no text can begin a line of its own."""
    return _CONTROL.sub(lambda found: found[0].encode("unicode_escape").decode(), text)


def _message(record: logging.LogRecord) -> str:
    """Return the message; where a library would put what a client sent into it, the bare facts instead."""
    if record.name.startswith("django.security."):
        return record.name.rpartition(".")[2]
    status = getattr(record, "status_code", None)
    if record.name.startswith("django.") and isinstance(status, int):
        return f"{status} {HTTPStatus(status).phrase}"
    if record.name == "gunicorn.error" and (record.exc_info or str(record.msg).startswith("Invalid request")):
        return str(record.msg).partition("%")[0].partition(":")[0].strip()  # what follows quotes the request
    data = getattr(record, "data", None)
    if record.name == "celery.app.trace" and isinstance(data, dict):
        took_s = data.get("runtime")
        ended = data.get("description", "ended") if took_s is None else f"succeeded in {took_s:.3f} s"
        return f"task {data.get('name')} {ended}"
    return record.getMessage()


def _user_key(request: HttpRequest | None) -> str:
    """Return the key of the person, if the request has found out by now; a log line must ask no database."""
    known = request.__dict__ if request else {}
    user = known.get("_cached_user") or known.get("user")
    key = None if user is None or "_setupfunc" in getattr(user, "__dict__", {}) else getattr(user, "pk", None)
    return str(key or "")


# -- exceptions ---------------------------------------------------------------------------------------------------


def told(error: BaseException | None, *, in_words: bool) -> Iterator[dict[str, Any]]:
    """Tell an exception and what it came from: type, where, and its words if no client can have written them."""
    while error is not None:
        frames = traceback.extract_tb(error.__traceback__)
        diagnosis = getattr(error, "diag", None)
        known = {
            "type": f"{type(error).__module__}.{type(error).__qualname__}".removeprefix("builtins."),
            "words": one_line(str(error)) if in_words or _is_of_connections(error) else "",
            "sqlstate": getattr(diagnosis, "sqlstate", None) or "",
            "constraint": getattr(diagnosis, "constraint_name", None) or "",
            "at": [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames],
        }
        yield {name: value for name, value in known.items() if value}
        error = error.__cause__ or (None if error.__suppress_context__ else error.__context__)


def _is_of_connections(error: BaseException) -> bool:
    return isinstance(error, OSError) or type(error).__name__ in {"OperationalError", "InterfaceError"}


class JsonFormatter(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        """Write a record."""
        facts = facts_of(record)
        if record.exc_info:
            serves = current_request.get() or task_id.get() or "handling" in str(record.msg)
            facts["exceptions"] = list(told(record.exc_info[1], in_words=not serves))
        return json.dumps(facts, default=str)


class LineFormatter(logging.Formatter):
    """A line to read on a terminal; exceptions follow in full, each line of them set in."""

    def format(self, record: logging.LogRecord) -> str:
        """Write a record."""
        facts = facts_of(record)
        head = " ".join(str(facts.pop(name)) for name in ("time", "level", "logger"))
        line = f"{head}: {facts.pop('message')}"
        ids = " ".join(f"{name}={one_line(str(value))}" for name, value in facts.items())
        trace = self.formatException(record.exc_info) if record.exc_info else ""
        return "\n    ".join([f"{line} [{ids}]" if ids else line, *map(one_line, trace.splitlines())])


def configuration(*, level: str, shape: str) -> dict[str, Any]:
    """Return the logging configuration: everything to standard error, where whatever runs the process keeps it."""
    formatter = {"json": JsonFormatter, "line": LineFormatter}[shape]
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"one": {"()": f"{__name__}.{formatter.__name__}"}},
        "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "one"}},
        "root": {"handlers": ["stderr"], "level": level},
        # Django's own handlers write nothing here: its records, too, go to the one above.
        "loggers": {
            "django": {"handlers": [], "propagate": True},
            "django.server": {"handlers": [], "propagate": True},
        },
    }
