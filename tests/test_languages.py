"""Whoever chose Spanish is answered in Spanish, on pages and by the API; what is kept of it is English for all."""

import datetime
import uuid
from typing import Any

import pytest
from django.template import Context, Template
from django.test import Client
from django.utils import translation
from django.utils.formats import date_format
from rest_framework.test import APIClient

from jobs.api import throttling
from jobs.models import DeviceToken, Role, Siting, User
from surveys.models import Survey, SyncEntry
from tests.calcs.api.syncing import Phone, outdoors
from tests.factories import PointFactory, SetupFactory, SitingFactory, SurveyFactory, UserFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def siting(crew: User) -> Siting:
    siting = SitingFactory()
    outdoors(crew, siting)
    return siting


@pytest.fixture
def survey(crew: User, siting: Siting) -> Survey:
    return SurveyFactory(siting=siting, author=crew)


@pytest.fixture
def phone(crew: User) -> APIClient:
    """A phone that asks for English, of somebody who chose Spanish."""
    User.objects.filter(pk=crew.pk).update(language="es")
    _, secret = DeviceToken.objects.issue(user=crew, name="phone", lifetime=datetime.timedelta(days=1))
    client = APIClient(headers={"accept-language": "en"})
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


def said(answer: Any, status: int) -> tuple[str, dict[str, str]]:
    assert answer.status_code == status, answer.content
    assert answer.headers["Content-Language"] == "es"
    told = answer.json()
    return told["message"], told["fields"]


def test_a_broken_constraint(phone: APIClient, siting: Siting) -> None:
    PointFactory(siting=siting, label="A1")
    point = {"siting": str(siting.pk), "label": "A1", "surface": "i_beam", "beam": "A", "x_ft": 1, "y_ft": 2}
    assert said(phone.post("/api/v1/points/", point), 400) == (
        "Revise algunos campos.",
        {"label": "Otro punto de esta casa tiene ese nombre."},
    )


def test_a_refused_reading(phone: APIClient, survey: Survey) -> None:
    reading = {
        "id": str(uuid.uuid4()),
        "setup": str(SetupFactory(survey=survey).pk),
        "point": str(uuid.uuid4()),
        "value": "3,5",
    }
    address = f"/api/v1/surveys/{survey.pk}/readings/"
    message, fields = said(phone.post(address, {"readings": [reading, {"id": 1}]}, format="json"), 400)
    assert message == "Revise algunos campos; no se guardó nada."
    assert fields == {
        "readings[0].value": (
            "'3,5' tiene coma; los decimales van con punto; "
            'escriba pulgadas, por ejemplo 3 5/8, 3-5/8", -1/2, 2\' 3 1/4" o 3.625'
        ),
        "readings[0].point": "No existe ese punto.",
        "readings[1].id": "Dé el UUID propio de la lectura.",
        "readings[1].setup": "Este campo es obligatorio.",
        "readings[1].point": "Este campo es obligatorio.",
    }
    assert said(phone.post(address, {"readings": []}, format="json"), 400)[1] == {
        "readings": "Dé de 1 a 2,000 lecturas."
    }


def test_an_entry_that_was_set_aside(phone: APIClient, survey: Survey) -> None:
    setup = SetupFactory(survey=survey)
    point = PointFactory(siting=survey.siting)
    sent = Phone(phone)
    results = sent.send(
        sent.reading(setup, point, "3 5/7"),
        sent.entry("visit", {}),
        sent.entry("finding", {"siting": str(survey.siting.pk), "grade": "fair", "text": "x" * 2001}),
    )
    assert [one["message"] for one in results] == [
        "Revise algunos campos.",
        "Esta entrada no se puede leer.",
        "Revise algunos campos.",
    ]
    fields = {path: sentence for one in results for path, sentence in one["fields"].items()}
    assert fields["body.value"].startswith("'3 5/7': debajo de la raya puede ir 2, 4, 8, 16, 32 o 64, no 7; escriba")
    assert fields["kind"].startswith("Dé uno de estos: survey, ")
    assert fields["body.grade"] == '"fair" no es una elección válida.'


def test_what_was_set_aside_is_kept_in_english_and_told_to_each_in_their_language(
    phone: APIClient, survey: Survey, office: User, api_for: Any, client_for: Any
) -> None:
    sent = Phone(phone)
    sent.send(sent.reading(SetupFactory(survey=survey), PointFactory(siting=survey.siting), "3 5/7"), "no entry")
    kept = [entry.reason for entry in SyncEntry.objects.all() if entry.reason]
    assert {reason["message"] for reason in kept} == {"Some fields need another look.", "This entry can't be read."}
    assert all("escriba" not in str(reason) for reason in kept)
    told = {reason["message"] for row in phone.get("/api/v1/sync/").json()["results"] if (reason := row["reason"])}
    assert told == {"Revise algunos campos.", "Esta entrada no se puede leer."}
    english = {row["reason"]["message"] for row in api_for(office).get("/api/v1/sync/").json()["results"]}
    assert english == {"Some fields need another look.", "This entry can't be read."}
    page = client_for(survey.author).get("/set-aside/").content.decode()
    assert "debajo de la raya puede ir" in page
    assert "Some fields need another look." not in page


def test_the_same_entry_in_another_language_is_the_same(phone: APIClient, survey: Survey, crew: User) -> None:
    sent = Phone(phone)
    bad = sent.reading(SetupFactory(survey=survey), PointFactory(siting=survey.siting), "3 5/7")
    sent.send(bad)
    kept = SyncEntry.objects.get().reason
    User.objects.filter(pk=crew.pk).update(language="en")
    (again,) = sent.send(bad)
    assert again["message"] == "Some fields need another look."
    assert SyncEntry.objects.get().reason == kept


def test_what_a_role_does_not_allow(phone: APIClient) -> None:
    message, _ = said(phone.post("/api/v1/homes/", {"code": "H9"}), 403)
    assert message == "Para esto hace falta uno de estos roles: gerente, oficina."


def test_what_is_not_there(phone: APIClient, crew: User, client_for: Any) -> None:
    assert said(phone.get(f"/api/v1/homes/{uuid.uuid4()}/"), 404)[0] == "No encontrado."
    assert said(client_for(crew).get("/api/v1/nothing/"), 404)[0] == "No hay nada en esta dirección."
    page = client_for(crew).get("/nothing/", headers={"accept-language": "en"})
    assert page.status_code == 404
    assert "Aquí no hay nada" in page.content.decode()


def test_two_at_once(phone: APIClient, crew: User, survey: Survey) -> None:
    address = f"/api/v1/surveys/{survey.pk}/"
    message, fields = said(phone.patch(address, {"note": "late"}), 428)
    assert message.startswith("Dos personas pueden cambiar esto a la vez, así que hace falta el encabezado If-Match.")
    assert fields["If-Match"].startswith("Envíe el ETag")
    late = phone.patch(address, {"note": "late"}, headers={"If-Match": '"99"'})
    assert said(late, 412)[0] == "Mientras tanto otra persona cambió esto: vea lo que dice ahora y cambie eso."


def test_too_many_requests(phone: APIClient, settings: Any) -> None:
    settings.CELERY_TASK_DEFAULT_QUEUE = f"tests-{uuid.uuid4()}"
    settings.REQUESTS_A_MINUTE = {"person": 0, "sync": 0, "stranger": 0}
    throttling._Rest.until = 0.0
    assert "de esta no se recibió nada" in said(phone.get("/api/v1/rule-book/"), 429)[0]


def test_who_has_not_signed_in_is_answered_as_the_browser_asks(client: Client) -> None:
    for language, message in (
        ("es-MX,es;q=0.9", "Nadie ha iniciado sesión: inicie sesión y hágalo de nuevo."),
        ("en", "Nobody is signed in: sign in, then do it again."),
        ("fr", "Nobody is signed in: sign in, then do it again."),
    ):
        answer = client.get("/api/v1/homes/", headers={"accept-language": language})
        assert (answer.status_code, answer.json()["message"]) == (401, message)
    stale = client.get("/api/v1/homes/", headers={"accept-language": "es", "authorization": "Bearer gone"})
    assert stale.json()["message"].startswith("Este código de acceso del dispositivo no se conoce")


def test_a_person_s_own_language_holds_over_the_browser_s(client_for: Any, crew: User) -> None:
    spanish = UserFactory(username="ana", roles=[Role.CREW], language="es")
    for person, asked, shown in ((crew, "es", "All homes"), (spanish, "en", "Todas las casas")):
        page = client_for(person).get("/", headers={"accept-language": asked}, follow=True)
        assert shown in page.content.decode()


def test_numbers_have_the_point_that_is_asked_for_when_they_are_typed() -> None:
    page = Template('{% load i18n %}{{ miles|floatformat:1 }} mi, {{ load|floatformat:"0g" }} lb, {{ width }} ft')
    with translation.override("es"):
        assert page.render(Context({"miles": 0.94, "load": 15540.2, "width": 12.5})) == "0.9 mi, 15,540 lb, 12.5 ft"
        assert date_format(datetime.date(2026, 12, 4), "l") == "viernes"  # days stay Spanish


def test_what_is_said_after_a_change_of_language_is_said_in_the_new_one(client_for: Any, crew: User) -> None:
    client = client_for(crew)
    form = client.get("/account/").context["form"]
    typed = {name: form[name].value() for name in form.fields} | {"language": "es"}
    page = client.post("/account/", typed, follow=True)
    assert [str(one) for one in page.context["messages"]] == ["Guardado."]
    page = client.post(
        "/account/", typed | {"language": "en", "version": page.context["form"]["version"].value()}, follow=True
    )
    assert [str(one) for one in page.context["messages"]] == ["Kept."]


def test_a_request_leaves_no_language_behind_for_the_next(phone: APIClient, client: Client) -> None:
    assert phone.get("/api/v1/homes/").headers["Content-Language"] == "es"
    assert client.get("/api/v1/homes/", headers={"accept-language": "en"}).headers["Content-Language"] == "en"
    assert translation.get_language() == "en"
