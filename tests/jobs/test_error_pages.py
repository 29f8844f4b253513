"""Pages that say what went wrong: in the house's look, with a way back, and nothing that the policy forbids."""

import re
from collections.abc import Callable

import pytest
from django.core.exceptions import PermissionDenied
from django.test import Client, RequestFactory
from django.urls import reverse
from django.utils import translation
from django.views import defaults
from pytest_django import DjangoAssertNumQueries

from jobs.api.errors import server_error
from jobs.models import User

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]


def check(text: str, heading: str) -> None:
    assert f"<h1>{heading}</h1>" in text
    assert f'<a class="button" href="{reverse("home-list")}">' in text
    assert "jobs/site.css" in text
    assert not re.search(r"<script|<style|\sstyle=|\son[a-z]+=|javascript:", text)


@pytest.mark.parametrize("is_signed_in", [True, False])
def test_an_address_that_leads_nowhere(
    client: Client, client_for: ClientFor, lead: User, *, is_signed_in: bool
) -> None:
    answer = (client_for(lead) if is_signed_in else client).get("/no/such/page/")
    assert answer.status_code == 404
    check(answer.content.decode(), "There is nothing here")


def test_what_roles_do_not_allow(client_for: ClientFor, crew: User) -> None:
    answer = client_for(crew).get(reverse("operations"))
    assert answer.status_code == 403
    check(answer.content.decode(), "This isn't yours to do")


def test_the_reason_is_said_and_escaped() -> None:
    answer = defaults.permission_denied(RequestFactory().get("/"), PermissionDenied("Not <you>."))
    assert "Not &lt;you&gt;. Your roles" in answer.content.decode()


def test_a_form_without_its_token(lead: User) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(lead)
    answer = client.post(reverse("account"), {"language": "en"})
    assert answer.status_code == 403
    check(answer.content.decode(), "Nothing was kept")


def test_a_fault_of_ours_needs_neither_person_nor_database(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    with django_assert_num_queries(0):
        answer = server_error(RequestFactory().get("/homes/"))
    assert answer.status_code == 500
    check(answer.content.decode(), "Something went wrong here")


def test_they_speak_the_reader_s_language() -> None:
    with translation.override("es"):
        assert '<html lang="es">' in server_error(RequestFactory().get("/")).content.decode()
