"""The pages about people and homes: who sees them, what they say, and that none asks the database row by row."""

import datetime
import re
from collections.abc import Callable

import pytest
from django.core.signing import TimestampSigner
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries, Settings
from rest_framework.test import APIClient

from jobs.models import User, Visit
from jobs.views import DEMO_LINK_MAX_AGE_S, demo_link
from tests.factories import CompanyFactory, HomeFactory, SitingFactory, UserFactory, VisitFactory

ClientFor = Callable[[User], Client]


def make_homes(count: int) -> None:
    for _ in range(count):
        VisitFactory(
            siting=SitingFactory(),
            starts_at=timezone.now() + datetime.timedelta(days=1),
            ends_at=timezone.now() + datetime.timedelta(days=1, hours=2),
        )


@pytest.mark.django_db
class TestSignIn:
    def test_signed_out_is_sent_to_sign_in_and_back(self, client: Client) -> None:
        response = client.get(reverse("account"))
        assert response.status_code == 302
        assert response["Location"] == f"{reverse('sign-in')}?next={reverse('account')}"

    def test_name_and_password_sign_in_and_set_the_language(self, client: Client) -> None:
        user = UserFactory(language="es")
        user.set_password("a long password")
        user.save()
        response = client.post(reverse("sign-in"), {"username": user.username, "password": "a long password"})
        assert response["Location"] == reverse("home-list")
        assert response.cookies["django_language"].value == "es"

    def test_wrong_password_says_so_and_keeps_the_name(self, client: Client) -> None:
        page = client.post(reverse("sign-in"), {"username": "nobody", "password": "wrong"}).content.decode()
        assert "No one has this name with this password." in page
        assert 'value="nobody"' in page

    def test_sign_out_needs_a_post(self, client_for: ClientFor, crew: User) -> None:
        client = client_for(crew)
        assert client.get(reverse("sign-out")).status_code == 405
        assert client.post(reverse("sign-out"))["Location"] == reverse("sign-in")
        assert client.get(reverse("home-list")).status_code == 302


@pytest.mark.django_db
class TestDemoLink:
    def test_link_signs_in_while_the_demo_runs(self, client: Client, lead: User, settings: Settings) -> None:
        settings.DEMO = True
        assert client.get(demo_link(lead))["Location"] == reverse("home-list")
        assert client.get(reverse("home-list")).context["user"] == lead

    def test_elsewhere_there_is_no_such_page(self, client: Client, lead: User, settings: Settings) -> None:
        settings.DEMO = False
        assert client.get(demo_link(lead)).status_code == 404
        assert client.get(reverse("home-list")).status_code == 302

    @pytest.mark.parametrize("token", ["nonsense", "a:b:c"])
    def test_forged_link_is_not_found(self, client: Client, settings: Settings, token: str) -> None:
        settings.DEMO = True
        assert client.get(reverse("demo-sign-in", args=[token])).status_code == 404

    def test_link_signed_for_something_else_is_not_found(
        self, client: Client, lead: User, settings: Settings
    ) -> None:
        settings.DEMO = True
        other = TimestampSigner(salt="something else").sign(str(lead.pk))
        assert client.get(reverse("demo-sign-in", args=[other])).status_code == 404

    def test_link_ends_after_a_week(
        self, client: Client, lead: User, settings: Settings, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        settings.DEMO = True
        link = demo_link(lead)
        now = timezone.now().timestamp()
        monkeypatch.setattr("django.core.signing.time.time", lambda: now + DEMO_LINK_MAX_AGE_S + 2)
        assert client.get(link).status_code == 404

    def test_inactive_person_is_not_signed_in(self, client: Client, lead: User, settings: Settings) -> None:
        settings.DEMO = True
        User.objects.filter(pk=lead.pk).update(is_active=False)
        assert client.get(demo_link(lead)).status_code == 404


@pytest.mark.django_db
class TestHomeList:
    @pytest.mark.parametrize("persona", ["manager", "office", "lead", "crew"])
    def test_every_role_starts_here(
        self, client_for: ClientFor, persona: str, request: pytest.FixtureRequest
    ) -> None:
        home, person = HomeFactory(name="Pellen house"), request.getfixturevalue(persona)
        VisitFactory(siting=SitingFactory(home=home)).crew.add(person)
        response = client_for(person).get(reverse("home-list"))
        assert response.status_code == 200
        assert reverse("home", args=[home.pk]) in response.content.decode()

    def test_crew_sees_own_visits_office_sees_all(self, client_for: ClientFor, crew: User, office: User) -> None:
        make_homes(2)
        mine = VisitFactory(
            starts_at=timezone.now() + datetime.timedelta(days=3), ends_at=timezone.now() + datetime.timedelta(days=4)
        )
        mine.crew.add(crew)
        assert list(client_for(crew).get(reverse("home-list")).context["visits"]) == [mine]
        assert len(client_for(office).get(reverse("home-list")).context["visits"]) == 3

    def test_past_visits_are_not_next(self, client_for: ClientFor, office: User) -> None:
        VisitFactory()
        assert not client_for(office).get(reverse("home-list")).context["visits"]

    @pytest.mark.parametrize("rows", [1, 3])
    def test_queries_do_not_grow_with_rows(
        self,
        client_for: ClientFor,
        office: User,
        rows: int,
        django_assert_num_queries: DjangoAssertNumQueries,
    ) -> None:
        make_homes(rows)
        client = client_for(office)
        # session, user, time zone; count, homes, their sitings; visits
        with django_assert_num_queries(7):
            client.get(reverse("home-list"))

    def test_search_finds_by_address_and_says_when_nothing_fits(self, client_for: ClientFor, office: User) -> None:
        siting = SitingFactory(address="7 Teasel Row")
        HomeFactory(code="OTHER")
        client = client_for(office)
        found = client.get(reverse("home-list"), {"q": "teasel"}).context["page"].object_list
        assert list(found) == [siting.home]
        assert "contains “zzz”" in client.get(reverse("home-list"), {"q": "zzz"}).content.decode()

    @pytest.mark.parametrize("number", ["0", "-1", "999", "x", "\x00"])
    def test_strange_page_numbers_are_harmless(self, client_for: ClientFor, office: User, number: str) -> None:
        HomeFactory()
        assert client_for(office).get(reverse("home-list"), {"page": number, "q": number}).status_code == 200

    def test_pages_hold_fifty(self, client_for: ClientFor, office: User) -> None:
        for _ in range(51):
            HomeFactory()
        second = client_for(office).get(reverse("home-list"), {"page": 2})
        assert len(second.context["page"].object_list) == 1
        assert 'rel="prev"' in second.content.decode()

    def test_times_are_the_companys(self, client_for: ClientFor, office: User) -> None:
        CompanyFactory(time_zone="Pacific/Auckland")
        tomorrow = timezone.now().replace(hour=12, minute=0) + datetime.timedelta(days=1)
        visit = VisitFactory(starts_at=tomorrow, ends_at=tomorrow + datetime.timedelta(hours=1))
        page = client_for(office).get(reverse("home-list")).content.decode()
        with timezone.override("Pacific/Auckland"):
            shown = timezone.localtime(visit.starts_at).strftime("%H:%M")
        assert f", {shown}, inspection" in page


@pytest.mark.django_db
class TestAccount:
    def test_unit_and_language_are_kept(self, client_for: ClientFor, crew: User) -> None:
        response = client_for(crew).post(
            reverse("account"), {"language": "es", "length_unit": "mm", "version": crew.version}
        )
        assert response.cookies["django_language"].value == "es"
        crew.refresh_from_db()
        assert (crew.language, crew.length_unit) == ("es", "mm")

    def test_unknown_unit_is_refused_at_its_field(self, client_for: ClientFor, crew: User) -> None:
        response = client_for(crew).post(
            reverse("account"), {"language": "en", "length_unit": "ell", "version": crew.version}
        )
        assert list(response.context["form"].errors) == ["length_unit"]
        assert 'aria-invalid="true"' in response.content.decode()

    def test_nobody_gets_another_role_here(self, client_for: ClientFor, crew: User) -> None:
        client_for(crew).post(
            reverse("account"),
            {"language": "en", "length_unit": "in", "version": 1, "roles": "manager", "is_superuser": "1"},
        )
        crew.refresh_from_db()
        assert (crew.roles, crew.is_superuser) == (["crew"], False)

    def test_somebody_elses_change_meanwhile_is_shown_beside_ones_own(
        self, client_for: ClientFor, crew: User
    ) -> None:
        client = client_for(crew)
        User.objects.filter(pk=crew.pk).update(language="es", phone="555 0105")
        typed = {"language": "en", "length_unit": "mm", "version": crew.version}
        page = client.post(reverse("account"), typed)
        assert [(one.theirs.field, one.typed) for one in page.context["form"].clashes] == [
            ("phone", None),
            ("language", "English"),
        ]
        assert "Todavía no se guardó nada" in page.content.decode()
        assert client.post(reverse("account"), typed | {"version": page.context["form"]["version"].value()})
        crew.refresh_from_db()
        assert (crew.language, crew.length_unit, crew.phone) == ("en", "mm", "555 0105")


@pytest.mark.django_db
class TestArchive:
    def test_a_home_is_archived_and_restored_on_its_page(self, client_for: ClientFor, office: User) -> None:
        home = HomeFactory(name="the blue one")
        client = client_for(office)
        client.post(reverse("home-archive", args=[home.pk]))
        page = client.get(reverse("home", args=[home.pk])).content.decode()
        assert "Archived on" in page
        assert list(client.get(reverse("home-list")).context["page"].object_list) == []
        archived = client.get(reverse("home-list"), {"archived": "yes"})
        assert list(archived.context["page"].object_list) == [home]
        client.post(reverse("home-restore", args=[home.pk]))
        assert list(client.get(reverse("home-list")).context["page"].object_list) == [home]
        told = client.get(reverse("home-changes", args=[home.pk])).content.decode()
        assert "Restored home" in told
        assert "Archived home" in told

    def test_a_home_where_somebody_is_booked_is_not_archived(
        self, client_for: ClientFor, api_for: Callable[[User], APIClient], office: User
    ) -> None:
        CompanyFactory()
        siting, soon = SitingFactory(), timezone.now() + datetime.timedelta(days=1)
        visit = VisitFactory(siting=siting, starts_at=soon, ends_at=soon + datetime.timedelta(hours=1))
        sentence = f"{siting.home} is booked: {visit}. Cancel these visits first."
        page = client_for(office).post(reverse("home-archive", args=[siting.home_id]), follow=True)
        assert sentence in page.content.decode()
        answer = api_for(office).delete(f"/api/v1/homes/{siting.home_id}/", headers={"If-Match": "*"})
        assert (answer.status_code, answer.json()["message"]) == (409, sentence)
        siting.home.refresh_from_db()
        assert siting.home.archived_at is None
        Visit.objects.update(state="cancelled")
        assert (
            api_for(office).delete(f"/api/v1/homes/{siting.home_id}/", headers={"If-Match": "*"}).status_code == 204
        )
        siting.home.refresh_from_db()
        assert siting.home.archived_at is not None

    def test_who_may_not_archive_has_no_button_and_is_refused(self, client_for: ClientFor, lead: User) -> None:
        home = HomeFactory()
        client = client_for(lead)
        address = reverse("home-archive", args=[home.pk])
        assert address not in client.get(reverse("home", args=[home.pk])).content.decode()
        assert client.post(address).status_code == 403
        assert client.get(address).status_code == 405
        home.refresh_from_db()
        assert home.archived_at is None


@pytest.mark.django_db
def test_pages_hold_no_inline_script_or_style(client_for: ClientFor, lead: User) -> None:
    siting = SitingFactory()
    client = client_for(lead)
    for address in (
        reverse("home-list"),
        reverse("account"),
        reverse("layout", args=[siting.pk]),
        reverse("home", args=[siting.home_id]),
    ):
        page = client.get(address).content.decode()
        assert not re.search(r"<script(?![^>]*\ssrc=)", page), address
        assert not re.search(r"\sstyle=|<style|\son[a-z]+=|javascript:", page), address


def test_a_form_sent_after_the_session_has_ended_leads_back_to_its_page(client: Client) -> None:
    sent_from = "http://testserver/people/?page=2"
    for referer, leads_to in ((sent_from, "/people/"), ("https://elsewhere.example/x", "/"), ("", "/")):
        answer = client.post(reverse("invite"), {"email": "x@y.example"}, headers={"referer": referer})
        assert (answer.status_code, answer["Location"]) == (302, f"/sign-in/?next={leads_to}")


def test_somebody_of_the_crew_without_visits_is_told_so(crew: User, client: Client) -> None:
    client.force_login(crew)
    text = client.get(reverse("home-list")).content.decode()
    assert "No visit of yours is booked" in text
    assert "There are no homes yet" not in text
