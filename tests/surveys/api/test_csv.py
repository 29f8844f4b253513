"""Files over the API: checked unless told otherwise, imported only as checked, exported as they come in."""

from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from jobs.csv_files.text import MOST_BYTES
from jobs.models import Customer, Role, User
from tests.factories import CustomerFactory, UserFactory, lay_out_home

pytestmark = pytest.mark.django_db

ApiFor = Callable[[User], APIClient]

IMPORT = "/api/v1/imports/customers/"
DATA = b"name,phone\r\nAnn Tolliver,555 0100\r\n"


@pytest.fixture
def api(api_for: ApiFor, office: User) -> APIClient:
    return api_for(office)


def post(api: APIClient, data: bytes = DATA, query: str = "", kind: str = "customers") -> Any:
    return api.post(f"/api/v1/imports/{kind}/{query}", data, content_type="text/csv")


def test_a_file_is_checked_then_imported_by_its_hash(api: APIClient) -> None:
    checked = post(api)
    assert checked.status_code == 200
    found = checked.json()
    assert found["is_dry_run"] is True
    assert found["counts"] == {"customer": {"added": 1, "changed": 0, "unchanged": 0}}
    assert found["changes"] == [{"line": 2, "thing": "customer", "name": "Ann Tolliver", "values": {}}]
    assert not Customer.objects.exists()
    imported = post(api, query=f"?dry_run=false&sha256={found['sha256']}")
    assert imported.status_code == 200
    assert imported.json() == found | {"is_dry_run": False}
    again = post(api, query=f"?dry_run=false&sha256={found['sha256']}").json()
    assert again["counts"] == {"customer": {"added": 0, "changed": 0, "unchanged": 1}}
    assert Customer.objects.count() == 1


def test_a_file_that_was_not_checked_is_not_imported(api: APIClient) -> None:
    assert post(api, query="?dry_run=false").json()["code"] == "not_checked"
    other = post(api, query=f"?dry_run=false&sha256={'0' * 64}")
    assert (other.status_code, other.json()["code"]) == (409, "other_file")
    assert not Customer.objects.exists()


def test_a_check_lists_what_is_wrong_and_an_import_is_refused_for_it(api: APIClient) -> None:
    data = b"name,email\r\nAnn Tolliver,at home\r\n"
    checked = post(api, data)
    said = "Enter a valid email address."
    assert checked.status_code == 200
    assert checked.json()["problems"] == [{"line": 2, "column": "email", "message": said}]
    refused = post(api, data, query=f"?dry_run=false&sha256={checked.json()['sha256']}")
    assert refused.status_code == 400
    assert refused.json()["fields"] == {"line 2, email": said}


def test_a_form_may_send_the_file(api: APIClient) -> None:
    upload = SimpleUploadedFile("odd name.exe", DATA)  # what is in it counts, not what it is called
    assert api.post(IMPORT, {"file": upload}, format="multipart").json()["lines"] == 1
    assert api.post(IMPORT, {"file": "text"}, format="multipart").json()["fields"].keys() == {"file"}


@pytest.mark.parametrize(
    ("data", "content_type", "status", "code"),
    [
        (b"", "text/csv", 400, "invalid"),
        (b"\x89PNG\r\n\x1a\n\0\0", "text/csv", 400, "not_readable"),
        (b"name\n" + b"x" * MOST_BYTES, "text/csv", 413, "not_readable"),
        (b'{"name": "x"}', "application/json", 415, "unsupported_media_type"),
    ],
)
def test_what_is_no_such_file_is_refused(
    api: APIClient, data: bytes, content_type: str, status: int, code: str
) -> None:
    answer = api.post(IMPORT, data, content_type=content_type)
    assert (answer.status_code, answer.json()["code"]) == (status, code)


def test_unknown_kinds_and_cuts_are_told(api: APIClient) -> None:
    assert post(api, kind="invoices").json() == {
        "code": "not_found",
        "message": "There is no such kind of file; there are: customers, homes, layouts, readings, paper-surveys.",
        "fields": {},
    }
    assert api.get("/api/v1/exports/invoices/").status_code == 404
    assert api.get("/api/v1/exports/layouts/?home=H9").json()["fields"] == {"home": "There is no such home."}
    assert api.get("/api/v1/exports/readings/?survey=7").json()["fields"] == {"survey": "There is no such survey."}
    wrong = api.get("/api/v1/exports/customers/?home=H9")
    assert (wrong.status_code, wrong.json()["fields"]) == (400, {"home": "This file can be cut by nothing."})
    assert post(api, query="?dry_run=perhaps").json()["fields"] == {"dry_run": "Give true or false."}


def test_an_export_streams_what_an_import_takes(api: APIClient) -> None:
    CustomerFactory(name="Zoë, =1")
    answer = api.get("/api/v1/exports/customers/", HTTP_ACCEPT="text/csv")
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer["Content-Disposition"] == 'attachment; filename="customers.csv"'
    data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    assert data.startswith(b"name,phone,email,language,postal_address,notes,archived_at,id\r\n")
    assert post(api, data).json()["counts"] == {"customer": {"added": 0, "changed": 0, "unchanged": 1}}


def test_an_export_may_be_of_one_home(api: APIClient) -> None:
    home = lay_out_home().home
    lay_out_home()
    answer = api.get(f"/api/v1/exports/layouts/?home={home.code}")
    assert answer["Content-Disposition"] == f'attachment; filename="layouts-{home.code}.csv"'
    lines = b"".join(answer.streaming_content).decode().split("\r\n")  # type: ignore[attr-defined]
    assert {line.split(",")[0] for line in lines[1:-1]} == {home.code}


@pytest.mark.parametrize(
    ("roles", "kind", "imports", "exports"),
    [
        ([Role.CREW], "readings", 403, 403),
        ([Role.CREW_LEAD], "readings", 400, 200),
        ([Role.CREW_LEAD], "layouts", 400, 200),
        ([Role.CREW_LEAD], "homes", 403, 200),
        ([Role.CREW_LEAD], "customers", 403, 200),
        ([Role.OFFICE], "paper-surveys", 400, 200),
        ([], "homes", 403, 403),
    ],
)
def test_who_may_bring_files_in_and_take_them_out(
    api_for: ApiFor, roles: list[str], kind: str, imports: int, exports: int
) -> None:
    api = api_for(UserFactory(roles=roles))
    assert post(api, b"x", kind=kind).status_code == imports
    assert api.get(f"/api/v1/exports/{kind}/").status_code == exports


def test_strangers_are_asked_who_they_are() -> None:
    assert APIClient().get("/api/v1/exports/customers/").status_code == 401
    assert post(APIClient()).status_code == 401
