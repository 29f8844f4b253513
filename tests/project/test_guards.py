"""What every answer is held to: headers on each page, nothing inline, cookies, sizes; and SQL of our own only."""

import ast
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.test import Client
from django.urls import URLResolver, get_resolver, reverse
from rest_framework.test import APIClient

from jobs.models import User
from jobs.project.guards import MOST_BYTES
from surveys.api.views import SurveyReadingsView
from tests.calcs.working import read_survey
from tests.factories import CompanyFactory, UserFactory
from tests.project.running import CHECKOUT

POLICY = {
    **dict.fromkeys(("default-src", "base-uri", "frame-ancestors"), "'none'"),
    **dict.fromkeys(("script-src", "style-src", "img-src", "font-src", "connect-src"), "'self'"),
    **dict.fromkeys(("form-action", "manifest-src", "worker-src"), "'self'"),
}
OURS = [path for app in ("jobs", "surveys", "calcs") for path in sorted((CHECKOUT / app).rglob("*"))]


def policy_of(header: str) -> dict[str, str]:
    return dict(part.strip().split(" ", 1) for part in header.split(";") if part.strip())


class TestHeaders:
    @pytest.mark.parametrize(
        "address",
        ["/sign-in/", "/api/v1/homes/", "/nowhere/", "/api/v1/nowhere/", "/admin/login/", "/static/nothing"],
    )
    @pytest.mark.django_db
    def test_every_answer_carries_them(self, client: Client, address: str) -> None:
        headers = client.get(address).headers
        assert policy_of(headers["Content-Security-Policy"]) == POLICY
        assert headers["X-Content-Type-Options"] == "nosniff"
        assert headers["X-Frame-Options"] == "DENY"
        assert headers["Referrer-Policy"] == "same-origin"
        assert headers["Cross-Origin-Opener-Policy"] == "same-origin"
        assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
        assert "geolocation=()" in headers["Permissions-Policy"]

    @pytest.mark.django_db
    def test_only_the_field_page_may_listen(self, client: Client) -> None:
        assert "microphone=(self)" in client.get("/field/").headers["Permissions-Policy"]
        assert "camera=()" in client.get("/field/").headers["Permissions-Policy"]
        for address in ("/sign-in/", "/field/worker.js", "/field/words/es.json"):
            assert "microphone=()" in client.get(address).headers["Permissions-Policy"], address

    @pytest.mark.django_db
    def test_no_page_holds_what_the_policy_forbids(self, client_for: Callable[[User], Client], manager: User) -> None:
        CompanyFactory()
        User.objects.filter(pk=manager.pk).update(is_superuser=True, is_staff=True)
        survey = read_survey()
        keys = {
            **{"homes": survey.siting.home_id, "sitings": survey.siting_id, "surveys": survey.pk},
            **{
                "people": UserFactory().pk,
                "home": survey.siting.home_id,
                "survey": survey.pk,
                "siting": survey.siting_id,
            },
        }
        client = client_for(manager)
        pages = 0
        for address in addresses(get_resolver(), keys):
            answer = client.get(address)
            if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
                pages += 1
                assert list(forbidden_in(answer.content.decode())) == [], address
                assert policy_of(answer["Content-Security-Policy"]) == POLICY, address
        assert pages > 60  # lists and forms of the admin, and every page of ours


def addresses(resolver: URLResolver, keys: dict[str, Any], before: str = "/") -> Iterator[str]:
    """Walk all addresses but the API's; where one names a record, by the word before its place, put in a key."""
    for pattern in resolver.url_patterns:
        words = str(pattern.pattern).removeprefix("^").removesuffix("$").removesuffix("\\Z")
        address = before + words
        if address.startswith("/api/") or "sign-out" in address or "logout" in address or "autocomplete" in address:
            continue
        if isinstance(pattern, URLResolver):
            yield from addresses(pattern, keys, address)
            continue
        *_, word = ["", *re.findall(r"(\w+)/<\w+:\w+>", address)]
        filled = re.sub(r"<\w+:\w+>", str(keys.get(word, "")), address)
        if "(" not in filled and (word in keys or "<" not in address):
            yield filled


def forbidden_in(page: str) -> Iterator[str]:
    """Name what would need 'unsafe-inline', or come from elsewhere."""
    for tag, content in re.findall(r"<(script\b[^>]*)>(.*?)</script>", page, flags=re.DOTALL):
        is_data = re.search(r'type="(application/json|importmap)"', tag)
        if "src=" not in tag and not is_data:
            yield f"script: {content[:40]}"
    yield from re.findall(r"<style\b", page)
    yield from re.findall(r"<[^>]*\sstyle=[^>]*>", page)
    yield from re.findall(r"<[^>]*\son[a-z]+=[^>]*>", page)
    yield from re.findall(r'(?:href|src|action)="javascript:[^"]*"', page)
    yield from re.findall(r'src="(?:https?:)?//[^"]*"', page)


def test_the_search_for_forbidden_things_finds_each() -> None:
    for page in (
        *("<script>x()</script>", "<style>p{}</style>", '<p style="color:red">', '<a onclick="x()">'),
        *('<a href="javascript:x()">', '<img src="https://elsewhere.example/x.png">'),
    ):
        assert len(list(forbidden_in(page))) == 1, page
    assert list(forbidden_in('<script src="/a.js"></script><script type="application/json">{}</script>')) == []


def test_no_script_builds_code_or_styles_out_of_text() -> None:
    forbidden = re.compile(r"\beval\(|new Function\(|document\.write|setAttribute\(\s*[\"']style|\bstyle=|\.cssText")
    for path in OURS:
        if path.suffix in {".js", ".html"}:
            assert not forbidden.search(path.read_text()), path


# -- cookies ------------------------------------------------------------------------------------------------------

_COOKIES = """
import django, json
django.setup()
from django.conf import settings
names = [n for n in dir(settings) if n.startswith(("SESSION_COOKIE", "CSRF_COOKIE", "LANGUAGE_COOKIE", "SECURE"))]
print(json.dumps({name: getattr(settings, name) for name in names}, default=str))
"""


def test_cookies_over_https_stay_with_this_host_and_out_of_scripts() -> None:
    import json

    environment = {name: value for name, value in os.environ.items() if name not in {"HTTPS", "DEMO"}}
    seen = subprocess.run(
        [sys.executable, "-c", _COOKIES],
        cwd=CHECKOUT,
        env=environment | {"DJANGO_SETTINGS_MODULE": "jobs.project.settings"},
        capture_output=True,
        text=True,
        check=True,
    )
    found = json.loads(seen.stdout)
    for cookie in ("SESSION", "CSRF"):
        assert found[f"{cookie}_COOKIE_NAME"].startswith("__Host-")
        assert found[f"{cookie}_COOKIE_SECURE"] is True
        assert found[f"{cookie}_COOKIE_HTTPONLY"] is True
        assert found[f"{cookie}_COOKIE_SAMESITE"] == "Lax"
        assert (found[f"{cookie}_COOKIE_DOMAIN"], found[f"{cookie}_COOKIE_PATH"]) == (None, "/")
    assert found["SECURE_HSTS_SECONDS"] >= 365 * 24 * 3600  # what browsers' preload lists ask for
    assert found["SECURE_SSL_REDIRECT"] is True


@pytest.mark.django_db
def test_every_cookie_of_signing_in_is_kept_from_scripts(client: Client, crew: User) -> None:
    crew.set_password("a long password")
    crew.save()
    client.get(reverse("sign-in"))
    answer = client.post(reverse("sign-in"), {"username": crew.username, "password": "a long password"})
    assert set(answer.cookies) >= {"sessionid", "csrftoken", "django_language"}
    for cookie in answer.cookies.values():
        assert cookie["httponly"] is True, cookie
        assert cookie["samesite"] == "Lax", cookie


# -- sizes --------------------------------------------------------------------------------------------------------


@pytest.mark.django_db
class TestSizes:
    def test_a_body_larger_than_any_row_is_turned_away_in_the_one_shape(
        self, api_for: Callable[[User], APIClient], manager: User
    ) -> None:
        answer = api_for(manager).post("/api/v1/homes/", {"code": "H1", "notes": "x" * MOST_BYTES})
        assert answer.status_code == 413
        assert answer.json() == {
            "code": "too_large",
            "message": "The request is too large: at most 1 MB are taken here.",
            "fields": {},
        }

    def test_readings_may_be_larger(self, api_for: Callable[[User], APIClient], lead: User) -> None:
        survey = read_survey()
        address = reverse("survey-readings", args=[survey.pk])
        taken = api_for(lead).post(address, b" " * (MOST_BYTES + 1), content_type="application/json")
        assert taken.status_code == 400  # read, and no JSON
        larger = b" " * (SurveyReadingsView.most_bytes + 1)
        assert api_for(lead).post(address, larger, content_type="application/json").status_code == 413

    def test_a_page_says_it_plainly(self, client_for: Callable[[User], Client], manager: User) -> None:
        answer = client_for(manager).post(reverse("account"), {"language": "x" * MOST_BYTES})
        assert answer.status_code == 413
        assert "at most 1 MB are taken here" in answer.content.decode()
        assert "Nothing was stored" in answer.content.decode()


# -- SQL ----------------------------------------------------------------------------------------------------------


def test_sql_is_never_made_of_what_people_send() -> None:
    """Every statement is a text of ours: a literal, a constant, or several of those; values go beside it."""
    calls = 0
    for path in OURS:
        # Backups ask for tables by the names that the catalogue gives, quoted by the driver; no request gets there.
        if path.suffix != ".py" or {"migrations", "backup"} & set(path.parts):
            continue
        for node in ast.walk(ast.parse(path.read_text())):
            if _runs_sql(node):
                calls += 1
                assert _is_ours(node.args[0]), f"{path}:{node.lineno}"
    assert calls >= 5


def _runs_sql(node: ast.AST) -> bool:
    named = isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name) and node.args
    name = getattr(node.func, "attr", getattr(node.func, "id", "")) if named else ""
    return name in {"execute", "executemany", "raw", "extra", "RawSQL"}


def _is_ours(statement: ast.expr) -> bool:
    match statement:
        case ast.Constant():
            return True
        case ast.Name(id=name) | ast.Attribute(attr=name):
            return name.isupper()
        case ast.JoinedStr(values=parts):
            return all(isinstance(part, ast.Constant) or _is_ours(part.value) for part in parts)
    return False
