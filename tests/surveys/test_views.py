"""The pages that bring files in and take them out: checked, shown, and then the very file that was checked."""

import datetime
import random
import string
from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from jobs.csv_files.text import MOST_BYTES
from jobs.models import Customer, Role, User
from tests.factories import CustomerFactory, HomeFactory, UserFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]

PAGE = "/import/customers/"
DATA = b"name,phone\r\nAnn Tolliver,555 0100\r\nBo <b>Quill</b>,555 0177\r\n"


@pytest.fixture
def client(client_for: ClientFor, office: User) -> Client:
    return client_for(office)


def send(client: Client, data: bytes = DATA, page: str = PAGE) -> Any:
    return client.post(page, {"file": SimpleUploadedFile("customers.csv", data)})


def test_a_file_is_shown_before_it_is_imported(client: Client) -> None:
    CustomerFactory(name="Ann Tolliver", phone="555 0100", email="")
    shown = send(client)
    assert shown.status_code == 200
    page = shown.content.decode()
    assert "What the import will do" in page
    assert "Bo &lt;b&gt;Quill&lt;/b&gt;" in page
    assert Customer.objects.count() == 1
    done = client.post(PAGE, {"checked": shown.context["checked"]}, follow=True)
    assert done.redirect_chain == [(PAGE, 302)]
    assert "Imported: 1 added, 0 changed." in done.content.decode()
    assert Customer.objects.count() == 2
    again = client.post(PAGE, {"checked": shown.context["checked"]}, follow=True)
    assert "Everything in the file is there already: nothing was changed." in again.content.decode()
    assert "Nothing to do" in send(client).content.decode()


def test_what_is_wrong_is_shown_by_line_and_can_not_be_imported(client: Client) -> None:
    page = send(client, b"name,email\r\nAnn Tolliver,at home\r\n").content.decode()
    assert "Nothing can be imported yet" in page
    assert "Enter a valid email address." in page
    assert 'name="checked"' not in page


def test_a_file_that_cant_be_read_says_why(client: Client) -> None:
    answer = send(client, b"nonsense")
    assert answer.status_code == 400
    assert "The first line must name columns" in answer.content.decode()
    assert client.post(PAGE).status_code == 400
    large = send(client, b"x" * (MOST_BYTES + 1))
    assert large.status_code == 400
    assert "A file may have 2 MB: send it in parts." in large.content.decode()


@pytest.mark.parametrize("change", ["other person", "other kind", "tampered", "old"])
def test_only_the_very_file_that_was_checked_is_imported(client: Client, client_for: ClientFor, change: str) -> None:
    checked, page = send(client).context["checked"], PAGE
    hours = 0
    if change == "other person":
        client = client_for(UserFactory(roles=[Role.OFFICE]))
    elif change == "other kind":
        page = "/import/homes/"
    elif change == "tampered":
        checked = checked.replace(":customers:", ":customers:A")
    else:
        hours = 2
    with time_machine.travel(timezone.now() + datetime.timedelta(hours=hours)):
        answer = client.post(page, {"checked": checked})
    assert answer.status_code == 400
    assert "This check is no longer good: choose the file and check it again." in answer.content.decode()
    assert not Customer.objects.exists()


def test_a_file_as_large_as_may_be_travels_with_the_page(client: Client) -> None:
    # Letters at random can't be packed: the largest that a page ever has to carry.
    letters = random.Random(7).choices(  # noqa: S311 - no secret: the same letters every time
        string.ascii_letters + string.digits + "!#$%&()*+-./:<=>?@[]^_{|}~", k=MOST_BYTES
    )
    text = "".join(letters)
    rows = [f"n{start},n{text[start : start + 100_000]}" for start in range(0, MOST_BYTES - 100_000, 100_000)]
    data = ("name,notes\n" + "\n".join(rows)).encode()
    assert MOST_BYTES * 0.9 < len(data) <= MOST_BYTES
    checked = send(client, data).context["checked"]
    sent = client.post(PAGE, urlencode({"checked": checked}), content_type="application/x-www-form-urlencoded")
    assert sent.status_code == 302
    assert Customer.objects.count() == len(rows)


def test_a_download_is_known_as_utf_8_by_spreadsheet_programs(client: Client) -> None:
    CustomerFactory(name="Zoë")
    answer = client.get("/export/customers/")
    data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    assert data.startswith(b"\xef\xbb\xbfname,")
    assert "Nothing to do" in send(client, data).content.decode()
    wrong = client.get("/export/layouts/?home=H9")
    assert (wrong.status_code, "There is no such home." in wrong.content.decode()) == (404, True)
    HomeFactory(code="H1")
    assert client.get("/export/layouts/?home=H1").status_code == 200


@pytest.mark.parametrize(
    ("roles", "address", "status"),
    [
        ([Role.OFFICE], "/import/", 302),
        ([Role.CREW_LEAD], "/import/homes/", 200),
        ([Role.CREW_LEAD], "/import/readings/", 200),
        ([Role.CREW], "/import/", 403),
        ([Role.CREW], "/import/readings/", 403),
        ([Role.CREW], "/export/readings/", 403),
        ([Role.OFFICE], "/import/invoices/", 403),
    ],
)
def test_who_sees_the_pages(client_for: ClientFor, roles: list[str], address: str, status: int) -> None:
    assert client_for(UserFactory(roles=roles)).get(address).status_code == status


def test_a_lead_may_not_bring_homes_in(client_for: ClientFor, lead: User) -> None:
    client = client_for(lead)
    assert 'type="file"' not in client.get("/import/homes/").content.decode()
    assert send(client, b"code\nH1", "/import/homes/").status_code == 403


def test_strangers_are_sent_to_sign_in() -> None:
    assert Client().get(reverse("files")).status_code == 302
    assert Client().get("/export/customers/").url.startswith("/sign-in/")  # type: ignore[attr-defined]
