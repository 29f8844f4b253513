"""How people get an account: the first start, invitations, passwords; and what e-mail may and may not break."""

import datetime
import re
import threading
from collections.abc import Callable
from io import StringIO
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.contrib.auth.hashers import make_password
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import Settings

from jobs import accounts
from jobs.errors import DomainError
from jobs.models import BrowserSession, Company, DeviceToken, Invitation, Role, User
from tests.factories import CompanyFactory, UserFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
GOOD = "clay heaves in may"


@pytest.fixture(autouse=True)
def hash_fast(settings: Settings) -> None:
    """Passwords are set and tried here; how hard one is to crack is not the question."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


def filled(**more: str) -> dict[str, str]:
    """Return the start page as it is filled in."""
    return {
        "code": accounts.start_code(),
        "company": "Sable Creek Leveling",
        "time_zone": "America/Denver",
        "first_name": "Odalys",
        "last_name": "Brandt",
        "email": "odalys@sable.example",
        "username": "odalys",
        "password1": GOOD,
        "password2": GOOD,
    } | more


class TestFirstStart:
    def test_a_new_service_asks_for_the_company_and_its_first_manager(self, client: Client) -> None:
        assert client.get(reverse("home-list"), follow=True).redirect_chain[-1][0] == reverse("start")
        assert client.get(reverse("start")).status_code == 200
        answer = client.post(reverse("start"), filled())
        assert answer["Location"] == reverse("people")
        company, manager = Company.objects.get(), User.objects.get()
        assert (company.name, company.time_zone) == ("Sable Creek Leveling", "America/Denver")
        assert (manager.roles, manager.is_active, manager.is_manager) == ([Role.MANAGER], True, True)
        assert manager.check_password(GOOD)
        assert client.get(reverse("people")).context["user"] == manager  # signed in already

    def test_afterwards_the_page_is_shut_for_ever(self, client: Client) -> None:
        client.post(reverse("start"), filled())
        for way in (Client().get(reverse("start")), Client().post(reverse("start"), filled(username="second"))):
            assert (way.status_code, way["Location"]) == (302, reverse("sign-in"))
        assert Client().get(reverse("sign-in")).status_code == 200
        assert (Company.objects.count(), User.objects.count()) == (1, 1)

    @pytest.mark.parametrize("exists", ["company", "manager", "administrator"])
    def test_it_is_shut_where_there_is_a_company_or_somebody_who_manages(self, client: Client, exists: str) -> None:
        if exists == "company":
            CompanyFactory()
        else:
            UserFactory(roles=["manager"] if exists == "manager" else [], is_superuser=exists == "administrator")
        assert client.post(reverse("start"), filled())["Location"] == reverse("sign-in")
        with pytest.raises(DomainError, match="already"):
            accounts.start(company=Company(name="x"), manager=User(username="y", password=make_password(None)))
        assert not User.objects.filter(username="odalys").exists()

    @pytest.mark.parametrize(
        ("field", "typed", "says"),
        [
            ("code", "AAAA-AAAA-AAAA-AAAA", "not the start code"),
            ("code", "", "required"),
            ("company", "", "required"),
            ("time_zone", "Nowhere/At_All", "not one of the available"),
            ("email", "not an address", "valid email"),
            ("username", "has spaces", "valid username"),
            ("password2", "something else entirely", "match"),
        ],
    )
    def test_what_is_wrong_is_told_at_its_field_and_nothing_is_made(
        self, client: Client, field: str, typed: str, says: str
    ) -> None:
        answer = client.post(reverse("start"), filled(**{field: typed}))
        assert answer.status_code == 400
        assert says in str(answer.context["form"].errors[field])
        assert not Company.objects.exists()
        assert not User.objects.exists()

    # The rules are the framework's own validators; the words checked are theirs.
    @pytest.mark.parametrize(
        ("password", "says"),
        [
            ("short", "too short"),
            ("9999999999999", "entirely numeric"),
            ("password12", "too common"),
            ("odalys@sable", "too similar"),
        ],
    )
    def test_a_weak_password_is_refused(self, client: Client, password: str, says: str) -> None:
        answer = client.post(reverse("start"), filled(password1=password, password2=password))
        assert says in str(answer.context["form"].errors["password2"])
        assert not User.objects.exists()

    def test_the_code_is_this_servers_and_typed_in_any_way(self, client: Client, settings: Settings) -> None:
        code = accounts.start_code()
        assert re.fullmatch(r"[A-Z2-7]{4}(-[A-Z2-7]{4}){3}", code)  # 80 bits
        assert accounts.is_start_code(code.lower().replace("-", " "))
        assert not accounts.is_start_code("é" * 16)
        settings.SECRET_KEY = "another server's"  # noqa: S105 - no secret of anything
        assert not accounts.is_start_code(code)

    def test_the_command_prints_the_code_and_then_says_that_it_opens_nothing(self) -> None:
        out, err = StringIO(), StringIO()
        call_command("start_code", stdout=out, stderr=err)
        assert out.getvalue().strip() == accounts.start_code()
        CompanyFactory()
        out, err = StringIO(), StringIO()
        call_command("start_code", stdout=out, stderr=err)
        assert (out.getvalue(), "already" in err.getvalue()) == ("", True)


class TestFirstManagerCommand:
    GIVEN = {name: filled()[name] for name in ("company", "time_zone", "first_name", "email", "username")}

    def test_it_makes_both_by_the_rules_of_the_page(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("FIRST_MANAGER_PASSWORD", GOOD)
        monkeypatch.setattr("sys.stdin", StringIO())
        call_command("first_manager", **self.GIVEN, stdout=StringIO())
        assert (Company.objects.get().name, User.objects.get().check_password(GOOD)) == ("Sable Creek Leveling", True)
        with pytest.raises(CommandError, match="already"):
            call_command("first_manager", **self.GIVEN)

    def test_the_password_may_come_from_standard_input(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("sys.stdin", StringIO(f"{GOOD}\n"))
        call_command("first_manager", **self.GIVEN, stdout=StringIO())
        assert User.objects.get().check_password(GOOD)

    def test_what_is_wrong_is_told_by_field(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("sys.stdin", StringIO("short\n"))
        with pytest.raises(CommandError, match=r"(?s)email: .*required.*password2: .*too short"):
            call_command("first_manager", **(self.GIVEN | {"email": ""}))
        assert not Company.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_of_two_first_starts_at_once_one_wins() -> None:
    ready = threading.Barrier(2)
    told: list[Any] = []

    def begin(name: str) -> None:
        ready.wait(10)
        try:
            told.append(
                accounts.start(company=Company(name=name), manager=User(username=name, password=make_password(None)))
            )
        except DomainError as error:
            told.append(error.code)
        finally:
            connection.close()

    both = [threading.Thread(target=begin, args=[name]) for name in ("one", "two")]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join(20)
    assert "already_started" in told
    assert (Company.objects.count(), User.objects.count()) == (1, 1)
    assert Company.objects.get().name == User.objects.get().username


# -- invitations -------------------------------------------------------------------------------------------------


@pytest.fixture
def invited(manager: User) -> tuple[Invitation, str]:
    CompanyFactory()
    return accounts.invite(by=manager, email="rune@sable.example", roles=["crew_lead", "crew", "crew"])


ACCOUNT = {
    "username": "rune",
    "first_name": "Rune",
    "last_name": "",
    "phone": "",
    "password1": GOOD,
    "password2": GOOD,
}


class TestInvitation:
    def test_the_link_makes_one_account_with_the_managers_roles_and_signs_in(
        self, client: Client, invited: tuple[Invitation, str]
    ) -> None:
        row, secret = invited
        assert secret not in (row.digest, row.email)
        assert row.expires_at - row.created_at > datetime.timedelta(days=6, hours=23)
        address = reverse("invitation", args=[secret])
        page = client.get(address)
        assert "rune@sable.example as crew, crew lead" in page.content.decode()
        answer = client.post(address, ACCOUNT | {"roles": ["manager"], "is_superuser": "on", "email": "x@y.example"})
        assert answer["Location"] == reverse("home-list")
        person = User.objects.get(username="rune")
        assert (person.roles, person.email, person.is_superuser) == (
            ["crew", "crew_lead"],
            "rune@sable.example",
            False,
        )
        assert client.get(reverse("account")).context["user"] == person
        row.refresh_from_db()
        assert (row.user, row.state_now()) == (person, Invitation.State.ACCEPTED)
        again = Client()
        assert again.get(address).status_code == 404
        assert again.post(address, ACCOUNT | {"username": "other"}).status_code == 404
        assert not User.objects.filter(username="other").exists()

    @pytest.mark.parametrize("why", ["expired", "revoked", "unknown"])
    def test_a_link_that_no_longer_holds_makes_nothing(
        self, client: Client, invited: tuple[Invitation, str], why: str
    ) -> None:
        row, secret = invited
        if why == "expired":
            Invitation.objects.update(expires_at=timezone.now())
        if why == "revoked":
            accounts.revoke(row)
        address = reverse("invitation", args=["unknown" if why == "unknown" else secret])
        assert client.get(address).status_code == 404
        answer = client.post(address, ACCOUNT)
        assert answer.status_code == 404
        assert "no longer opens" in answer.content.decode()
        assert not User.objects.filter(username="rune").exists()
        with pytest.raises(DomainError):
            accounts.accept(secret="unknown" if why == "unknown" else secret, person=User(username="rune"))

    @pytest.mark.parametrize(
        ("typed", "field"),
        [({"username": "MANAGER"}, "username"), ({"password1": "x", "password2": "x"}, "password2")],
    )
    def test_a_taken_name_and_a_weak_password_are_told_and_the_link_still_holds(
        self, client: Client, invited: tuple[Invitation, str], typed: dict[str, str], field: str
    ) -> None:
        address = reverse("invitation", args=[invited[1]])
        answer = client.post(address, ACCOUNT | typed)
        assert (answer.status_code, field in answer.context["form"].errors) == (400, True)
        assert client.post(address, ACCOUNT).status_code == 302

    def test_a_name_that_is_taken_in_between_is_told_too(self, invited: tuple[Invitation, str]) -> None:
        UserFactory(username="rune")
        with pytest.raises(DomainError) as told:
            accounts.accept(secret=invited[1], person=User(username="rune", password=make_password(None)))
        assert list(told.value.fields) == ["username"]
        invited[0].refresh_from_db()
        assert invited[0].state_now() == Invitation.State.OPEN

    def test_a_newer_invitation_takes_the_place_of_an_older_one(
        self, invited: tuple[Invitation, str], manager: User
    ) -> None:
        _, secret = accounts.invite(by=manager, email="Rune@sable.example", roles=["office"])
        assert accounts.find_invitation(invited[1]) is None
        newer = accounts.find_invitation(secret)
        assert newer is not None
        assert newer.roles == ["office"]

    def test_somebody_who_works_here_is_not_invited(self, manager: User) -> None:
        UserFactory(email="ida@sable.example")
        with pytest.raises(DomainError) as told:
            accounts.invite(by=manager, email="IDA@sable.example", roles=["crew"])
        assert list(told.value.fields) == ["email"]


# -- mail --------------------------------------------------------------------------------------------------------


class DeadServer(EmailBackend):
    """A mail server that does not answer."""

    def send_messages(self, messages: Any) -> int:
        raise ConnectionRefusedError


class TestMail:
    def test_an_invitation_is_sent_and_shown(self, manager: User, client_for: ClientFor) -> None:
        CompanyFactory(name="Sable Creek\r\nBcc: everybody@sable.example")
        answer = client_for(manager).post(reverse("invite"), {"email": "rune@sable.example", "roles": ["crew"]})
        (sent,) = mail.outbox
        link = answer.context["link"]
        assert link.startswith("http://testserver/invitation/")
        assert (sent.to, link in sent.body) == (["rune@sable.example"], True)
        assert "\n" not in sent.subject
        assert "It was sent to rune@sable.example too." in answer.content.decode()
        assert link not in client_for(manager).get(reverse("people")).content.decode()  # shown once

    @pytest.mark.parametrize(
        "backend",
        [
            f"{__name__}.DeadServer",
            *(f"django.core.mail.backends.{name}.EmailBackend" for name in ("dummy", "console")),
        ],
        ids=["dead", "none", "printed"],
    )
    def test_no_mail_loses_nothing(
        self, manager: User, client_for: ClientFor, settings: Settings, backend: str
    ) -> None:
        settings.EMAIL_BACKEND = backend
        answer = client_for(manager).post(reverse("invite"), {"email": "rune@sable.example", "roles": ["crew"]})
        assert answer.status_code == 200
        assert "No e-mail was sent: hand it over yourself." in answer.content.decode()
        secret = answer.context["link"].rstrip("/").rpartition("/")[2]
        assert accounts.find_invitation(secret) is not None


# -- passwords ---------------------------------------------------------------------------------------------------


@pytest.fixture
def person(crew: User) -> User:
    crew.set_password("read clean metal")
    crew.save()
    return crew


class TestPassword:
    CHANGE = {"old_password": "read clean metal", "new_password1": GOOD, "new_password2": GOOD}

    def test_a_new_one_ends_everything_but_this_browser(self, person: User, client_for: ClientFor) -> None:
        here, there = client_for(person), client_for(person)
        DeviceToken.objects.issue(user=person, name="phone", lifetime=datetime.timedelta(days=1))
        assert here.post(reverse("password"), self.CHANGE)["Location"] == reverse("account")
        assert here.get(reverse("account")).status_code == 200
        assert there.get(reverse("account")).status_code == 302
        assert not DeviceToken.objects.valid().exists()
        assert BrowserSession.objects.filter(user=person).count() == 1
        person.refresh_from_db()
        assert person.check_password(GOOD)

    @pytest.mark.parametrize(
        ("typed", "field"),
        [
            ({"old_password": "guess"}, "old_password"),
            ({"new_password2": "differs from it"}, "new_password2"),
            ({"new_password1": "short", "new_password2": "short"}, "new_password2"),
        ],
    )
    def test_a_wrong_one_changes_nothing(
        self, person: User, client_for: ClientFor, typed: dict[str, str], field: str
    ) -> None:
        client = client_for(person)
        answer = client.post(reverse("password"), self.CHANGE | typed)
        assert (answer.status_code, list(answer.context["form"].errors)) == (400, [field])
        person.refresh_from_db()
        assert person.check_password("read clean metal")


class TestPasswordLink:
    NEW = {"new_password1": GOOD, "new_password2": GOOD}

    def open(self, person: User) -> tuple[Client, str]:
        """Open a link as a browser does; return where it leads, which no longer has the secret in it."""
        client = Client()
        return client, client.get(accounts.password_link(person))["Location"]

    def test_it_sets_a_password_once(self, person: User, client_for: ClientFor) -> None:
        signed_in = client_for(person)
        link = accounts.password_link(person)
        client, form = self.open(person)
        assert person.get_username() in client.get(form).content.decode()
        assert client.post(form, self.NEW)["Location"] == reverse("sign-in")
        person.refresh_from_db()
        assert person.check_password(GOOD)
        assert signed_in.get(reverse("account")).status_code == 302
        assert Client().get(link).status_code == 404
        assert client.post(form, {"new_password1": "x" * 12, "new_password2": "x" * 12}).status_code == 404

    def test_it_is_dead_after_a_day_and_after_signing_in(self, person: User, settings: Settings) -> None:
        assert django_settings.PASSWORD_RESET_TIMEOUT == 24 * 3600
        link = accounts.password_link(person)
        settings.PASSWORD_RESET_TIMEOUT = -1
        assert Client().get(link).status_code == 404
        settings.PASSWORD_RESET_TIMEOUT = 60
        User.objects.filter(pk=person.pk).update(last_login=timezone.now())
        assert Client().get(link).status_code == 404

    def test_a_weak_password_is_refused_here_too(self, person: User) -> None:
        client, form = self.open(person)
        answer = client.post(form, {"new_password1": "short", "new_password2": "short"})
        assert "too short" in str(answer.context["form"].errors["new_password2"])

    def test_it_lets_nobody_in_who_was_made_inactive(self, person: User) -> None:
        person.is_active = False
        person.save()
        client, form = self.open(person)
        client.post(form, self.NEW)
        fields = {"username": person.username, "password": GOOD}
        assert client.post(reverse("sign-in"), fields).status_code == 200
        assert client.get(reverse("account")).status_code == 302
