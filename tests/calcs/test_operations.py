"""The operator's figures: what they count, who may see them, and that they cost the same however much there is."""

import datetime
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from calcs import beats, operations
from calcs.models import Calculation, NightlyRun, WorkerBeat
from calcs.operations import Hour
from calcs.operations_drawings import describe, draw_hours
from calcs.templatetags.spans import span
from jobs.models import User
from jobs.project.celery import app
from surveys.models import Survey, SyncEntry
from tests.factories import SurveyFactory

State = Calculation.State


def ago(**span: float) -> datetime.datetime:
    return timezone.now() - datetime.timedelta(**span)


def make(survey: Survey, state: str, *, queued_at: datetime.datetime, **fields: Any) -> Calculation:
    """Store a calculation that waited ``waited_s`` and ran ``ran_s``."""
    waited, ran = (datetime.timedelta(seconds=fields.pop(name, 0)) for name in ("waited_s", "ran_s"))
    fields["started_at"] = None if state == State.QUEUED else queued_at + waited
    match state:
        case State.DONE:
            fields |= {"result": {}, "finished_at": queued_at + waited + ran}
        case State.FAILED | State.TIMED_OUT:
            fields |= {"error": {"code": fields.pop("code", "fault")}, "finished_at": queued_at + waited + ran}
        case State.RUNNING:
            fields.setdefault("lease_until", timezone.now() + datetime.timedelta(seconds=100))
    fields.setdefault("kind", "levels")
    return Calculation.objects.create(
        survey=survey,
        input={},
        input_sha256=uuid.uuid4().hex,
        engine_version="1",
        state=state,
        queued_at=queued_at,
        **fields,
    )


def set_aside(person: User, **fields: Any) -> None:
    SyncEntry.objects.create(
        kind="reading",
        body={},
        digest=uuid.uuid4().bytes * 2,
        author=person,
        sent_by=person,
        device="phone",
        sequence=1,
        state=SyncEntry.State.SET_ASIDE,
        reason={"code": "invalid"},
        **fields,
    )


@pytest.mark.django_db
class TestFigures:
    def test_of_nothing(self) -> None:
        found = operations.gather()
        assert (found.waiting, found.oldest_waiting_s, found.running, found.failed, found.living) == (
            0,
            None,
            0,
            0,
            0,
        )
        assert [hour.done for hour in found.hours] == [0] * 24
        assert found.broker == "ok"
        assert found.database_bytes > 1_000_000
        assert set(found.versions) == {"service", "engine", "Python", "Django", "PostgreSQL"}

    def test_what_waits_and_for_how_long(self) -> None:
        survey = SurveyFactory()
        make(survey, State.QUEUED, queued_at=ago(seconds=90))
        make(survey, State.QUEUED, queued_at=ago(seconds=5))
        found = operations.gather()
        assert found.waiting == 2
        assert found.oldest_waiting_s == pytest.approx(90, abs=5)

    def test_what_runs_with_its_lease(self) -> None:
        make(SurveyFactory(), State.RUNNING, queued_at=ago(seconds=40), waited_s=10, attempt=2)
        (held,) = operations.gather().longest_held
        assert (held.kind, held.attempt) == ("levels", 2)
        assert held.runs_for_s == pytest.approx(30, abs=5)
        assert held.lease_left_s == pytest.approx(100, abs=5)

    def test_failures_by_reason_of_the_last_day_only(self) -> None:
        survey = SurveyFactory()
        for code, hours in (("fault", 1), ("timed_out", 2), ("fault", 3), ("fault", 25)):
            make(survey, State.FAILED, queued_at=ago(hours=hours), code=code)
        found = operations.gather()
        assert [(failure.code, failure.count) for failure in found.failures] == [("fault", 2), ("timed_out", 1)]
        assert found.failed == 3

    def test_hours_count_done_and_failed_apart(self) -> None:
        survey = SurveyFactory()
        now = timezone.now()
        make(survey, State.DONE, queued_at=now)
        make(survey, State.DONE, queued_at=now)
        make(survey, State.FAILED, queued_at=now - datetime.timedelta(hours=5))
        make(survey, State.QUEUED, queued_at=now)
        hours = operations.gather().hours
        assert [(hour.done, hour.failed) for hour in (hours[-1], hours[-6])] == [(2, 0), (0, 1)]
        assert sum(hour.done + hour.failed for hour in hours) == 3

    def test_speeds_are_percentiles_by_kind(self) -> None:
        survey = SurveyFactory()
        for ran_s in range(1, 12):  # 1 to 11 s: the middle is 6, and 95 in 100 lie at 10.5 (interpolated)
            make(survey, State.DONE, queued_at=ago(minutes=5), waited_s=2, ran_s=ran_s)
        make(survey, State.DONE, queued_at=ago(minutes=5), kind="lift", ran_s=60)
        levels, lift = operations.gather().speeds
        assert (levels.kind, levels.count, lift.kind, lift.count) == ("levels", 11, "lift", 1)
        assert levels.wait_p50_s == levels.wait_p95_s == pytest.approx(2)
        assert (levels.run_p50_s, levels.run_p95_s) == (pytest.approx(6), pytest.approx(10.5))

    def test_workers_alive_and_lost(self) -> None:
        beats.note("one@here")
        beats.note("two@there")
        WorkerBeat.objects.filter(worker="two@there").update(at=ago(minutes=5))
        one, two = operations.gather().workers
        assert (one.worker, one.is_alive, two.worker, two.is_alive) == ("one@here", True, "two@there", False)
        assert two.age_s == pytest.approx(300, abs=5)

    def test_entries_set_aside(self, crew: User) -> None:
        set_aside(crew, received_at=ago(minutes=30))
        found = operations.gather()
        assert found.set_aside == 1
        assert found.oldest_set_aside_s == pytest.approx(1800, abs=5)

    def test_broker_away(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(app.conf, "broker_url", "redis://127.0.0.1:1/0")
        assert operations.gather().broker == "no answer"


@pytest.mark.django_db
class TestPageAndApi:
    def test_page_shows_the_figures(self, client_for: Callable[[User], Client], manager: User) -> None:
        survey = SurveyFactory()
        make(survey, State.QUEUED, queued_at=ago(minutes=3))
        make(survey, State.FAILED, queued_at=ago(minutes=3), code="gave_up")
        beats.note("one@here")
        page = client_for(manager).get(reverse("operations")).content.decode()
        for words in ("oldest for 3 min", "gave_up: 1", "one@here: alive", "PostgreSQL"):
            assert words in page
        assert page.count('<svg xmlns="http://www.w3.org/2000/svg" class="bars"') == 2

    def test_api_says_the_same(self, api_for: Callable[[User], APIClient], manager: User) -> None:
        make(SurveyFactory(), State.QUEUED, queued_at=ago(minutes=3))
        body = api_for(manager).get(reverse("operations-figures")).json()
        assert (body["waiting"], body["broker"], len(body["hours"])) == (1, "ok", 24)

    def test_whoever_runs_the_instance_sees_it(self, client_for: Callable[[User], Client], crew: User) -> None:
        User.objects.filter(pk=crew.pk).update(is_superuser=True)
        assert client_for(crew).get(reverse("operations")).status_code == 200

    @pytest.mark.parametrize("persona", ["office", "lead", "crew"])
    def test_others_do_not(
        self,
        client_for: Callable[[User], Client],
        api_for: Callable[[User], APIClient],
        persona: str,
        request: pytest.FixtureRequest,
    ) -> None:
        person = request.getfixturevalue(persona)
        assert client_for(person).get(reverse("operations")).status_code == 403
        assert api_for(person).get(reverse("operations-figures")).status_code == 403

    def test_strangers_are_sent_to_sign_in(self, client: Client) -> None:
        assert client.get(reverse("operations")).status_code == 302
        assert client.get(reverse("operations-figures")).status_code == 401

    @pytest.mark.parametrize("count", [1, 3])
    def test_queries_do_not_grow(
        self,
        api_for: Callable[[User], APIClient],
        manager: User,
        django_assert_num_queries: DjangoAssertNumQueries,
        count: int,
    ) -> None:
        survey = SurveyFactory()
        for number in range(count):
            make(survey, State.RUNNING, queued_at=ago(minutes=1))
            make(survey, State.DONE, queued_at=ago(minutes=number))
            make(survey, State.FAILED, queued_at=ago(minutes=number), code=f"code{number}")
            beats.note(f"worker{number}@here")
            set_aside(manager)
        client = api_for(manager)
        with django_assert_num_queries(12):
            assert client.get(reverse("operations-figures")).status_code == 200


class TestWords:
    @pytest.mark.parametrize(
        ("seconds", "words"),
        [
            *((None, ""), (0.0, "0.0 s"), (-1.0, "0.0 s"), (0.44, "0.4 s"), (12.4, "12 s"), (119.0, "119 s")),
            *((180.0, "3 min"), (7000.0, "117 min"), (7200.0, "2 h"), (172_800.0, "2 d")),
        ],
    )
    def test_span(self, seconds: float | None, words: str) -> None:
        assert span(seconds) == words

    def test_drawing_says_in_words_what_it_shows(self) -> None:
        noon = datetime.datetime(2026, 3, 3, 12, tzinfo=datetime.UTC)
        hours = [Hour(hour=noon, done=3, failed=1), Hour(hour=noon + datetime.timedelta(hours=1), done=0, failed=0)]
        assert describe(hours) == "3 done in 2 hours, 1 failed, most in the hour from 12"
        for drawing in (draw_hours(hours), draw_hours(hours, is_turned=True)):
            assert drawing.count('class="solid"') == drawing.count('<rect class="failed"') == 1
            assert "most in the hour from 12" in drawing


@pytest.mark.django_db
class TestNight:
    def make(self, **fields: Any) -> None:
        usual = {"day": datetime.date(2026, 3, 3), "total": 40, "done": 9, "failed": 1, "started_at": ago(minutes=3)}
        NightlyRun.objects.create(**usual | fields)

    def test_there_is_none_before_the_first(self) -> None:
        assert operations.gather().night is None

    @pytest.mark.parametrize(("lease_left_min", "is_left"), [(2, False), (-2, True)])
    def test_how_far_it_is_and_whether_anybody_works_at_it(self, lease_left_min: float, is_left: bool) -> None:
        self.make(day=datetime.date(2026, 3, 2), state="done")
        self.make(lease_until=ago(minutes=-lease_left_min))
        night = operations.gather().night
        assert night is not None
        assert (night.day.day, night.done, night.failed, night.total) == (3, 9, 1, 40)
        assert (night.share_pct, night.is_left) == (25, is_left)
        assert night.took_s == pytest.approx(180, abs=60)

    def test_the_page_shows_it(self, client_for: Callable[[User], Client], manager: User) -> None:
        client = client_for(manager)
        assert "No night was begun yet." in client.get(reverse("operations")).content.decode()
        self.make(lease_until=ago(minutes=-2))
        text = client.get(reverse("operations")).content.decode()
        assert "3 Mar 2026: 9 of 40 homes in 3" in text
        assert 'value="25"' in text
        assert "1 home could not be computed" in text

    def test_the_api_tells_it(self, api_for: Callable[[User], APIClient], manager: User) -> None:
        self.make(state="done", finished_at=timezone.now())
        told = api_for(manager).get(reverse("operations-figures")).json()["night"]
        assert (told["state"], told["is_left"], told["done"]) == ("done", False, 9)
