"""Submitting, late readings, and two people writing at the same moment; what the database itself refuses."""

import threading
import uuid
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, connection, connections, transaction

from jobs.errors import DomainError
from jobs.models import User
from surveys.ingest import Batch, ReadingIn
from surveys.models import Reading, Setup, Survey
from surveys.services import Received, add_readings, note_change, submit_survey
from surveys.signals import survey_submitted
from tests.factories import PointFactory, SetupFactory, UserFactory, make_reading

Send = Callable[..., Received]


@pytest.fixture
def heard() -> Iterator[list[uuid.UUID]]:
    """Return the keys of the surveys that the signal named."""
    keys: list[uuid.UUID] = []

    def listen(survey_id: uuid.UUID, **_: Any) -> None:
        keys.append(survey_id)

    survey_submitted.connect(listen)
    yield keys
    survey_submitted.disconnect(listen)


class Tools:
    """A survey with one setup and one point, and a way to send readings without the wire."""

    def __init__(self) -> None:
        self.setup = SetupFactory()
        self.survey: Survey = self.setup.survey
        self.point = PointFactory(siting=self.survey.siting)
        self.author: User = UserFactory()

    def reading(self, value: str, **fields: Any) -> ReadingIn:
        return ReadingIn(id=uuid.uuid4(), setup=self.setup.pk, point=self.point.pk, value=value, **fields)

    def send(self, *readings: ReadingIn) -> Received:
        batch = Batch(dict(enumerate(readings)))
        return add_readings(survey_id=self.survey.pk, author_id=self.author.pk, batch=batch)


@pytest.fixture
def tools(db: None) -> Tools:
    return Tools()


def test_submitting_tells_once(tools: Tools, heard: list[uuid.UUID], django_capture_on_commit_callbacks: Any) -> None:
    tools.send(tools.reading("1"))
    with django_capture_on_commit_callbacks(execute=True):
        survey = submit_survey(survey=tools.survey)
        first_time = survey.submitted_at
        survey = submit_survey(survey=survey)
    assert (survey.state, survey.revision, survey.submitted_at) == ("submitted", 1, first_time)
    assert heard == [survey.pk]


@pytest.mark.parametrize("withdraw", [False, True])
def test_an_empty_survey_is_not_submitted(tools: Tools, heard: list[uuid.UUID], withdraw: bool) -> None:
    if withdraw:
        first = tools.reading("1")
        tools.send(first, tools.reading("", replaces=first.id, reason="dropped the rod"))
    with pytest.raises(DomainError) as refused, transaction.atomic():
        submit_survey(survey=tools.survey)
    assert (refused.value.code, list(refused.value.fields)) == ("no_readings", ["readings"])
    tools.survey.refresh_from_db()
    assert (tools.survey.state, heard) == ("open", [])


def test_late_readings_and_changes_raise_the_revision_and_tell(
    tools: Tools, heard: list[uuid.UUID], django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        tools.send(tools.reading("1"))
        note_change(survey_id=tools.survey.pk)
    assert heard == []
    with django_capture_on_commit_callbacks(execute=True):
        submit_survey(survey=tools.survey)
        assert tools.send(late := tools.reading("2")).revision == 2
        assert tools.send(late).revision == 2
        note_change(survey_id=tools.survey.pk)
    tools.survey.refresh_from_db()
    assert tools.survey.revision == 3
    assert heard == [tools.survey.pk] * 3


def test_a_listener_that_fails_does_not_fail_the_submit(
    tools: Tools, django_capture_on_commit_callbacks: Any, caplog: pytest.LogCaptureFixture
) -> None:
    def fail(**_: Any) -> None:
        raise ConnectionError("the broker is down")

    tools.send(tools.reading("1"))
    survey_submitted.connect(fail)
    try:
        with django_capture_on_commit_callbacks(execute=True):
            survey = submit_survey(survey=tools.survey)
    finally:
        survey_submitted.disconnect(fail)
    assert survey.state == "submitted"
    assert "the broker is down" in caplog.text


# -- at the same moment --------------------------------------------------------------------------------------


def at_once(*jobs: Callable[[], Any]) -> list[Any]:
    """Run functions in threads of their own that start together; return what each gave or raised."""
    barrier = threading.Barrier(len(jobs))
    answers: list[Any] = [None] * len(jobs)

    def run(index: int, job: Callable[[], Any]) -> None:
        barrier.wait()
        try:
            answers[index] = job()
        except Exception as error:
            answers[index] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(jobs)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=20)
    return answers


@pytest.mark.django_db(transaction=True)
def test_of_two_corrections_at_once_one_holds_and_one_is_contested() -> None:
    tools = Tools()
    first = tools.reading("1")
    tools.send(first)
    rivals = [tools.reading(str(n), replaces=first.id, reason="read again") for n in range(4)]
    answers = at_once(*(lambda rival=rival: tools.send(rival) for rival in rivals))
    assert sorted(len(answer.contested) for answer in answers) == [0, 1, 1, 1]
    assert Reading.objects.standing().count() == 1
    assert Reading.objects.contested().count() == 3


@pytest.mark.django_db(transaction=True)
def test_the_same_batch_from_two_phones_at_once_is_stored_once() -> None:
    tools = Tools()
    batch = [tools.reading(str(n)) for n in range(50)]
    answers = at_once(*(lambda: tools.send(*batch) for _ in range(3)))
    assert sorted((answer.received, answer.repeated) for answer in answers) == [(0, 50), (0, 50), (50, 0)]
    assert Reading.objects.count() == 50


@pytest.mark.django_db(transaction=True)
def test_one_uuid_for_two_surveys_at_once_is_stored_once_and_told() -> None:
    here, there = Tools(), Tools()
    mine, theirs = here.reading("1"), there.reading("1")
    theirs.id = mine.id
    answers = at_once(lambda: here.send(mine), lambda: there.send(theirs, there.reading("2")))
    (refused,) = (answer for answer in answers if isinstance(answer, DomainError))
    assert (refused.code, list(refused.fields)) == ("conflict", ["readings[0].id"])
    assert Reading.objects.filter(pk=mine.id).count() == 1


@pytest.mark.django_db(transaction=True)
def test_a_submit_waits_for_a_batch_that_is_being_stored() -> None:
    tools = Tools()
    tools.send(tools.reading("1"))
    submitted = threading.Event()

    def submit() -> None:
        submit_survey(survey=tools.survey)
        submitted.set()
        connections.close_all()

    thread = threading.Thread(target=submit)
    with transaction.atomic():
        tools.send(tools.reading("2"))
        thread.start()
        assert not submitted.wait(0.3)
    assert submitted.wait(20)
    thread.join()


# -- what the database itself refuses ------------------------------------------------------------------------


def test_a_reading_is_never_changed_or_deleted(tools: Tools) -> None:
    reading = make_reading(setup=tools.setup, point=tools.point)
    for change in (
        lambda: Reading.objects.update(typed="9"),
        lambda: Reading.objects.filter(pk=reading.pk).delete(),
        reading.save,
        reading.delete,
    ):
        with pytest.raises(IntegrityError, match="never changed or deleted"), transaction.atomic():
            change()


@pytest.mark.parametrize(
    ("fields", "constraint"),
    [
        ({"value_in": None}, "reading_only_a_correction_withdraws"),
        ({"round": 0}, "reading_round_1_to_9"),
        ({"is_contested": True}, "reading_contested_is_a_correction"),
        ({"replaces": "first"}, "reading_correction_has_a_reason"),
        ({"settles": "first"}, "reading_settling_is_a_correction"),
        ({"replaces": "held", "reason": "x"}, "reading_replaced_once"),
    ],
)
def test_the_database_keeps_chains_whole(tools: Tools, fields: dict[str, Any], constraint: str) -> None:
    first = make_reading(setup=tools.setup, point=tools.point)
    held = make_reading(setup=tools.setup, point=tools.point)
    make_reading(setup=tools.setup, point=tools.point, replaces=held, reason="x")
    names = {"first": first, "held": held}
    given = {"value_in": Decimal(1)} | {key: names.get(str(value), value) for key, value in fields.items()}
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        make_reading(setup=tools.setup, point=tools.point, **given)


def test_a_reading_lies_in_its_setups_survey(tools: Tools) -> None:
    reading = Reading(survey=SetupFactory().survey, setup=tools.setup, point=tools.point, author=tools.author)
    reading.value_in, reading.unit, reading.digest = Decimal(1), "in", b"x"
    with pytest.raises(IntegrityError, match="reading_setup_in_survey"), transaction.atomic():
        save_checked(reading)


def save_checked(reading: Reading) -> None:
    """Store a row and have the checks made that otherwise wait for the commit."""
    reading.save(force_insert=True)
    connection.check_constraints()


@pytest.mark.parametrize(("sense", "above_in"), [("up", 14.5), ("down", -13.5)])
def test_a_reading_stands_above_its_setups_line_by_the_sense(sense: str, above_in: float) -> None:
    """Up: value = height - line, down: value = line - height, the line higher by what the fixed end shows."""
    setup = Setup(sense=sense)
    assert setup.above_line_in(Reading(value_in=Decimal(14), reference_value_in=Decimal("0.5"))) == above_in
