"""Every list and form of the admin: each table is there, found, filtered and taken out, in few queries."""

import csv
import io
import re
import uuid
from typing import Any

import pytest
from django.apps import apps
from django.contrib import admin
from django.db import connection
from django.db.models import Model
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver, reverse

from jobs.admin_desk import PAGES_AHEAD, DeskAdmin
from jobs.models import BrowserSession, Role, User
from tests.factories import HomeFactory, UserFactory
from tests.project.admin_rows import is_record, make, own_models

pytestmark = pytest.mark.django_db
MODELS = own_models()
KEPT_SHUT = {BrowserSession}  # its key is as good as a password: the list shows none, and no row opens

# All records of changes are one class: three of them stand for the rest.
RECORDS = [model for model in MODELS if is_record(model)]
WALKED = [model for model in MODELS if model not in RECORDS[3:]]

each_model = pytest.mark.parametrize("model", WALKED, ids=lambda model: model._meta.label)


@pytest.fixture
def chief() -> User:
    return UserFactory(username="chief", is_staff=True, is_superuser=True, roles=[Role.MANAGER])


@pytest.fixture
def client(chief: User) -> Client:
    client = Client()
    client.force_login(chief)
    return client


def address(model: type[Model], page: str, *arguments: Any) -> str:
    return reverse(f"admin:{model._meta.app_label}_{model._meta.model_name}_{page}", args=arguments)


def test_every_table_is_in_the_admin() -> None:
    assert {model for model in MODELS if not admin.site.is_registered(model)} == set()
    assert all(isinstance(admin.site.get_model_admin(model), DeskAdmin) for model in MODELS)


def asked(client: Client, where: str) -> list[str]:
    """Open a page, which must be there; return the queries that it took."""
    with CaptureQueriesContext(connection) as queries:
        response = client.get(where)
        b"".join(response) if response.streaming else response.content  # type: ignore[call-overload]
    assert response.status_code == 200, (where, response.headers.get("Location"))
    return [query["sql"] for query in queries]


@each_model
def test_a_list_is_searched_filtered_and_taken_out_in_a_fixed_number_of_queries(
    model: type[Model], client: Client
) -> None:
    changelist, file = address(model, "changelist"), address(model, "csv")
    counts: list[list[int]] = []
    links: list[str] = []
    for more in (1, 2):
        for _ in range(more):
            make(model)
        links = links or _links(client.get(changelist).content.decode())
        taken = [
            asked(client, page)
            for page in (changelist, f"{changelist}?q=a", file, *(changelist + link for link in links))
        ]
        counts.append([len(queries) for queries in taken])
        assert not [sql for queries in taken for sql in queries if re.search(r"\bCOUNT\(", sql)]
    assert counts[0] == counts[1]
    shown = admin.site.get_model_admin(model)
    assert len({link.split("=")[0].split("__")[0] for link in links if "=" in link}) >= bool(shown.list_filter)


def _links(page: str) -> list[str]:
    """The first two choices of every filter of a list."""
    found: dict[str, list[str]] = {}
    for link in re.findall(r'<li[^>]*>\s*<a href="(\?[^"]+)"', page):
        found.setdefault(re.split("=|__", link)[0], []).append(link.replace("&amp;", "&"))
    return [link for links in found.values() for link in links[:2]]


@each_model
def test_every_form_opens_and_shows_no_secret(model: type[Model], client: Client, rf: Any, chief: User) -> None:
    make(model)
    row: Any = model._default_manager.first()
    request = rf.get("/")
    request.user = chief
    may_add = admin.site.get_model_admin(model).has_add_permission(request)
    assert client.get(address(model, "add")).status_code == (200 if may_add else 403)
    is_shut = model in KEPT_SHUT
    pages = [client.get(address(model, page, row.pk)) for page in ("change", "history")]
    assert {page.status_code for page in pages} == ({403} if is_shut else {200})
    deleted = client.get(address(model, "delete", row.pk))
    assert deleted.status_code == (200 if model._meta.model_name in ("neighbourpair", "drainnode") else 403)
    secrets = [str(getattr(row, name)) for name in ("digest", "session_key") if getattr(row, name, None)]
    shown = [page.content.decode() for page in [*pages, client.get(address(model, "changelist"))]]
    shown.append(_file(client, model))
    assert not [secret for secret in secrets for page in shown if secret in page]


def _file(client: Client, model: type[Model]) -> str:
    response = client.get(address(model, "csv"))
    assert response["Content-Type"] == "text/csv; charset=utf-8"
    return b"".join(response).decode("utf-8-sig")  # type: ignore[call-overload]


@pytest.mark.parametrize("label", ["jobs.Support", "surveys.Reading", "calcs.Calculation", "jobs.VisitEvent"])
def test_a_list_as_csv_has_every_row_of_it_as_filtered(label: str, client: Client) -> None:
    model = apps.get_model(label)
    for _ in range(3):
        make(model)
    header, *rows = csv.reader(io.StringIO(_file(client, model), newline=""))
    assert len(rows) == model._default_manager.count()
    assert all(len(row) == len(header) for row in rows)
    nothing = client.get(address(model, "csv") + "?q=nowhere-at-all")
    assert len(b"".join(nothing).decode("utf-8-sig").splitlines()) == 1  # type: ignore[call-overload]


@pytest.mark.parametrize("roles", [[Role.CREW], []], ids=["crew", "no role"])
def test_crew_have_no_business_in_the_admin(roles: list[str]) -> None:
    client = Client()
    client.force_login(UserFactory(is_staff=True, roles=roles))
    for model in MODELS:
        for page in ("changelist", "csv", "add"):
            assert client.get(address(model, page)).status_code == 403, (model, page)


def filled(form: Any) -> dict[str, Any]:
    """What a browser sends of a form that nobody changes."""
    values = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in values.items() if value is not None and value is not False}


def test_the_office_does_in_the_admin_what_its_role_may() -> None:
    client = Client()
    client.force_login(UserFactory(is_staff=True, roles=[Role.OFFICE]))
    home = HomeFactory()
    form = client.get(f"/admin/jobs/home/{home.pk}/change/").context["adminform"].form
    typed = filled(form)
    assert client.post(f"/admin/jobs/home/{home.pk}/change/", typed | {"name": "Brask"}).status_code == 302
    home.refresh_from_db()
    assert home.name == "Brask"
    assert client.get("/admin/jobs/user/add/").status_code == 403
    assert client.get("/admin/jobs/invitation/").status_code == 403
    assert client.get("/admin/jobs/homeevent/").status_code == 403


def test_somebody_who_is_not_staff_is_asked_to_sign_in() -> None:
    client = Client()
    client.force_login(UserFactory(roles=[Role.MANAGER]))
    assert client.get("/admin/").status_code == 302
    assert client.get("/admin/jobs/home/csv/").status_code == 302


def test_a_long_list_says_that_there_is_more_and_leads_on(client: Client) -> None:
    home = admin.site.get_model_admin(User)
    UserFactory.create_batch(home.list_per_page * (PAGES_AHEAD + 1))
    page = client.get("/admin/jobs/user/")
    assert f"more than {home.list_per_page * PAGES_AHEAD}" in page.content.decode()
    last = client.get("/admin/jobs/user/?p=12")
    assert last.status_code == 200
    assert "more than" not in last.content.decode()
    beyond = client.get("/admin/jobs/user/?p=99")
    assert (beyond.status_code, beyond["Location"]) == (302, "/admin/jobs/user/?e=1")


def every_address() -> list[str]:
    """Every address of the admin, with keys of nothing in it; its own sign-in and sign-out aside."""

    def walk(patterns: Any, before: str) -> list[str]:
        found = []
        for each in patterns:
            path = before + re.sub(r"\(\?P<\w+>[^)]*\)|<[^>]+>", str(uuid.UUID(int=1)), str(each.pattern).strip("^$"))
            found += walk(each.url_patterns, path) if hasattr(each, "url_patterns") else [path]
        return found

    (resolver,) = (each for each in get_resolver().url_patterns if str(each.pattern) == "admin/")
    mine = {
        "/admin/login/",
        "/admin/logout/",
        "/admin/jsi18n/",
        "/admin/(?P<url>.*)$",
    }  # words of its scripts, and nothing
    return sorted(set(walk(resolver.url_patterns, "/admin/")) - mine)


@pytest.mark.parametrize("who", ["stranger", "crew", "crew who is staff", "staff without a role"])
def test_every_address_refuses_those_who_have_no_business_there(who: str) -> None:
    """Whatever stands in the address: sign-in, or a refusal, or nothing there."""
    client, roles = Client(), ["crew"] if "crew" in who else []
    if who != "stranger":
        client.force_login(UserFactory(is_staff="staff" in who, roles=roles))
    opened = set()
    for place in every_address():
        for method in ("get", "post"):  # the admin knows no other
            answer = getattr(client, method)(place)
            leads = answer.headers.get("Location", "")
            is_led_away = "/admin/login/" in leads or leads == "/admin/" or leads.endswith("/change/")
            if answer.status_code not in (403, 404, 405) and not is_led_away:
                opened.add((place, method, answer.status_code))
    home_only = {"/admin/", "/admin/password_change/", "/admin/password_change/done/"}  # what staff see, empty
    assert {where for where in opened if where[0] not in home_only or "staff" not in who} == set()
    assert len(every_address()) > 300
