"""The manager's pages about people, and each person's own list of browsers and devices."""

import datetime
import re
from collections.abc import Callable
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.contrib.auth import authenticate
from django.core import mail
from django.db import connection
from django.test import Client, RequestFactory
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs import accounts, browsers
from jobs.errors import DomainError
from jobs.models import DeviceToken, Invitation, Role, User, Visit
from tests.factories import CompanyFactory, CustomerFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]


def issue(user: User, name: str = "truck 2 phone") -> DeviceToken:
    return DeviceToken.objects.issue(user=user, name=name, lifetime=datetime.timedelta(days=1))[0]


def as_shown(client: Client, person: User, **more: Any) -> dict[str, Any]:
    """Return the form of a person as it is shown, with some of it typed anew."""
    form = client.get(reverse("person", args=[person.pk])).context["form"]
    shown = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in (shown | more).items() if value not in (None, False)}


class TestPeoplePage:
    def test_it_lists_everybody_with_roles_and_who_is_invited(self, manager: User, client_for: ClientFor) -> None:
        UserFactory(first_name="Ida", last_name="Fenner", roles=["crew_lead", "crew"])
        UserFactory(username="gone", is_active=False)
        accounts.invite(by=manager, email="rune@sable.example", roles=["office"])
        page = client_for(manager).get(reverse("people")).content.decode()
        assert "Ida Fenner" in page
        assert "crew lead, crew" in page
        assert "inactive" in page
        assert "rune@sable.example: office" in page

    @pytest.mark.parametrize("rows", [1, 3])
    def test_it_takes_as_many_queries_for_three_as_for_one(
        self, manager: User, client_for: ClientFor, rows: int
    ) -> None:
        for number in range(rows):
            UserFactory()
            accounts.invite(by=manager, email=f"p{number}@sable.example", roles=["crew"])
        client = client_for(manager)
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse("people"))
        assert len(queries) == 5  # session, person, time zone, people, invitations

    def test_the_manager_finds_it_in_the_menu_and_others_do_not(
        self, manager: User, crew: User, client_for: ClientFor
    ) -> None:
        link = f'href="{reverse("people")}"'
        assert link in client_for(manager).get(reverse("account")).content.decode()
        assert link not in client_for(crew).get(reverse("account")).content.decode()

    def test_an_invitation_is_taken_back(self, manager: User, client_for: ClientFor) -> None:
        row, secret = accounts.invite(by=manager, email="rune@sable.example", roles=["crew"])
        client_for(manager).post(reverse("revoke-invitation", args=[row.pk]))
        assert accounts.find_invitation(secret) is None
        row.refresh_from_db()
        assert row.state_now() == Invitation.State.REVOKED

    @pytest.mark.parametrize(
        ("typed", "field"),
        [
            ({"email": "nonsense", "roles": ["crew"]}, "email"),
            ({"email": "a@sable.example"}, "roles"),
            ({"email": "a@sable.example", "roles": ["king"]}, "roles"),
            ({"email": "ida@sable.example", "roles": ["crew"]}, "email"),
        ],
    )
    def test_a_wrong_invitation_is_told_at_its_field(
        self, manager: User, client_for: ClientFor, typed: dict[str, Any], field: str
    ) -> None:
        UserFactory(email="ida@sable.example")
        answer = client_for(manager).post(reverse("invite"), typed)
        assert (answer.status_code, list(answer.context["form"].errors)) == (400, [field])
        assert not Invitation.objects.exists()


class TestPersonPage:
    def test_what_somebody_can_do_is_noted(self, manager: User, crew: User, client_for: ClientFor) -> None:
        body = {"version": crew.version, "roles": ["crew"], "skills": ["level", "gas", "level"], "is_active": "on"}
        assert client_for(manager).post(reverse("person", args=[crew.pk]), body).status_code == 302
        crew.refresh_from_db()
        assert crew.skills == ["gas", "level"]

    def test_roles_are_changed(self, manager: User, crew: User, client_for: ClientFor) -> None:
        client = client_for(manager)
        answer = client.post(
            reverse("person", args=[crew.pk]), as_shown(client, crew, roles=["office", "crew"], phone="555 0100")
        )
        assert answer.status_code == 302
        crew.refresh_from_db()
        assert (crew.roles, crew.phone, crew.is_active) == (["crew", "office"], "555 0100", True)

    def test_made_inactive_is_out_at_once_and_may_come_back(
        self, manager: User, crew: User, client_for: ClientFor
    ) -> None:
        theirs, client = client_for(crew), client_for(manager)
        issue(crew)
        client.post(reverse("person", args=[crew.pk]), as_shown(client, crew, is_active=False))
        assert theirs.get(reverse("account")).status_code == 302
        assert not DeviceToken.objects.valid().exists()
        client.post(reverse("person", args=[crew.pk]), as_shown(client, crew, is_active="on"))
        crew.refresh_from_db()
        assert crew.is_active
        assert theirs.get(reverse("account")).status_code == 302  # but signs in anew

    def test_who_left_and_is_still_booked_is_told_with_the_visits(
        self, manager: User, crew: User, client_for: ClientFor
    ) -> None:
        CompanyFactory()
        soon = timezone.now() + datetime.timedelta(days=1)
        hours = {"starts_at": soon, "ends_at": soon + datetime.timedelta(hours=1)}
        led = VisitFactory(lead=crew, **hours)
        VisitFactory(lead=crew, state="cancelled", **hours)
        client, address = client_for(manager), reverse("person", args=[crew.pk])
        words, link = "is still booked", reverse("visit-change", args=[led.pk])
        assert words not in client.get(address).content.decode()
        page = client.post(address, as_shown(client, crew, is_active=False), follow=True).content.decode()
        assert words in page
        assert re.findall(r"/visits/[^/]+/change/", page) == [link]
        Visit.objects.filter(pk=led.pk).update(lead=None)
        assert words not in client.get(address).content.decode()

    def test_two_managers_at_once_are_told_of_each_other(
        self, manager: User, crew: User, client_for: ClientFor
    ) -> None:
        client = client_for(manager)
        typed = as_shown(client, crew, phone="555 0100")
        crew.phone = "555 0199"
        crew.save()
        answer = client.post(reverse("person", args=[crew.pk]), typed)
        assert "Somebody else has changed this meanwhile" in answer.content.decode()
        crew.refresh_from_db()
        assert crew.phone == "555 0199"

    def test_signed_out_everywhere(self, manager: User, crew: User, client_for: ClientFor) -> None:
        theirs = client_for(crew)
        issue(crew)
        client_for(manager).post(reverse("sign-person-out", args=[crew.pk]))
        assert theirs.get(reverse("account")).status_code == 302
        assert not DeviceToken.objects.valid().exists()

    def test_a_password_link_is_shown_once_and_sent(self, manager: User, client_for: ClientFor) -> None:
        person = UserFactory(email="ida@sable.example")
        answer = client_for(manager).post(reverse("password-link", args=[person.pk]))
        link = answer.context["link"]
        assert (mail.outbox[0].to, link in mail.outbox[0].body) == ([person.email], True)
        assert Client().get(link).status_code == 302
        assert "no-store" in answer.headers["Cache-Control"]

    def test_a_lock_is_seen_and_lifted(self, manager: User, crew: User, client_for: ClientFor) -> None:
        request = RequestFactory().post("/", REMOTE_ADDR="192.0.2.1")
        authenticate(request, username=crew.username, password="x")  # noqa: S106 - a wrong one
        AccessAttempt.objects.update(failures_since_start=8)
        client = client_for(manager)
        assert "Locked out from 192.0.2.1" in client.get(reverse("person", args=[crew.pk])).content.decode()
        client.post(reverse("unlock-person", args=[crew.pk]))
        assert "Locked out" not in client.get(reverse("person", args=[crew.pk])).content.decode()

    @pytest.mark.parametrize("name", ["person", "sign-person-out", "unlock-person", "password-link", "erase-person"])
    def test_an_administrator_is_out_of_a_managers_hands(
        self, manager: User, client_for: ClientFor, name: str
    ) -> None:
        boss = UserFactory(is_superuser=True)
        client_for(boss)
        assert client_for(manager).post(reverse(name, args=[boss.pk]), {"name": str(boss)}).status_code == 403
        boss.refresh_from_db()
        assert (boss.is_active, boss.erased_at, boss.browser_sessions.count()) == (True, None, 1)

    @pytest.mark.parametrize("name", ["person", "sign-person-out", "unlock-person", "password-link", "erase-person"])
    @pytest.mark.parametrize("role", ["office", "lead", "crew"])
    def test_nobody_but_a_manager_comes_near(
        self, client_for: ClientFor, name: str, role: str, request: pytest.FixtureRequest
    ) -> None:
        person, other = request.getfixturevalue(role), UserFactory()
        client_for(other)
        assert client_for(person).post(reverse(name, args=[other.pk]), {"name": str(other)}).status_code == 403
        other.refresh_from_db()
        assert (other.is_active, other.browser_sessions.count()) == (True, 1)


class TestLastManager:
    @pytest.mark.parametrize("typed", [{"roles": ["office"]}, {"is_active": False}])
    def test_the_page_refuses_and_says_why(self, manager: User, client_for: ClientFor, typed: dict[str, Any]) -> None:
        UserFactory(roles=["manager"], is_active=False)
        client = client_for(manager)
        answer = client.post(reverse("person", args=[manager.pk]), as_shown(client, manager, **typed))
        assert answer.status_code == 400
        assert "last active manager" in answer.content.decode()
        manager.refresh_from_db()
        assert (manager.roles, manager.is_active) == ([Role.MANAGER], True)

    @pytest.mark.parametrize("change", [{"roles": []}, {"is_active": False}])
    def test_so_does_whatever_else_saves(self, manager: User, change: dict[str, Any]) -> None:
        for name, value in change.items():
            setattr(manager, name, value)
        with pytest.raises(DomainError, match="last active manager"):
            manager.save()
        second = UserFactory(roles=["manager"])
        manager.save()
        second.roles = []
        with pytest.raises(DomainError, match="last active manager"):
            second.save(update_fields=["roles"])

    def test_an_administrator_counts(self, manager: User) -> None:
        UserFactory(is_superuser=True)
        manager.is_active = False
        manager.save()
        assert not User.objects.get(pk=manager.pk).is_active


class TestOwnAccount:
    def test_browsers_are_listed_and_ended(self, crew: User, client_for: ClientFor) -> None:
        here, there, third = client_for(crew), client_for(crew), client_for(crew)
        listed = here.get(reverse("account")).context["browsers"]
        assert [row["is_this"] for row in listed].count(True) == 1
        page = here.get(reverse("account")).content.decode()
        assert not any(client.session.session_key in page for client in (here, there, third))
        name = next(row["name"] for row in listed if row["row"].pk == there.session.session_key)
        here.post(reverse("end-browser"), {"which": name})
        assert there.get(reverse("account")).status_code == 302
        assert third.get(reverse("account")).status_code == 200
        here.post(reverse("end-browser"), {"which": "others"})
        assert third.get(reverse("account")).status_code == 302
        assert here.get(reverse("account")).status_code == 200

    def test_nobody_ends_anothers(self, crew: User, lead: User, client_for: ClientFor) -> None:
        theirs = client_for(crew)
        name = theirs.get(reverse("account")).context["browsers"][0]["name"]
        token = issue(crew)
        other = client_for(lead)
        assert other.post(reverse("end-browser"), {"which": name}).status_code == 404
        assert other.post(reverse("revoke-device", args=[token.pk])).status_code == 404
        other.post(reverse("end-browser"), {"which": "others"})
        assert theirs.get(reverse("account")).status_code == 200
        assert DeviceToken.objects.valid().exists()

    def test_devices_are_listed_with_their_times_and_revoked(self, crew: User, client_for: ClientFor) -> None:
        token, client = issue(crew), client_for(crew)
        issue(crew, "old one").__class__.objects.filter(name="old one").update(expires_at=timezone.now())
        page = client.get(reverse("account")).content.decode()
        assert "truck 2 phone" in page
        assert "never used" in page
        assert "old one" not in page
        client.post(reverse("revoke-device", args=[token.pk]))
        assert "truck 2 phone is signed out." in client.get(reverse("account")).content.decode()
        assert not DeviceToken.objects.valid().exists()

    @pytest.mark.parametrize("rows", [1, 3])
    def test_it_takes_as_many_queries_for_three_as_for_one(
        self, crew: User, client_for: ClientFor, rows: int
    ) -> None:
        for _ in range(rows):
            issue(crew)
            client_for(crew)
        client = client_for(crew)
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse("account"))
        assert len(queries) == 7  # session, person, time zone, browsers, devices, calendar, its visits


@pytest.mark.parametrize(
    ("user_agent", "words"),
    [
        ("Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0", "Firefox, Linux"),
        (
            "Mozilla/5.0 (Linux; Android 15; K) AppleWebKit/537.36 Chrome/141.0 Mobile Safari/537.36",
            "Chrome, Android",
        ),
        ("Mozilla/5.0 (iPhone; CPU iPhone OS 18_0 like Mac OS X) Version/18.0 Safari/604.1", "Safari, iPhone"),
        ("Mozilla/5.0 (Windows NT 10.0; Win64; x64) Chrome/141.0 Safari/537.36 Edg/141.0", "Edge, Windows"),
        ("curl/8.5.0", "unknown browser"),
        ("", "unknown browser"),
    ],
)
def test_a_browser_is_told_in_words(user_agent: str, words: str) -> None:
    assert browsers.in_words(user_agent) == words


def test_every_page_stands_with_a_company_and_a_customer(manager: User, client_for: ClientFor) -> None:
    CompanyFactory()
    client = client_for(manager)
    for address in (
        reverse("people"),
        reverse("password"),
        reverse("person", args=[UserFactory().pk]),
        reverse("erase-person", args=[UserFactory().pk]),
        reverse("erase-customer", args=[CustomerFactory().pk]),
    ):
        page = client.get(address)
        assert page.status_code == 200
        assert "style=" not in page.content.decode()
