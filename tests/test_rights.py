"""Every endpoint and page, with every method, as everybody: the answers are those of the table, and none is missing.

A person may do something when the answer isn't a refusal for who they are. Where a body is known that can be taken,
it must be taken; elsewhere an empty one is sent, and a word on what it lacks shows that the right was there.
"""

import re
from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

import pytest
from django.db import transaction
from django.test import Client, override_settings
from django.urls import URLPattern, URLResolver, get_resolver

from tests.rights_table import OUTSIDE, PEOPLE, TABLE, WHO
from tests.rights_world import BODIES, OF_THE_CUSTOMER, OF_THE_HOME, World, clients_of, make_world

METHODS = ("GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE")
OK, FORBIDDEN, HIDDEN, SIGNED_OUT, NO_METHOD = "ok", "forbidden", "hidden", "signed out", "no method"
REFUSED = frozenset({FORBIDDEN, HIDDEN})
# Said to somebody who has the right: what was sent is short of something, or another version is the newest.
ASKED = {HTTPStatus(code) for code in (400, 409, 412, 413, 415, 422, 428)}
SECRET_ROUTES = ("invitation/", "password/", "shared/", "demo/", "calendar/")


# -- the routes ------------------------------------------------------------------------------------------------------


def routes(resolver: URLResolver, before: str = "") -> Iterator[str]:
    """Walk all routes but the admin's, written with ``<name>`` for what is filled in."""
    for each in resolver.url_patterns:
        route = before + str(each.pattern)
        if isinstance(each, URLResolver):
            if route != "admin/":
                yield from routes(each, route)
        elif isinstance(each, URLPattern):
            yield plain(route)


def plain(route: str) -> str:
    """Write a route of either kind in one way."""
    route = re.sub(r"\(\?P<(\w+)>[^)]*\)", r"<\1>", route.replace("^", "").replace("$", ""))
    return re.sub(r"<\w+:(\w+)>", r"<\1>", route)


def test_every_route_has_its_line_and_every_line_a_route() -> None:
    found = list(routes(get_resolver()))
    lines = {re.sub(r"<(\w+)=[\w-]+>", r"<\1>", line) for line in TABLE}
    assert sorted(set(found) - lines) == [], "give these a line in tests/rights_table.py"
    assert sorted(lines - set(found)) == [], "these lines have no route any more"


# -- what the table says ---------------------------------------------------------------------------------------------


def rights_of(line: str) -> dict[str, tuple[frozenset[str], bool]]:
    """Read a line: by method who may, and whether only for homes that they see."""
    rights = {}
    for term in line.split(", "):
        method, who = term.split(" ")
        names = who.removesuffix("*").split("+")
        rights[method] = (frozenset().union(*(WHO[name] for name in names)), who.endswith("*"))
    if "GET" in rights:
        rights["HEAD"] = rights["GET"]
    return rights


def expected(route: str, method: str, who: str) -> frozenset[str]:
    """Return the answers that the table allows."""
    rights = rights_of(TABLE[route])
    is_api, is_open = route.startswith("api/"), route.startswith(SECRET_ROUTES)
    may_something = any(
        who in people and not (is_under and who == "other_crew") for people, is_under in rights.values()
    )
    if method not in rights:
        answers = {NO_METHOD}
        if who in OUTSIDE and not may_something:
            answers = {SIGNED_OUT} if is_api else {NO_METHOD, HIDDEN if is_open else SIGNED_OUT}
        elif not may_something:
            answers |= REFUSED
        if method == "OPTIONS" and is_api and who not in OUTSIDE:
            answers = {OK} if may_something else {OK, *REFUSED}
        elif route == "sign-out/" and method == "OPTIONS":  # says what it takes, to everybody
            answers = {OK}
        return frozenset(answers)
    people, is_under = rights[method]
    if who in people:
        return frozenset({HIDDEN if is_under and who == "other_crew" else OK})
    if is_open:
        return frozenset({HIDDEN})
    if who in OUTSIDE:
        return frozenset({SIGNED_OUT})
    sees = may_something and "GET" in rights and who in rights["GET"][0]
    return frozenset({FORBIDDEN}) if sees else REFUSED


# -- asking ----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def world(django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """Make everything once, for all routes; undone at the end."""
    files = str(tmp_path_factory.mktemp("files"))
    unlimited = dict.fromkeys(("person", "sync", "upload", "stranger", "link"), 10**6)
    with (
        django_db_blocker.unblock(),
        override_settings(MEDIA_ROOT=files, REQUESTS_A_MINUTE=unlimited),
        transaction.atomic(),
    ):
        made = make_world()
        made.clients.update(clients_of(made))
        yield made
        transaction.set_rollback(True)


# Routes whose key is not that of what their first part names.
NAMED_WITHIN = {"/invitations/": "invitations", "due/plan/": "route-plans"}


def address_of(route: str, who: str, world: World) -> str:
    """Fill a route in with what there is: the keys of things under the home, and secrets."""
    if who != "link_holder" and route.startswith("password/"):
        return world.secrets["password"]
    path = re.sub(r"<\w+=([\w-]+)>", r"\1", route)
    part = route.removeprefix("api/v1/").partition("/")[0]
    part = next((named for within, named in NAMED_WITHIN.items() if within in route), part)
    secret = world.secrets["link" if who == "link_holder" else "calendar" if part == "calendar" else "invitation"]
    path = re.sub(r"<(secret|token|uidb64)>", secret, path)
    row = world.rows.get(part)
    key = getattr(row, "entry", None) or getattr(row, "pk", "")
    asked = {
        "api/v1/changes/": f"?thing=home&id={world.rows['homes'].pk}",
        "api/v1/papers/missing/": f"?siting={world.rows['sitings'].pk}",
    }.get(route, "")
    return "/" + re.sub(r"<(pk|survey_id|entry)>", str(key), path) + asked


def ask(client: Client, method: str, route: str, who: str, world: World) -> tuple[str, bytes]:
    """Make a request, undo what it did, and return what the answer amounts to, and what it says."""
    make = BODIES.get(f"{method} {route.removeprefix('api/v1/')}")
    with transaction.atomic():
        body = make(world.rows) if make else {}
        response = send(client, method, address_of(route, who, world), body, is_api=route.startswith("api/"))
        content = b"".join(response.streaming_content) if response.streaming else response.content
        transaction.set_rollback(True)
    return outcome(response, is_whole=make is not None), content


def send(client: Client, method: str, address: str, body: dict[str, Any], *, is_api: bool) -> Any:
    """Send what a program or a browser would."""
    call = getattr(client, method.lower())
    if method in ("GET", "HEAD") or (not is_api and method != "POST"):
        return call(address)
    if not is_api:
        return call(address, body)
    is_form = "file" in body or "/photos/" in address or "/imports/" in address
    return call(address, body, format="multipart" if is_form else "json", headers={"If-Match": "*"})


def outcome(response: Any, *, is_whole: bool) -> str:
    """Say what an answer amounts to; ``is_whole``: what was sent could be taken."""
    status = response.status_code
    if status in (301, 302):
        return SIGNED_OUT if response["Location"].startswith("/sign-in/?next=") else OK
    named = {401: SIGNED_OUT, 403: FORBIDDEN, 404: HIDDEN, 405: NO_METHOD}
    if status in named:
        return named[status]
    if status in ASKED:
        return HIDDEN if is_whole and status == HTTPStatus.BAD_REQUEST else f"{status}" if is_whole else OK
    return OK if status < 400 else f"{status}"


@pytest.mark.django_db
@pytest.mark.parametrize("route", list(TABLE))
def test_answers_are_those_of_the_table(route: str, world: World) -> None:
    is_api = route.startswith("api/")
    wrong: list[str] = []
    for who in (*PEOPLE, *OUTSIDE):
        if who == "revoked" and not is_api:
            continue
        if route == "api/v1/schema" and who in PEOPLE[1:-1]:  # slow to make, and the same for everybody
            continue
        client = world.clients[who, is_api]
        cookies = client.cookies.copy()
        for method in METHODS:
            client.cookies = cookies.copy()  # as it came: answers set some
            got, content = ask(client, method, route, who, world)
            wanted = expected(route, method, who)
            if got not in wanted:
                wrong.append(f"{method} as {who}: {got}, not {' or '.join(sorted(wanted))}: {content[:150]!r}")
            wrong += [f"{method} as {who} tells {word}" for word in leaks(who, route, content)]
        client.cookies = cookies
    assert not wrong, "\n" + "\n".join(wrong)


def leaks(who: str, route: str, content: bytes) -> list[str]:
    """Return what an answer tells of the home to somebody who may not know it."""
    hidden: tuple[str, ...] = ()
    if who in ("other_crew", "no_role", *OUTSIDE) and not (who == "link_holder" and route.startswith("shared/")):
        hidden = OF_THE_HOME
    if who not in ("manager", "office", "lead", "visit_lead"):
        hidden += OF_THE_CUSTOMER
    return [word for word in hidden if word.encode() in content]
