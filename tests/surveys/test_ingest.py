"""Readings coming in: what is stored, what is told, and that nothing is stored by halves."""

import datetime
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import psycopg
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from jobs.models import DeviceToken, Siting, User
from surveys.models import Reading, Setup, Survey
from tests.factories import PointFactory, SetupFactory, SurveyFactory, lay_out_home

pytestmark = pytest.mark.django_db

Post = Callable[..., Any]


@pytest.fixture
def siting() -> Siting:
    return lay_out_home()


@pytest.fixture
def survey(siting: Siting) -> Survey:
    return SurveyFactory(siting=siting)


@pytest.fixture
def setup(survey: Survey) -> Setup:
    return SetupFactory(survey=survey, code="S1")


@pytest.fixture
def phone(lead: User) -> APIClient:
    _, secret = DeviceToken.objects.issue(user=lead, name="phone", lifetime=datetime.timedelta(days=1))
    DeviceToken.objects.update(last_used_at=timezone.now())
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


@pytest.fixture
def post(phone: APIClient, survey: Survey) -> Post:
    def send(*readings: dict[str, Any], to: Survey = survey) -> Any:
        return phone.post(f"/api/v1/surveys/{to.pk}/readings/", {"readings": list(readings)})

    return send


@pytest.fixture
def one(setup: Setup, siting: Siting) -> Callable[..., dict[str, Any]]:
    """Return a function that makes one reading as a phone sends it."""
    points = {point.label: str(point.pk) for point in siting.points.all()}

    def make(value: Any = "10", *, at: str = "A1", **fields: Any) -> dict[str, Any]:
        return {"id": str(uuid.uuid4()), "setup": str(setup.pk), "point": points[at], "value": value} | fields

    return make


def fields_of(response: Any, status: int = 400) -> dict[str, str]:
    assert response.status_code == status
    body: dict[str, Any] = response.json()
    assert set(body) == {"code", "message", "fields"}
    return dict(body["fields"])


# -- what is stored ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "inches"),
    [
        ("3 5/8", "3.625"),
        ('3-5/8"', "3.625"),
        ("-1/2", "-0.5"),
        ("2' 3 1/4\"", "27.25"),
        ("3.625", "3.625"),
        pytest.param(3.625, "3.625", id="a number"),
        (-7, "-7"),
    ],
)
def test_a_length_is_understood_and_kept_as_typed(post: Post, one: Any, typed: Any, inches: str) -> None:
    assert post(one(typed)).json() == {"received": 1, "repeated": 0, "contested": [], "revision": 0}
    reading = Reading.objects.get()
    assert (reading.value_in, reading.typed, reading.unit) == (Decimal(inches), str(typed), "in")


def test_millimetres_become_inches_at_six_decimals(post: Post, one: Any, survey: Survey) -> None:
    Survey.objects.update(unit="mm")
    assert post(one("25.4"), one("1 mm"), one(-92)).status_code == 200
    values = set(Reading.objects.values_list("value_in", flat=True))
    # 1 in = 25.4 mm exactly (NIST SP 811 B.6): 1/25.4 = 0.0393700787..., 92/25.4 = 3.6220472440...
    assert values == {Decimal("1.000000"), Decimal("0.039370"), Decimal("-3.622047")}


def test_everything_a_phone_sends_is_stored(post: Post, one: Any, lead: User) -> None:
    sent = one(
        "14 3/16",
        shot="closing",
        round=2,
        reference_value="1/16",
        taken_at="2026-03-03T06:00:00-06:00",
        sequence=41,
        device="truck 2",
    )
    assert post(sent).status_code == 200
    reading = Reading.objects.get()
    assert str(reading.pk) == sent["id"]
    assert reading.author == lead
    assert (reading.shot, reading.round, reading.sequence, reading.device) == ("closing", 2, 41, "truck 2")
    assert (reading.reference_value_in, reading.reference_typed) == (Decimal("0.0625"), "1/16")
    assert reading.taken_at == datetime.datetime(2026, 3, 3, 12, 0, tzinfo=datetime.UTC)


def test_a_wrong_clock_and_an_archived_point_are_taken(post: Post, one: Any, siting: Siting) -> None:
    siting.points.filter(label="A1").update(archived_at=timezone.now())
    assert post(one(taken_at="2045-01-01T00:00:00Z")).status_code == 200


def test_repeating_a_request_is_harmless(post: Post, one: Any) -> None:
    batch = [one("1"), one("2", at="A2", taken_at="2026-03-03T12:00:00Z")]
    assert post(*batch).json()["received"] == 2
    batch[1]["taken_at"] = "2026-03-03T07:00:00-05:00"  # the same instant, told by another clock
    assert post(*batch, one("3")).json() == {"received": 1, "repeated": 2, "contested": [], "revision": 0}
    assert Reading.objects.count() == 3


def test_the_same_reading_twice_in_a_request_counts_once(post: Post, one: Any) -> None:
    reading = one("1")
    assert post(reading, reading).json() == {"received": 1, "repeated": 1, "contested": [], "revision": 0}


def test_other_content_under_a_known_uuid_is_a_conflict_and_nothing_is_stored(post: Post, one: Any) -> None:
    known, other = one("1"), one("2")
    post(known, other)
    response = post(one("9"), known | {"value": "1 1/2"}, other, other | {"value": "3"})
    assert list(fields_of(response)) == ["readings[3].id"]  # a clash inside one request is told first
    response = post(one("9"), known | {"value": "1 1/2"}, other | {"round": 2})
    assert response.json()["code"] == "conflict"
    assert list(fields_of(response, 409)) == ["readings[1].id", "readings[2].id"]
    assert Reading.objects.count() == 2


def test_the_same_uuid_in_another_survey_is_a_conflict(post: Post, one: Any, siting: Siting) -> None:
    reading = one("1")
    post(reading)
    elsewhere = SetupFactory(survey__siting=siting)
    response = post(reading | {"setup": str(elsewhere.pk)}, to=elsewhere.survey)
    assert list(fields_of(response, 409)) == ["readings[0].id"]


# -- what is wrong, all at once ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"value": "3 5/7"}, "value", "2, 4, 8, 16, 32 or 64"),
        ({"value": "92 mm"}, "value", "not in in"),
        ({"value": "soon"}, "value", "is not a length"),
        ({"value": ""}, "value", "only a correction may be empty"),
        ({"value": None}, "value", "only a correction may be empty"),
        ({"value": True}, "value", "Give a number"),
        ({"value": 1e300}, "value", "length"),
        ({"value": "1" * 41}, "value", "at most 40 characters"),
        ({"value": "8000'"}, "value", "at most 100 ft"),
        ({"reference_value": "x"}, "reference_value", "is not a length"),
        ({"id": "7"}, "id", "UUID"),
        ({"setup": str(uuid.UUID(int=1))}, "setup", "There is no such setup."),
        ({"point": str(uuid.UUID(int=1))}, "point", "There is no such point."),
        ({"shot": "foresight"}, "shot", "point, reference or closing"),
        ({"round": 0}, "round", "1 to 9"),
        ({"round": 10}, "round", "1 to 9"),
        ({"sequence": -1}, "sequence", "from 0"),
        ({"taken_at": "2026-03-03T12:00:00"}, "taken_at", "with its zone"),
        ({"device": "a\x00b"}, "device", "on one line"),
        ({"device": "d" * 81}, "device", "80 characters"),
        ({"colour": "red"}, "colour", "There is no such field."),
        ({"settles": str(uuid.UUID(int=1))}, "replaces", "To settle"),
        ({"replaces": str(uuid.UUID(int=1)), "reason": "slip"}, "replaces", "no such reading"),
        ({"replaces": str(uuid.UUID(int=1))}, "reason", "Say why"),
        ({"replaces": "x"}, "replaces", "UUID"),
        ({"reason": "r" * 201}, "reason", "200 characters"),
    ],
)
def test_a_wrong_field_is_named(post: Post, one: Any, changed: dict[str, Any], field: str, said: str) -> None:
    response = post(one("1"), one() | changed)
    assert said in fields_of(response)[f"readings[1].{field}"]
    assert not Reading.objects.exists()


@pytest.mark.parametrize("missing", ["id", "setup", "point"])
def test_a_missing_field_is_named(post: Post, one: Any, missing: str) -> None:
    reading = one()
    del reading[missing]
    assert fields_of(post(reading)) == {f"readings[0].{missing}": "This field is required."}


def test_all_faults_of_all_rows_are_told_at_once(post: Post, one: Any) -> None:
    response = post(one("x"), one(round=12, sequence="1"), one(), one("3 1/3", id="1"), "seven", one(value=""))
    assert sorted(fields_of(response)) == [
        "readings[0].value",
        "readings[1].round",
        "readings[1].sequence",
        "readings[3].id",
        "readings[4]",
        "readings[5].value",
    ]


def test_what_belongs_elsewhere_is_told_from_what_is_unknown(post: Post, one: Any) -> None:
    response = post(one(setup=str(SetupFactory().pk), point=str(PointFactory().pk)))
    assert fields_of(response) == {
        "readings[0].setup": "This setup belongs to another survey.",
        "readings[0].point": "This point lies under another siting.",
    }


def test_two_thousand_readings_are_taken_and_one_more_is_not(post: Post, one: Any) -> None:
    batch = [one(n % 1000, sequence=n) for n in range(2001)]
    refused = post(*batch)
    assert fields_of(refused, 413) == {"readings": "Send at most 2,000 readings at once; this is 2,001."}
    assert post(*batch[:2000]).json()["received"] == 2000


NOT_JSON = [
    b"",
    b"{",
    b'{"readings": NaN}',
    b'"\xff"',
    b'{"readings":[{"device":"\\ud800"}]}',
    b'{"readings":[{"round":1' + b"0" * 5000 + b"}]}",
    b'{"readings":' + b"[" * 9000 + b"]" * 9000 + b"}",
]


@pytest.mark.parametrize("body", NOT_JSON, ids=lambda body: body[:30].decode("latin-1"))
def test_what_is_not_json_is_told(phone: APIClient, survey: Survey, body: bytes) -> None:
    response = phone.post(f"/api/v1/surveys/{survey.pk}/readings/", body, content_type="application/json")
    assert response.status_code == 400
    assert response.json()["code"] in ("parse_error", "invalid")


@pytest.mark.parametrize("document", [[], {}, {"readings": {}}, {"readings": []}])
def test_a_body_of_another_shape_is_told(phone: APIClient, survey: Survey, document: Any) -> None:
    response = phone.post(f"/api/v1/surveys/{survey.pk}/readings/", document)
    assert list(fields_of(response)) == ["readings"]


def test_an_unknown_survey_another_type_and_no_token(phone: APIClient, survey: Survey, one: Any) -> None:
    batch = {"readings": [one()]}
    address = f"/api/v1/surveys/{survey.pk}/readings/"
    assert fields_of(phone.post(f"/api/v1/surveys/{uuid.uuid4()}/readings/", batch), 404) == {}
    assert fields_of(phone.post(address, "a,b", content_type="text/csv"), 415) == {}
    assert fields_of(APIClient().post(address, batch), 401) == {}
    assert fields_of(phone.get(address), 405) == {}
    stranger = APIClient()
    stranger.credentials(HTTP_AUTHORIZATION="Bearer nonsense")
    refused = stranger.post(address, batch)
    assert refused.json()["code"] == "authentication_failed"
    assert refused.headers["WWW-Authenticate"] == 'Bearer realm="api"'
    assert fields_of(refused, 401) == {}


@pytest.mark.parametrize("why", ["revoked", "expired", "inactive"])
def test_a_token_that_does_not_hold_is_refused(post: Post, one: Any, lead: User, why: str) -> None:
    past = timezone.now() - datetime.timedelta(hours=1)
    if why == "inactive":
        User.objects.filter(pk=lead.pk).update(is_active=False)
    else:
        DeviceToken.objects.update(**{"revoked_at" if why == "revoked" else "expires_at": past})
    assert fields_of(post(one()), 401) == {}
    assert not Reading.objects.exists()


def test_a_request_beyond_the_server_limit_is_413(phone: APIClient, survey: Survey) -> None:
    body = b'{"readings": [' + b" " * 2_700_000 + b"]}"
    response = phone.post(f"/api/v1/surveys/{survey.pk}/readings/", body, content_type="application/json")
    assert fields_of(response, 413) == {}


def test_a_session_may_post_too(api_for: Any, lead: User, survey: Survey, one: Any) -> None:
    response = api_for(lead).post(f"/api/v1/surveys/{survey.pk}/readings/", {"readings": [one()]})
    assert response.json()["received"] == 1
    assert Reading.objects.get().author == lead


@pytest.mark.django_db(transaction=True)
def test_a_connection_that_was_cut_is_opened_again(post: Post, one: Any) -> None:
    assert post(one("1")).status_code == 200
    with psycopg.connect(**connection.get_connection_params() | {"cursor_factory": psycopg.Cursor}) as other:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_backend_pid()")
            (pid,) = cursor.fetchone()
        other.execute("SELECT pg_terminate_backend(%s, 5000)", [pid])
    assert post(one("2")).json()["received"] == 1


# -- queries -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [1, 3, 60])
def test_the_number_of_queries_does_not_grow(post: Post, one: Any, count: int) -> None:
    batch = [one(n) for n in range(count)]
    with CaptureQueriesContext(connection) as first:
        post(*batch)
    with CaptureQueriesContext(connection) as again:
        post(*batch)
    # token and survey with its setups and points, savepoint (inside a test's transaction only), insert, release
    assert (len(first), len(again)) == (4, 4)


def test_a_phone_that_sends_too_often_waits_and_nothing_of_it_is_stored(post: Post, one: Any, settings: Any) -> None:
    settings.REQUESTS_A_MINUTE = {**settings.REQUESTS_A_MINUTE, "person": 2}
    settings.CELERY_TASK_DEFAULT_QUEUE = f"readings {uuid.uuid4()}"
    answers = [post(one()) for _ in range(6)]  # in two minutes at the most, of which each allows two
    late = [answer for answer in answers if answer.status_code == 429]
    assert len(late) >= 2
    assert {answer.json()["code"] for answer in late} == {"throttled"}
    assert all(0 < int(answer["Retry-After"]) <= 60 for answer in late)
    assert Reading.objects.count() == 6 - len(late)
