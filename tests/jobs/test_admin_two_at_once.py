"""The admin with two editors: nobody writes over somebody else unknowingly, and the history is the real one."""

import threading
from typing import Any

import pytest
from django.contrib import admin
from django.db import connection
from django.test import Client
from django.urls import reverse

from jobs.admin_base import VersionedAdmin, is_versioned
from jobs.admin_desk import LookedAtAdmin
from jobs.models import Connection, Home, Support, User
from tests.factories import ConnectionFactory, HomeFactory, SupportFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def client() -> Client:
    client = Client()
    client.force_login(UserFactory(username="ann", first_name="Ann", is_staff=True, is_superuser=True))
    return client


def form_of(client: Client, row: Any) -> tuple[str, dict[str, Any]]:
    """Open a row's form; return its address and what it would send as it stands."""
    address = reverse(f"admin:jobs_{row._meta.model_name}_change", args=[row.pk])
    form = client.get(address).context["adminform"].form
    values = {name: form[name].value() for name in form.fields}
    return address, {name: "" if value is None else value for name, value in values.items() if value is not False}


def test_every_versioned_table_of_the_admin_checks_the_version() -> None:
    for model, model_admin in admin.site._registry.items():
        if is_versioned(model):  # or nobody changes it there at all
            assert isinstance(model_admin, VersionedAdmin | LookedAtAdmin), model
        else:
            assert not isinstance(model_admin, VersionedAdmin), model


def test_a_form_filled_from_an_earlier_version_shows_both_sides(client: Client) -> None:
    support = SupportFactory(gap_in=0)
    address, values = form_of(client, support)
    support.gap_in, support.footing = "0.25", "poured"
    support.save()
    response = client.post(address, values | {"note": "wedge hangs", "footing": "wood"})
    page = response.content.decode()
    assert response.status_code == 200
    assert "Nothing was saved yet" in page
    assert "gap at the wedge" in page
    assert "1/4\N{NO-BREAK SPACE}in" in page
    assert "treated wood" in page  # typed, by its words
    assert "poured concrete" in page
    assert "wedge hangs" in page
    support.refresh_from_db()
    assert support.note == ""


def test_sending_it_once_more_saves_over_knowingly(client: Client) -> None:
    home = HomeFactory(name="the blue one")
    address, values = form_of(client, home)
    home.name = "the green one"
    home.save()
    first = client.post(address, values | {"name": "the red one"})
    again = first.context["adminform"].form
    shown = {name: again[name].value() for name in again.fields}
    kept = {name: "" if value is None else value for name, value in shown.items() if value is not False}
    assert kept["name"] == "the red one"
    assert client.post(address, kept).status_code == 302
    home.refresh_from_db()
    assert (home.name, home.version) == ("the red one", 3)


@pytest.mark.django_db(transaction=True)
def test_somebody_in_between_the_look_and_the_write_is_seen(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    row = ConnectionFactory(note="")
    address, values = form_of(client, row)
    real = VersionedAdmin.save_model

    def write_theirs() -> None:
        Connection.objects.filter(pk=row.pk, note="").update(note="theirs")
        connection.close()

    def save_after_them(*arguments: Any, **named: Any) -> None:
        other = threading.Thread(target=write_theirs)  # on a connection of its own, between look and write
        other.start()
        other.join()
        real(*arguments, **named)

    monkeypatch.setattr(VersionedAdmin, "save_model", save_after_them)
    response = client.post(address, values | {"note": "mine"})
    assert "Nothing was saved yet" in response.content.decode()
    row.refresh_from_db()
    assert row.note == "theirs"


def test_a_form_without_a_version_is_refused(client: Client) -> None:
    home = HomeFactory()
    address, values = form_of(client, home)
    del values["version"]
    response = client.post(address, values | {"name": "x"})
    assert response.context["adminform"].form.errors == {"version": ["This page is out of date: open it again."]}


def test_history_tells_who_changed_what(client: Client) -> None:
    home = HomeFactory(name="the blue one")
    address, values = form_of(client, home)
    assert client.post(address, values | {"name": "the red one", "soil_class": "4B"}).status_code == 302
    page = client.get(reverse("admin:jobs_home_history", args=[home.pk])).content.decode()
    assert "<strong>Ann</strong>" in page
    assert "name: <del>the blue one</del> → <ins>the red one</ins>" in page
    assert "soil: <del>not known</del> → <ins>4B loose sand, firm clay</ins>" in page
    assert "Added home" in page


def test_archiving_and_restoring_by_action(client: Client) -> None:
    homes = [HomeFactory(), HomeFactory()]
    address = reverse("admin:jobs_home_changelist")
    chosen = {"_selected_action": [str(home.pk) for home in homes]}
    client.post(address, {"action": "archive_rows", **chosen})
    assert not Home.objects.standing().exists()
    client.post(address, {"action": "restore_rows", **chosen})
    assert Home.objects.standing().count() == 2
    assert b"archive_rows" not in client.get(reverse("admin:jobs_support_changelist")).content
    assert Support.objects.count() == 0


def test_a_person_is_saved_with_the_librarys_own_form(client: Client) -> None:
    person = UserFactory(roles=["crew"])
    address, values = form_of(client, person)
    values = {name: value for name, value in values.items() if name not in ("password", "last_login", "date_joined")}
    response = client.post(address, values | {"first_name": "Bo"})
    assert response.status_code == 302, response.context["adminform"].form.errors
    assert User.objects.get(pk=person.pk).first_name == "Bo"
