"""Links for people outside: who makes and takes them back, what they open, and what nobody outside ever sees."""

import datetime
import logging
import re
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from calcs.engine.units import parse_length
from calcs.services import request_calculations
from jobs import links
from jobs.errors import DomainError
from jobs.models import Home, Photo, SignedLink, SignedLinkUse, User, Visit
from surveys.models import Survey
from tests.calcs.working import read_survey, work_off
from tests.factories import CustomerFactory, HomeContactFactory, HomeFactory, SitingFactory, UserFactory, VisitFactory
from tests.jobs.pictures import OWNER, picture
from tests.jobs.test_photos import kept

pytestmark = pytest.mark.django_db
API = "/api/v1/signed-links/"


@pytest.fixture(autouse=True)
def files(tmp_path: Path, settings: Any) -> None:
    settings.MEDIA_ROOT = str(tmp_path / "files")


@pytest.fixture
def home() -> Home:
    return HomeFactory(code="PF-7", access_notes="gate code 4711")


def made(home: Home, office: User, audience: str = "homeowner", days: int = 14) -> tuple[SignedLink, str]:
    row, secret = links.issue(home=home, audience=audience, holder="Ann Tolliver", days=days, by=office)
    return row, reverse("shared", args=[secret])


def text_of(address: str, status: int = 200) -> str:
    answer = Client(headers={"user-agent": "Firefox/140"}).get(address)
    assert answer.status_code == status
    return " ".join(answer.content.decode().split())


# -- making one and taking it back ---------------------------------------------------------------------------


def test_the_address_is_shown_once_and_opens(home: Home, office: User, client_for: Any) -> None:
    client, page = client_for(office), reverse("home-links", args=[home.pk])
    assert page in client.get(reverse("home", args=[home.pk])).content.decode()
    typed = {"holder": "Ann Tolliver", "audience": "homeowner", "days": "7"}
    answer = client.post(page, typed)
    address = answer.context["address"]
    assert f'value="{address}"' in answer.content.decode()
    assert "no-store" in answer["Cache-Control"]
    secret = address.rstrip("/").rpartition("/")[2]
    assert secret not in client.get(page).content.decode()
    assert secret not in str(SignedLink.objects.values())
    text_of(address.removeprefix("http://testserver"))
    assert "opened 1 time" in " ".join(client.get(page).content.decode().split())


def test_taken_back_it_opens_no_more_and_says_who(home: Home, office: User, client_for: Any) -> None:
    row, address = made(home, office)
    assert client_for(office).post(reverse("link-take-back", args=[row.pk])).status_code == 302
    text_of(address, 404)
    row.refresh_from_db()
    assert (row.revoked_by, row.state_now()) == (office, "revoked")
    before = row.revoked_at
    links.take_back(row, by=UserFactory(roles=["manager"]))
    row.refresh_from_db()
    assert (row.revoked_at, row.revoked_by) == (before, office)


def test_over_the_api(home: Home, office: User, api_for: Any) -> None:
    client = api_for(office)
    answer = client.post(API, {"home": str(home.pk), "audience": "engineer", "holder": "County inspector", "days": 3})
    assert answer.status_code == 201
    told = answer.json()
    text_of(told["link"].removeprefix("http://testserver"))
    listed = client.get(f"{API}?home={home.pk}").json()["results"]
    assert [(one["state"], one["times_opened"], "link" in one) for one in listed] == [("open", 1, False)]
    (use,) = client.get(f"{API}{told['id']}/uses/").json()["results"]
    assert (use["address"], use["browser"]) == ("127.0.0.1", "Firefox/140")
    assert client.delete(f"{API}{told['id']}/").status_code == 204
    assert client.get(f"{API}{told['id']}/").json()["state"] == "revoked"
    text_of(told["link"].removeprefix("http://testserver"), 404)


@pytest.mark.parametrize(
    ("changed", "field"),
    [({"holder": " "}, "holder"), ({"days": 0}, "days"), ({"days": 91}, "days"), ({"audience": "press"}, "audience")],
)
def test_what_is_wrong_is_told_at_the_field(
    changed: dict[str, Any], field: str, home: Home, office: User, api_for: Any
) -> None:
    right = {"home": str(home.pk), "audience": "engineer", "holder": "County inspector"}
    answer = api_for(office).post(API, right | changed)
    assert (answer.status_code, list(answer.json()["fields"])) == (400, [field])
    with pytest.raises(DomainError) as refused:
        links.issue(**{"home": home, "audience": "engineer", "holder": "x", "days": 3, "by": office} | changed)
    assert list(refused.value.fields) == [field]


@pytest.mark.parametrize(
    ("role", "says"),
    [
        ("manager", (200, 201)),
        ("office", (200, 201)),
        ("crew_lead", (200, 403)),
        ("crew", (403, 403)),
        ("", (403, 403)),
    ],
)
def test_who_may(role: str, says: tuple[int, int], home: Home, office: User, api_for: Any) -> None:
    row, _ = made(home, office)
    sees, makes = says
    client = api_for(UserFactory(roles=[role] if role else []))
    assert client.get(API).status_code == sees
    new = {"home": str(home.pk), "audience": "homeowner", "holder": "Ann"}
    assert client.post(API, new).status_code == makes
    assert client.delete(f"{API}{row.pk}/").status_code == (204 if makes == 201 else 403)


def test_who_may_on_pages(home: Home, office: User, lead: User, crew: User, client_for: Any) -> None:
    row, _ = made(home, office)
    VisitFactory(siting=SitingFactory(home=home)).crew.add(crew)
    page = reverse("home-links", args=[home.pk])
    assert "Make a link" not in client_for(lead).get(page).content.decode()
    assert client_for(lead).post(page, {"holder": "x"}).status_code == 403
    for address in (page, reverse("link-take-back", args=[row.pk])):
        assert client_for(crew).post(address).status_code in (403, 404)
    assert page not in client_for(crew).get(reverse("home", args=[home.pk])).content.decode()


# -- what opens, and what doesn't ----------------------------------------------------------------------------


def test_too_old_unknown_and_to_an_archived_home_all_answer_alike(home: Home, office: User) -> None:
    row, address = made(home, office)
    text_of(address)
    SignedLink.objects.filter(pk=row.pk).update(expires_at=timezone.now())
    closed = text_of(address, 404)
    assert text_of("/shared/what-nobody-made/", 404) == closed
    _, other = made(home, office)
    Home.objects.filter(pk=home.pk).archive()
    assert text_of(other, 404) == closed
    with pytest.raises(DomainError, match="archived"):
        made(Home.objects.get(pk=home.pk), office)


def test_a_link_opens_nothing_else(home: Home, office: User) -> None:
    _, address = made(home, office)
    secret = address.strip("/").rpartition("/")[2]
    client = Client(headers={"authorization": f"Bearer {secret}"}, cookies=None)
    client.cookies["sessionid"] = secret
    assert client.get(API).status_code == 401
    assert client.get(reverse("home", args=[home.pk])).status_code == 302
    for method in ("post", "put", "patch", "delete"):
        assert getattr(client, method)(address).status_code == 405
    elsewhere = kept(SitingFactory(), picture())
    for name in ("shared-photo", "shared-photo-small"):
        assert client.get(reverse(name, args=[secret, elsewhere.pk])).status_code == 404


def test_its_answers_are_not_kept_found_or_passed_on(home: Home, office: User) -> None:
    _, address = made(home, office)
    for answer in (Client().get(address), Client().get("/shared/nothing/"), Client().post(address)):
        assert answer["Cache-Control"] == "no-store"
        assert answer["Referrer-Policy"] == "no-referrer"
        assert "noindex" in answer["X-Robots-Tag"]
        assert not answer.cookies


def test_openings_are_noted_once_a_minute_and_place(home: Home, office: User) -> None:
    row, address = made(home, office)
    for _ in range(3):
        text_of(address)
    Client().head(address)
    use = SignedLinkUse.objects.get()
    assert (use.link, use.address, use.browser) == (row, "127.0.0.1", "Firefox/140")
    SignedLinkUse.objects.update(opened_at=timezone.now() - datetime.timedelta(minutes=2))
    text_of(address)
    assert SignedLinkUse.objects.count() == 2


def test_whoever_asks_too_often_waits(home: Home, office: User, settings: Any) -> None:
    _, address = made(home, office)
    settings.REQUESTS_A_MINUTE = {**settings.REQUESTS_A_MINUTE, "link": 2}
    settings.CELERY_TASK_DEFAULT_QUEUE = f"links {address}"
    answers = [Client().get(address) for _ in range(6)]
    late = [answer for answer in answers if answer.status_code == 429]
    assert len(late) >= 2  # a minute may have ended in between
    assert all(0 < int(answer["Retry-After"]) <= 60 for answer in late)


def test_the_secret_is_in_no_log(home: Home, office: User, caplog: pytest.LogCaptureFixture, settings: Any) -> None:
    from jobs.project.logs import facts_of, safe_path

    _, address = made(home, office)
    secret = address.strip("/").rpartition("/")[2]
    assert secret not in safe_path(address)
    with caplog.at_level(logging.INFO):
        Client().get(address)
        Client().get(address + "no-such-page/")
    assert caplog.records
    assert not [record for record in caplog.records if secret in str(facts_of(record))]


def test_the_secret_is_not_told_with_an_exception(
    home: Home, office: User, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    from jobs.project.logs import JsonFormatter

    _, address = made(home, office)
    secret = address.strip("/").rpartition("/")[2]

    def fails(home: Home, **named: Any) -> None:
        raise RuntimeError(f"could not read {address}")

    monkeypatch.setattr("calcs.shared_page._shown", fails)
    lines: list[str] = []
    monkeypatch.setattr(caplog.handler, "emit", lambda record: lines.append(JsonFormatter().format(record)))
    answer = Client(raise_request_exception=False).get(address)
    assert answer.status_code == 500
    assert secret not in answer.content.decode()
    assert any("RuntimeError" in line for line in lines)
    assert not [line for line in lines if secret in line]


# -- what is shown -------------------------------------------------------------------------------------------


@pytest.fixture
def read(office: User) -> Survey:
    """A home that was read and worked out, with everything about it that nobody outside may see."""
    survey = read_survey()
    work_off([request_calculations(survey).pk])
    Home.objects.filter(pk=survey.siting.home_id).update(access_notes="gate code 4711")
    HomeContactFactory(home=survey.siting.home, customer=CustomerFactory(name="Zeb Quill", notes="pays late"))
    return survey


def test_an_owner_sees_how_level_it_is_and_no_way_in(read: Survey, office: User) -> None:
    soon = timezone.now() + datetime.timedelta(days=9)
    VisitFactory(siting=read.siting, starts_at=soon, ends_at=soon + datetime.timedelta(hours=2), note="mind the dog")
    _, address = made(read.siting.home, office)
    text = text_of(address)
    for words in (read.siting.address, "How level it is", "Next visit", "Level map", "It does not say why"):
        assert words in text
    hidden = ("4711", "Zeb Quill", "pays late", "mind the dog", str(read.author), "/homes/", "/surveys/", "<form")
    assert [words for words in hidden if words in text] == []
    assert "standard deviation" not in text
    assert "arrow up: raise" not in text  # what is planned is not the owner's map


def test_an_owner_is_told_in_words_how_level_and_how_sure(read: Survey, office: User) -> None:
    _, address = made(read.siting.home, office)
    result = read.answers.get(kind="flatness").calculation.result
    words = {"over": "Out of level when it was read", "within": "Level when it was read"}
    text = text_of(address)
    assert words.get(result["verdict"], "Too close to call") in text
    # 1.96 sd is 19 times in 20 (ISO/IEC Guide 98-3, annex G), here rounded up to the sixteenth
    known_in = 1.96 * max(pair["sd_in"] for pair in result["pairs"])
    said = re.search(r"known to within (.+?) in either way", re.sub(r"<[^>]+>", "", text))
    assert said is not None
    assert 0 <= float(parse_length(said[1])) - known_in < 1 / 16
    assert "The worst pair:" in text


def test_what_was_read_in_the_middle_of_a_job_is_not_shown(read: Survey, office: User) -> None:
    _, address = made(read.siting.home, office)
    Survey.objects.filter(pk=read.pk).update(stage="during")
    assert "No survey of this home has been worked out yet" in text_of(address)


def test_a_link_outlives_the_account_of_whoever_made_it(home: Home, office: User) -> None:
    _, address = made(home, office)
    office.is_active = False
    office.save()
    text_of(address)


def test_an_engineer_sees_the_figures_too(read: Survey, office: User) -> None:
    _, address = made(read.siting.home, office, "engineer")
    text = text_of(address)
    shown = (
        "standard deviation",
        "Pairs",
        "What ties it down",
        "Straps",
        "Ways to lift it",
        "recommended",
        "Moves of",
    )
    assert [words for words in shown if words not in text] == []
    assert "4711" not in text


def test_a_photo_is_shown_without_what_the_camera_wrote_into_it(read: Survey, office: User) -> None:
    photo = kept(read.siting, picture())
    Photo.objects.filter(pk=photo.pk).update(caption="cap at B2")
    _, address = made(read.siting.home, office)
    assert "cap at B2" in text_of(address)
    for ending in ("", "small/"):
        answer = Client().get(f"{address}photos/{photo.pk}/{ending}")
        assert (answer.status_code, answer["Content-Type"]) == (200, "image/jpeg")
        assert OWNER.encode() not in answer.content
        assert b"Exif" not in answer.content
        assert answer["Cache-Control"] == "no-store"
    Photo.objects.filter(pk=photo.pk).archive()
    assert Client().get(f"{address}photos/{photo.pk}/").status_code == 404


def test_a_home_that_was_never_read_or_stands_nowhere(home: Home, office: User) -> None:
    _, address = made(home, office, "engineer")
    assert "No survey of this home has been worked out yet" in text_of(address)
    Visit.objects.all().delete()
    SitingFactory(home=home)
    assert "No survey of this home has been worked out yet" in text_of(address)


@pytest.mark.parametrize("audience", ["homeowner", "engineer"])
def test_as_many_queries_for_three_of_everything_as_for_one(audience: str, read: Survey, office: User) -> None:
    _, address = made(read.siting.home, office, audience)
    counts = []
    for more in (1, 2):
        for _ in range(more):
            kept(read.siting, picture())
        Client().get(address)
        with CaptureQueriesContext(connection) as queries:
            Client().get(address)
        counts.append(len(queries))
    assert counts[0] == counts[1]


@pytest.mark.parametrize("address", ["list", "uses", "page"])
def test_lists_ask_as_often_for_three_as_for_one(
    address: str, home: Home, office: User, client_for: Any, api_for: Any
) -> None:
    row, _ = made(home, office)
    place = {"list": API, "uses": f"{API}{row.pk}/uses/", "page": reverse("home-links", args=[home.pk])}[address]
    client = client_for(office) if address == "page" else api_for(office)
    counts = []
    for more in (1, 2):
        for _ in range(more):
            made(home, office)
            SignedLinkUse.objects.create(link=row)
        client.get(place)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(place).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
