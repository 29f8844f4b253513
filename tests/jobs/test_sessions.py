"""Browsers that are signed in: whose, since when, and that they can be ended from elsewhere, at once."""

import datetime
from collections.abc import Callable

import pytest
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs import sessions
from jobs.models import BrowserSession, DeviceToken, Invitation, User
from jobs.tasks import clear_expired
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
PHONE = "Mozilla/5.0 (Linux; Android 15) Firefox/140.0"


def signed_in(user: User) -> Client:
    """Sign in as a browser does, by the page."""
    user.set_password("read clean metal")
    user.save()
    client = Client(headers={"user-agent": PHONE})
    fields = {"username": user.username, "password": "read clean metal"}
    assert client.post(reverse("sign-in"), fields).status_code == 302
    return client


def is_in(client: Client) -> bool:
    return client.get(reverse("account")).status_code == 200


def test_a_session_says_whose_it_is_which_browser_and_since_when(crew: User) -> None:
    before = timezone.now()
    client = signed_in(crew)
    row = BrowserSession.objects.get()
    assert (row.user, row.browser) == (crew, PHONE)
    assert before <= row.started_at <= timezone.now()
    started_at = row.started_at
    session = client.session  # written again later, it keeps when it was started
    session["anything"] = 1
    session.save()
    row.refresh_from_db()
    assert (row.user, row.browser, row.started_at) == (crew, PHONE, started_at)


def test_last_seen_is_kept_to_the_minute_with_at_most_a_write_a_minute(crew: User, client_for: ClientFor) -> None:
    client = client_for(crew)
    address = reverse("account")
    client.get(address)
    with CaptureQueriesContext(connection) as soon:
        client.get(address)
    BrowserSession.objects.update(last_seen_at=timezone.now() - datetime.timedelta(seconds=61))
    with CaptureQueriesContext(connection) as later:
        client.get(address)
    assert len(later) == len(soon) + 1
    assert timezone.now() - BrowserSession.objects.get().last_seen_at < datetime.timedelta(seconds=30)


def test_an_ended_session_is_out_at_once_and_others_stay(crew: User, lead: User, client_for: ClientFor) -> None:
    here, there, other = client_for(crew), client_for(crew), client_for(lead)
    key = there.session.session_key
    name = next(sessions.name_of(row) for row in sessions.sessions_of(crew) if row.pk == key)
    assert not sessions.end_session(user=lead, name=name)
    assert is_in(there)
    assert sessions.end_session(user=crew, name=name)
    assert (is_in(here), is_in(there), is_in(other)) == (True, False, True)
    assert key not in name


def test_all_others_end_and_this_one_stays(crew: User, client_for: ClientFor) -> None:
    here, there = client_for(crew), client_for(crew)
    assert sessions.end_other_sessions(user=crew, current=here.session.session_key) == 1
    assert (is_in(here), is_in(there)) == (True, False)


def test_expired_sessions_let_nobody_in_and_are_cleared(crew: User, client_for: ClientFor) -> None:
    client = client_for(crew)
    BrowserSession.objects.update(expire_date=timezone.now())
    assert not is_in(client)
    assert not sessions.sessions_of(crew)
    still = client_for(crew)
    clear_expired()
    assert is_in(still)
    assert BrowserSession.objects.count() == 1


def test_invitations_that_ran_out_a_month_ago_are_cleared_with_their_e_mails(manager: User) -> None:
    now = timezone.now()
    month = datetime.timedelta(days=31)
    for number, (expires_at, accepted_at, user) in enumerate(
        [(now - month, None, None), (now, None, None), (now - month, now - month, manager)]
    ):
        Invitation.objects.create(
            email=f"p{number}@plumb.example",
            roles=["crew"],
            digest=str(number),
            invited_by=manager,
            expires_at=expires_at,
            accepted_at=accepted_at,
            user=user,
        )
    clear_expired()
    assert set(Invitation.objects.values_list("email", flat=True)) == {"p1@plumb.example", "p2@plumb.example"}


class TestWhatSignsAPersonOutEverywhere:
    @pytest.fixture
    def person(self, client_for: ClientFor) -> User:
        user = UserFactory()
        client_for(user)
        DeviceToken.objects.issue(user=user, name="phone", lifetime=datetime.timedelta(days=1))
        return user

    def has_access(self, user: User) -> tuple[bool, bool]:
        return user.browser_sessions.exists(), user.device_tokens.filter(revoked_at__isnull=True).exists()

    def test_a_new_password(self, person: User) -> None:
        person.set_password("another one entirely")
        person.save(update_fields=["password"])
        assert self.has_access(person) == (False, False)

    def test_being_made_inactive(self, person: User) -> None:
        person.is_active = False
        person.save()
        assert self.has_access(person) == (False, False)

    def test_no_other_change_and_no_sign_in(self, person: User) -> None:
        person.first_name = "Ida"
        person.save()
        person.last_login = timezone.now()
        person.save(update_fields=["last_login"])
        assert self.has_access(person) == (True, True)

    def test_hashing_the_same_password_anew_is_no_change(self, person: User) -> None:
        weak = PBKDF2PasswordHasher().encode("read clean metal", "salt", iterations=1000)
        User.objects.filter(pk=person.pk).update(password=weak)
        assert User.objects.get(pk=person.pk).check_password("read clean metal")
        assert User.objects.get(pk=person.pk).password != weak
        assert self.has_access(person) == (True, True)


class TestADeviceOfOnesOwn:
    def test_its_token_is_shown_once_and_speaks_for_the_person(self, crew: User, client_for: ClientFor) -> None:
        client = client_for(crew)
        answer = client.post(reverse("add-device"), {"name": "truck 2 phone", "days": "30"})
        secret = answer.context["secret"]
        assert f'value="{secret}"' in answer.content.decode()
        assert "no-store" in answer["Cache-Control"]
        assert secret not in client.get(reverse("account")).content.decode()
        me = Client().get("/api/v1/users/me/", headers={"Authorization": f"Bearer {secret}"})
        assert me.json()["username"] == crew.username
        days = (DeviceToken.objects.get().expires_at - timezone.now()) / datetime.timedelta(days=1)
        assert 29.9 < days <= 30

    def test_what_is_wrong_is_told_and_what_was_typed_stays(self, crew: User, client_for: ClientFor) -> None:
        answer = client_for(crew).post(reverse("add-device"), {"name": "phone", "days": "5000"})
        assert answer.status_code == 400
        assert answer.context["device_form"].errors == {"days": ["Ensure this value is less than or equal to 365."]}
        assert 'value="phone"' in answer.content.decode()
        assert not DeviceToken.objects.exists()
