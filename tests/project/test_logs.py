"""What is logged: a line a record, with ids that join a request to its tasks, and nothing that people sent."""

import json
import logging
import sys
from collections.abc import Callable, Iterator

import pytest
from django.db import IntegrityError, OperationalError
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

from calcs.models import Plan
from jobs.models import User
from jobs.project import logs
from jobs.project.celery import app
from jobs.project.pytest_services import RealWorker
from tests.calcs.working import ANSWERS, read_survey
from tests.factories import CustomerFactory
from tests.project.running import wait_until

LINK = "o8Jq2wE-vK4mXn7pR1sT5yB9cD3fG6hL0zA_QuWiEo4"


class Kept(logging.Handler):
    """Keeps what a formatter makes of each record."""

    def __init__(self, formatter: logging.Formatter) -> None:
        super().__init__(logging.INFO)
        self.lines: list[str] = []
        self.setFormatter(formatter)

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(self.format(record))


@pytest.fixture
def kept() -> Iterator[Kept]:
    handler = Kept(logs.JsonFormatter())
    root = logging.getLogger()
    before = root.level
    root.addHandler(handler)
    root.setLevel(logging.INFO)

    yield handler
    root.removeHandler(handler)
    root.setLevel(before)


def record(message: str, *arguments: object, **fields: object) -> logging.LogRecord:
    made = logging.LogRecord("jobs", logging.WARNING, __file__, 1, message, arguments, None)
    made.__dict__.update(fields)
    return made


class TestIds:
    def test_a_new_id_is_given_and_returned(self, client: Client) -> None:
        first, second = client.get("/sign-in"), client.get("/sign-in")
        assert len(first["X-Request-ID"]) == 32
        assert first["X-Request-ID"] != second["X-Request-ID"]

    def test_a_trusted_proxy_gives_its_own(self, client: Client, settings: Settings) -> None:
        settings.BEHIND_PROXY = True
        assert (
            client.get("/sign-in", headers={"X-Request-ID": "edge-0123456789"})["X-Request-ID"] == "edge-0123456789"
        )

    @pytest.mark.parametrize("sent", ["short", "x" * 65, "with space in it", 'quote"quote"', "line\nbreak-line"])
    def test_an_id_that_is_not_well_formed_is_replaced(self, client: Client, settings: Settings, sent: str) -> None:
        settings.BEHIND_PROXY = True
        assert client.get("/sign-in", headers={"X-Request-ID": sent})["X-Request-ID"] != sent

    def test_strangers_give_none(self, client: Client, settings: Settings) -> None:
        settings.BEHIND_PROXY = False
        assert (
            client.get("/sign-in", headers={"X-Request-ID": "edge-0123456789"})["X-Request-ID"] != "edge-0123456789"
        )

    @pytest.mark.django_db
    def test_lines_of_a_request_tell_its_id_its_person_and_its_path(
        self, client_for: Callable[[User], Client], crew: User, kept: Kept
    ) -> None:
        answer = client_for(crew).get(reverse("account"), {"note": "private words"})
        line = json.loads(kept.lines[-1])
        assert line["request_id"] == answer["X-Request-ID"]
        assert line["user"] == str(crew.pk)
        assert (line["method"], line["path"], line["status"]) == ("GET", "/account/", 200)
        assert "private" not in "".join(kept.lines)
        assert crew.username not in "".join(kept.lines)

    def test_lines_that_come_after_the_answer_have_the_id_too(self, client: Client, kept: Kept) -> None:
        answer = client.get("/api/v1/homes/")
        line = next(found for found in map(json.loads, kept.lines) if found["message"] == "401 Unauthorized")
        assert line["request_id"] == answer["X-Request-ID"]

    def test_lines_of_a_task_carry_the_id_of_the_request_that_asked(
        self, real_worker: RealWorker, client_for: Callable[[User], Client], manager: User
    ) -> None:
        survey = read_survey()
        answer = client_for(manager).post(reverse("survey-calculations", args=[survey.pk]))
        assert answer.status_code == 202, answer.content

        def ended() -> list[str]:
            """Return the tasks of this request that have ended; the worker may still finish an earlier test's."""
            lines = [json.loads(line) for line in real_worker.log().splitlines() if line.startswith("{")]
            ours = [line for line in lines if line.get("request_id") == answer["X-Request-ID"]]
            return [line["task_id"] for line in ours if "succeeded in" in line["message"]]

        # To the end: a worker that goes on would hold the tables that are emptied after the test.
        wait_until(lambda: Plan.objects.exists() and len(ended()) == survey.calculations.count(), 60, real_worker.log)
        assert len(set(ended())) == len(ended()) > len(ANSWERS)
        assert set(survey.calculations.values_list("state", flat=True)) == {"done"}


class TestWhatIsLeftOut:
    @pytest.mark.parametrize(
        ("path", "told"),
        [
            ("/surveys/0196b1e8-7c3f-7aaa-8bbb-0123456789ab/", "/surveys/0196b1e8-7c3f-7aaa-8bbb-0123456789ab/"),
            (f"/link/{LINK}/", "/link/.../"),
            ("/demo/MDE5NmIxZTg:1vX:abc_DEF-123/", "/demo/.../"),
            ("/homes/Mrs Example, 12 Juniper Loop/", "/homes/.../"),
            ("/a\nCRITICAL forged line", "/..."),
            ("/static/jobs/site.css", "/static/jobs/site.css"),
        ],
    )
    def test_path_keeps_words_and_keys_only(self, path: str, told: str) -> None:
        assert logs.safe_path(path) == told

    def test_an_address_that_leads_nowhere_is_not_quoted(self, client: Client, kept: Kept) -> None:
        client.get(f"/nowhere/{LINK}/?{LINK}")
        assert LINK not in "".join(kept.lines)
        assert any(json.loads(line)["message"] == "404 Not Found" for line in kept.lines)

    def test_a_host_that_is_not_ours_is_not_quoted(self, client: Client, kept: Kept, settings: Settings) -> None:
        settings.ALLOWED_HOSTS = ["level.example"]
        client.get("/sign-in/", headers={"Host": "forged.example"})
        assert "forged" not in "".join(kept.lines)
        assert any(json.loads(line)["message"] == "DisallowedHost" for line in kept.lines)

    @pytest.mark.django_db
    def test_an_exception_is_told_by_type_place_and_constraint_not_by_what_was_sent(self) -> None:
        made = record("could not keep it")
        try:
            CustomerFactory(name="")
        except IntegrityError:
            made.exc_info = sys.exc_info()
        token = logs.task_id.set("task-0")
        try:
            told = json.loads(logs.JsonFormatter().format(made))["exceptions"]
        finally:
            logs.task_id.reset(token)
        assert [one["type"] for one in told] == ["django.db.utils.IntegrityError", "psycopg.errors.CheckViolation"]
        assert told[1]["constraint"] == "customer_has_a_name"
        assert any("test_logs.py" in place for place in told[0]["at"])
        assert "words" not in told[0]

    def test_at_the_start_nobody_has_sent_anything_yet(self) -> None:
        made = record("does not start")
        try:
            raise ValueError("a setting is wrong")
        except ValueError:
            made.exc_info = sys.exc_info()
        assert json.loads(logs.JsonFormatter().format(made))["exceptions"][0]["words"] == "a setting is wrong"

    @pytest.mark.parametrize(
        ("message", "told"),
        [
            (
                "Invalid request from ip=10.0.0.7: Invalid HTTP header name: 'forged'",
                "Invalid request from ip=10.0.0.7",
            ),
            ("Listening at: %s", "Listening at: here"),
        ],
    )
    def test_the_server_does_not_quote_requests(self, message: str, told: str) -> None:
        made = record(message, *(["here"] if "%s" in message else []), name="gunicorn.error")
        assert json.loads(logs.JsonFormatter().format(made))["message"] == told

    def test_a_lost_connection_is_told_in_its_own_words(self) -> None:
        made = record("no database")
        try:
            raise OperationalError("connection refused")
        except OperationalError:
            made.exc_info = sys.exc_info()
        assert json.loads(logs.JsonFormatter().format(made))["exceptions"][0]["words"] == "connection refused"


class TestOneLine:
    @pytest.mark.parametrize("formatter", [logs.JsonFormatter(), logs.LineFormatter()], ids=["json", "line"])
    @pytest.mark.parametrize("forged", ["a\nCRITICAL jobs: forged", "a\r\nb", "a\u2028b", "a\x1b[2Kb", "a\x85b"])
    def test_no_text_begins_a_line_of_its_own(self, formatter: logging.Formatter, forged: str) -> None:
        line = formatter.format(record("said %s", forged))
        assert len(line.splitlines()) == 1
        assert "\x1b" not in line

    def test_lines_of_an_exception_are_set_in(self) -> None:
        made = record("tripped")
        try:
            raise ValueError("a\nCRITICAL jobs: forged")
        except ValueError:
            made.exc_info = sys.exc_info()
        first, *rest = logs.LineFormatter().format(made).splitlines()
        assert first.endswith("WARNING jobs: tripped")
        assert all(line.startswith("    ") for line in rest)


def test_a_task_run_in_place_keeps_the_request_that_is_served() -> None:
    seen: list[tuple[str, str]] = []

    @app.task
    def look() -> None:
        seen.append((logs.request_id.get(), logs.task_id.get()))

    token = logs.request_id.set("request-0")
    try:
        asked = look.delay()
    finally:
        logs.request_id.reset(token)
    assert seen == [("request-0", asked.id)]
    assert logs.task_id.get() == ""
