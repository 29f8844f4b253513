"""A small client of the service's API, on the standard library: what any phone or script would do."""

import http.client
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode, urlsplit

TIMEOUT_S = 60.0
API = "/api/v1/"
MOST_NAMED = 3


class RefusedError(Exception):
    """The service said no, in its one error shape."""

    def __init__(self, status: int, code: str, message: str, fields: Mapping[str, Any]) -> None:
        named = [f"{name}: {text}" for name, text in fields.items()]
        more = [f"and {len(named) - MOST_NAMED} more"] if len(named) > MOST_NAMED else []
        told = "; ".join(named[:MOST_NAMED] + more)
        super().__init__(f"{status} {code}: {message}" + (f" ({told})" if told else ""))
        self.status = status
        self.code = code
        self.fields = dict(fields)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What came back: the status, the body and, of an accepted task, where its answer will be."""

    status: int
    body: Any
    location: str | None


class Client:
    """Speaks to the service at ``address`` for the person whose device token it holds."""

    def __init__(self, address: str, token: str) -> None:
        where = urlsplit(address)
        if where.scheme != "http" or not where.hostname:
            raise ValueError(f"address: {address!r} is not allowed; give one such as http://127.0.0.1:8000")
        self._connection = http.client.HTTPConnection(where.hostname, where.port or 80, timeout=TIMEOUT_S)
        self._headers = {
            "Authorization": f"Bearer {token}",
            "Content-Type": "application/json",
            "Accept": "application/json",
        }

    def close(self) -> None:
        """Hang up."""
        self._connection.close()

    def send(self, method: str, path: str, body: object = None, *, only_version: int | None = None) -> Reply:
        """Send one request to ``path`` below the API and return the reply; a refusal raises.

        With ``only_version`` it is done only while the row is still at that version.
        """
        target = path if path.startswith("/") else API + path
        data = None if body is None else json.dumps(body).encode()
        condition = {} if only_version is None else {"If-Match": f'"{only_version}"'}
        response = self._exchange(method, target, data, self._headers | condition)
        answer = _parsed(response.read())
        if response.status >= http.client.BAD_REQUEST:
            raise _refusal(response.status, answer)
        return Reply(status=response.status, body=answer, location=response.getheader("Location"))

    def _exchange(
        self, method: str, target: str, data: bytes | None, headers: Mapping[str, str]
    ) -> http.client.HTTPResponse:
        try:
            self._connection.request(method, target, data, headers)
            return self._connection.getresponse()
        except (http.client.RemoteDisconnected, BrokenPipeError, ConnectionResetError):
            # The server closed a connection that had been idle. Every request of the demo may be sent twice.
            self._connection.close()
            self._connection.request(method, target, data, headers)
            return self._connection.getresponse()

    def get(self, path: str, **query: str) -> Any:
        """Return one resource."""
        return self.send("GET", f"{path}?{urlencode(query)}" if query else path).body

    def all(self, path: str, **query: str) -> list[dict[str, Any]]:
        """Return every row of a list, page after page."""
        page = self.get(path, **query)
        rows = list(page["results"])
        while page["next"]:
            where = urlsplit(page["next"])
            page = self.get(f"{where.path}?{where.query}")
            rows += page["results"]
        return rows

    def only(self, path: str, body: object, **query: str) -> dict[str, Any]:
        """Return the oldest row that ``query`` finds, or the one that ``body`` makes where it finds none."""
        found = self.all(path, **query)
        return found[-1] if found else dict(self.post(path, body).body)

    def send_file(self, kind: str, text: bytes) -> dict[str, Any]:
        """Bring a file in, checked first; return what it changed."""
        headers = self._headers | {"Content-Type": "text/csv"}
        checked = self._parsed_file(f"{API}imports/{kind}/", text, headers)
        query = urlencode({"dry_run": "false", "sha256": checked["sha256"]})
        return self._parsed_file(f"{API}imports/{kind}/?{query}", text, headers)

    def _parsed_file(self, target: str, text: bytes, headers: Mapping[str, str]) -> dict[str, Any]:
        response = self._exchange("POST", target, text, headers)
        answer = _parsed(response.read())
        if response.status >= http.client.BAD_REQUEST:
            raise _refusal(response.status, answer)
        if answer["problems"]:
            first = answer["problems"][0]
            fields = {f"line {first['line']} {first['column']}": first["message"]}
            raise RefusedError(response.status, "problems", "The file can't come in.", fields)
        return dict(answer)

    def post(self, path: str, body: object = None) -> Reply:
        """Create something, or ask for something to be done."""
        return self.send("POST", path, {} if body is None else body)

    def patch(self, path: str, body: object, *, only_version: int) -> Any:
        """Change some fields of one resource, if nobody else has since that version; return it as it then is."""
        return self.send("PATCH", path, body, only_version=only_version).body


def _parsed(text: bytes) -> Any:
    try:
        return json.loads(text) if text else None
    except ValueError:
        return {"code": "not_json", "message": text[:200].decode("utf-8", "replace"), "fields": {}}


def _refusal(status: int, answer: Any) -> RefusedError:
    told = answer if isinstance(answer, dict) else {}
    return RefusedError(status, told.get("code", "error"), told.get("message", ""), told.get("fields") or {})
