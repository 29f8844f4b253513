"""Pages of mail: what waits and why, trying again and stopping; and its words, with blanks, preview, two at once."""

from collections.abc import Callable

import pytest
from django.conf import LazySettings
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from jobs.mails import BY_HAND
from jobs.models import Mail, MailText, User
from tests.factories import CompanyFactory, MailFactory, MailTextFactory, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
WORDS = {"subject": "We come on {day}", "body": "Dear {customer},\r\n\r\nwe come at {from}."}


def page(client: Client, name: str, *args: object, **query: str) -> str:
    answer = client.get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


# -- what waits ----------------------------------------------------------------------------------------------------


def test_the_list_says_what_has_become_of_each(office: User, client_for: ClientFor) -> None:
    MailFactory(subject="first", tries=2, error="451 no room")
    MailFactory(subject="second", state="failed", error="550 <script>no</script> such user")
    MailFactory(subject="third", state="sent", sent_at=timezone.now())
    MailFactory(subject="fourth", state="stopped", error=BY_HAND)
    MailFactory(subject="fifth", is_unsure=True, tries=1)
    client = client_for(office)
    whole = page(client, "mails")
    for words in ("2 messages wait.", "1 was refused.", "451 no room", "tried 2 times", "goes out from", BY_HAND):
        assert words in whole
    assert "550 &lt;script&gt;no" in whole
    assert "it may have arrived all the same" in whole
    assert "third" not in (failed := page(client, "mails", state="failed"))
    assert "second" in failed
    assert "third" in page(client, "mails", state="nonsense")


def test_the_reason_is_said_in_the_readers_language(office: User, client_for: ClientFor) -> None:
    MailFactory(state="stopped", error=BY_HAND)
    office.language = "es"
    office.save()
    assert BY_HAND not in page(client_for(office), "mails")


def test_only_what_is_not_over_has_buttons(office: User, client_for: ClientFor) -> None:
    MailFactory(state="sent", sent_at=timezone.now())
    MailFactory(state="stopped")
    client = client_for(office)
    assert "Try again" not in page(client, "mails")
    MailFactory(state="failed")
    assert "Try again" in page(client, "mails")


def test_the_office_tries_again_and_stops(office: User, client_for: ClientFor) -> None:
    client, mail = client_for(office), MailFactory(state="failed")
    answer = client.post(reverse("mail-try-again", args=[mail.pk]), {"state": "failed"}, follow=True)
    assert answer.redirect_chain[0][0] == "/mails/?state=failed"
    assert "tried again within a minute" in answer.content.decode()
    mail.refresh_from_db()
    assert mail.state == "waiting"
    client.post(reverse("mail-stop", args=[mail.pk]))
    mail.refresh_from_db()
    assert (mail.state, mail.error) == ("stopped", BY_HAND)
    late = client.post(reverse("mail-try-again", args=[mail.pk]), {"state": "//evil.example"}, follow=True)
    assert late.redirect_chain[0][0] == "/mails/"
    assert "sent or stopped already" in late.content.decode()


def test_it_says_that_nothing_goes_out(office: User, client_for: ClientFor, settings: LazySettings) -> None:
    client = client_for(office)
    assert "No mail" not in page(client, "mails", state="sent").replace("No mail like this.", "")
    settings.EMAIL_BACKEND = "django.core.mail.backends.dummy.EmailBackend"
    assert "No mail server is set up here" in page(client, "mails")
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    assert "written to the log" in page(client, "mails")


@pytest.mark.parametrize("count", [1, 12])
def test_the_list_takes_as_many_queries_for_many(office: User, client_for: ClientFor, count: int) -> None:
    CompanyFactory()
    for _ in range(count):
        MailFactory(made_by=UserFactory(), visit=VisitFactory())
    client = client_for(office)
    page(client, "mails")
    with CaptureQueriesContext(connection) as queries:
        page(client, "mails")
    assert len(queries) == 6  # session, person, time zone, counts, pages, messages


def test_a_long_list_has_pages(office: User, client_for: ClientFor) -> None:
    MailFactory.create_batch(51)
    client = client_for(office)
    assert page(client, "mails").count("<summary>") == 50
    assert page(client, "mails", page="2").count("<summary>") == 1


# -- what it says --------------------------------------------------------------------------------------------------


def keep(client: Client, kind: str = "booked", language: str = "en", **fields: object) -> str:
    answer = client.post(reverse("mail-text", args=[kind, language]), {**WORDS, **fields}, follow=True)
    return answer.content.decode()


def test_the_manager_writes_own_words_and_gives_them_up(manager: User, client_for: ClientFor) -> None:
    client = client_for(manager)
    assert page(client, "mail-words").count("words of the service)") == 8
    keep(client)
    text = MailText.objects.get()
    assert (text.kind, text.language, text.subject) == ("booked", "en", "We come on {day}")
    assert "your own words" in page(client, "mail-words")
    keep(client, subject="{day}: we come", version=1)
    text.refresh_from_db()
    assert (text.subject, text.version) == ("{day}: we come", 2)
    keep(client, drop="1", version=1)
    assert MailText.objects.count() == 1  # somebody else has changed them since
    keep(client, drop="1", version=2)
    assert MailText.objects.count() == 0


@pytest.mark.parametrize(
    ("kind", "language"), [("booked", "en"), ("changed", "es"), ("cancelled", "en"), ("due", "es")]
)
def test_it_is_shown_filled_in(manager: User, client_for: ClientFor, kind: str, language: str) -> None:
    CompanyFactory(letterhead="Plumb and True\n1 Level Way")
    shown = page(client_for(manager), "mail-text", kind, language)
    example = shown.partition('id="example"')[2]
    assert {"en": "Ann Example", "es": "Ana Ejemplo"}[language] in example
    assert "Plumb and True<br>1 Level Way" in example
    assert "{" not in example.partition("</section>")[0]


def test_a_preview_keeps_nothing(manager: User, client_for: ClientFor) -> None:
    CompanyFactory(name="Plumb and True")
    shown = keep(client_for(manager), body="{company} says {from} <b>", preview="1")
    assert "Plumb and True says 8 a.m. &lt;b&gt;" in shown
    assert MailText.objects.count() == 0


def test_blanks_that_there_are_not_are_told_at_the_field(manager: User, client_for: ClientFor) -> None:
    client = client_for(manager)
    answer = client.post(reverse("mail-text", args=["booked", "en"]), {**WORDS, "body": "at {time} {from}"})
    assert answer.status_code == 400
    assert "{time} is no blank here" in answer.content.decode()
    assert "at {time} {from}" in answer.content.decode()  # nothing that was typed is lost
    assert MailText.objects.count() == 0


def test_two_at_once_are_told(manager: User, client_for: ClientFor) -> None:
    MailTextFactory()
    MailText.objects.update(subject="{day}, changed by another")
    shown = keep(client_for(manager), version=1)
    assert "Meanwhile somebody else has saved" in shown
    assert "changed by another" in shown
    assert MailText.objects.get().subject == "{day}, changed by another"


def test_two_who_begin_at_once_are_told(
    manager: User, client_for: ClientFor, monkeypatch: pytest.MonkeyPatch
) -> None:
    clean = MailText.clean

    def first_comes_another(text: MailText) -> None:
        clean(text)
        if text._state.adding and not MailText.objects.exists():
            MailTextFactory()

    monkeypatch.setattr(MailText, "clean", first_comes_another)
    assert "Somebody else has written words for this meanwhile" in keep(client_for(manager))
    assert MailText.objects.count() == 1


@pytest.mark.parametrize(("kind", "language"), [("nothing", "en"), ("booked", "fr")])
def test_there_is_no_page_for_other_words(manager: User, client_for: ClientFor, kind: str, language: str) -> None:
    assert client_for(manager).get(reverse("mail-text", args=[kind, language])).status_code == 404


def test_the_office_reads_mail_and_does_not_write_its_words(office: User, client_for: ClientFor) -> None:
    client = client_for(office)
    assert reverse("mail-words") not in page(client, "mails")
    assert client.get(reverse("mail-words")).status_code == 403
    assert client.post(reverse("mail-text", args=["booked", "en"]), WORDS).status_code == 403


# -- over the API --------------------------------------------------------------------------------------------------


def test_words_are_checked_over_the_api_too(manager: User, api_for: Callable[[User], APIClient]) -> None:
    api = api_for(manager)
    body = {"kind": "booked", "language": "en", "subject": "{day}", "body": "{from}"}
    wrong = api.post("/api/v1/mail-texts/", {**body, "body": "{nothing} {from}"})
    assert (wrong.status_code, list(wrong.json()["fields"])) == (400, ["body"])
    made = api.post("/api/v1/mail-texts/", body)
    assert made.status_code == 201
    address = f"/api/v1/mail-texts/{made.json()['id']}/"
    assert list(api.patch(address, {"body": "we come"}).json()["fields"]) == ["body"]  # the day stands in the subject
    assert api.patch(address, {"body": "we come at {from}"}).status_code == 200
    assert list(api.patch(address, {"kind": "changed"}).json()["fields"]) == ["kind"]
    assert api.post("/api/v1/mail-texts/", body).json()["fields"]
    assert api.delete(address).status_code == 204


def test_mail_is_tried_again_and_stopped_over_the_api(office: User, api_for: Callable[[User], APIClient]) -> None:
    api, mail = api_for(office), MailFactory(state="failed", error="550 no such user")
    address = f"/api/v1/mails/{mail.pk}/"
    assert api.get(address).json()["error"] == "550 no such user"
    assert api.post(f"{address}try-again/").json()["state"] == "waiting"
    assert api.post(f"{address}stop/").json()["state"] == "stopped"
    late = api.post(f"{address}try-again/")
    assert (late.status_code, late.json()["code"]) == (409, "mail_is_over")
    assert [one["id"] for one in api.get("/api/v1/mails/?state=stopped").json()["results"]] == [str(mail.pk)]
    assert api.get("/api/v1/mails/?state=waiting").json()["results"] == []
    assert Mail.objects.count() == 1
