"""Readings and old paper surveys by file: entered once however often they come, corrected never over, out and in."""

import datetime
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.csv_files.run import run
from jobs.models import Role, Siting, User
from surveys.csv_files.paper import PAPER
from surveys.csv_files.readings import READINGS
from surveys.ingest import Batch, ReadingIn
from surveys.models import Reading, Setup, Survey
from surveys.services import add_readings, submit_survey
from tests.factories import (
    CompanyFactory,
    HomeFactory,
    SetupFactory,
    SitingFactory,
    SurveyFactory,
    UserFactory,
    lay_out_home,
)
from tests.jobs.csv_files.test_imports import bring_in, check, done, file, take_out, told

pytestmark = pytest.mark.django_db


@pytest.fixture
def lead() -> User:
    return UserFactory(username="lead", roles=[Role.CREW_LEAD])


@pytest.fixture
def siting() -> Siting:
    """A home of twelve supports and three marks that was moved to where it stands."""
    CompanyFactory(time_zone="America/Chicago")
    home = HomeFactory(code="H1")
    SitingFactory(home=home, from_on="2001-01-01", to_on="2012-06-01")
    return lay_out_home(SitingFactory(home=home, from_on="2012-06-01"))


PAPER_LINES = (
    "home,date,stage,method,unit,sense,shot,point,reading,height",
    "H1,5/20/2014,as found,water level,in,up,reference,BM1,14 3/16,",
    'H1,5/20/2014,as found,water level,in,up,,A1,"13-1/2""",',
    "H1,5/20/2014,as found,water level,in,up,,A2,13.625,",
    "H1,5/20/2014,as found,water level,in,up,closing,BM1,14 3/16,",
    "H1,9/2/2019,check,laser,mm,,,A1,,-6",
    "H1,9/2/2019,check,laser,mm,,,A2,,0",
)


# -- old surveys from paper ----------------------------------------------------------------------------------


def test_old_papers_become_surveys_with_their_dates(lead: User, siting: Siting) -> None:
    report = bring_in(PAPER, file(*PAPER_LINES), lead)
    assert done(report) == {"survey": (2, 0, 0), "setup": (2, 0, 0), "reading": (6, 0, 0)}
    old, newer = Survey.objects.order_by("started_at")
    assert old.started_at == datetime.datetime(2014, 5, 20, 17, tzinfo=datetime.UTC)  # noon in Chicago, in summer
    assert (old.state, old.submitted_at, old.revision, old.author) == ("submitted", old.started_at, 1, lead)
    assert (old.siting, old.stage, old.method, old.unit) == (siting, "as_found", "water_level", "in")
    assert old.note == "From paper, entered by file."
    assert (newer.unit, newer.setups.get().code, newer.setups.get().sense) == ("mm", "H1", "up")
    readings = old.readings.order_by("sequence")
    assert [(one.point.label, one.shot, one.typed, str(one.value_in.normalize())) for one in readings] == [
        ("BM1", "reference", "14 3/16", "14.1875"),
        ("A1", "point", '13-1/2"', "13.5"),
        ("A2", "point", "13.625", "13.625"),
        ("BM1", "closing", "14 3/16", "14.1875"),
    ]
    assert {(one.device, one.taken_at, one.author) for one in readings} == {("paper", old.started_at, lead)}


def test_the_same_papers_again_add_nothing(lead: User, siting: Siting) -> None:
    bring_in(PAPER, file(*PAPER_LINES), lead)
    before = list(Reading.objects.order_by("pk").values())
    assert done(bring_in(PAPER, file(*PAPER_LINES), lead)) == {"survey": (0, 0, 2), "reading": (0, 0, 6)}
    assert list(Reading.objects.order_by("pk").values()) == before
    assert set(Survey.objects.values_list("revision", flat=True)) == {1}


def test_a_line_that_was_forgotten_is_added_among_those_that_are_there(lead: User, siting: Siting) -> None:
    bring_in(PAPER, file(*PAPER_LINES[:2], *PAPER_LINES[3:]), lead)
    report = bring_in(PAPER, file(*PAPER_LINES), lead)
    assert done(report) == {"survey": (0, 0, 2), "reading": (1, 0, 5)}
    assert [change.name for change in report.changes] == ['H1 A1 13-1/2"']
    assert Survey.objects.get(stage="as_found").revision == 2


def test_a_line_that_says_otherwise_than_before_is_refused(lead: User, siting: Siting) -> None:
    bring_in(PAPER, file(*PAPER_LINES), lead)
    changed = [line.replace("13.625", "15.625") for line in PAPER_LINES]
    assert told(check(PAPER, file(*changed), lead)) == [
        (
            4,
            "reading",
            "This was entered before as “13.625”: correct it on the survey's page, so that both are kept.",
        )
    ]


def test_two_papers_of_one_day_are_told_apart_by_their_sheet(lead: User, siting: Siting) -> None:
    data = file(
        "home,date,stage,method,sheet,point,height",
        "H1,2019-09-02,check,laser,1,A1,0",
        "H1,2019-09-02,check,laser,2,A1,1",
    )
    assert done(bring_in(PAPER, data, lead))["survey"] == (2, 0, 0)


def test_a_point_that_was_shot_twice_has_two_readings(lead: User, siting: Siting) -> None:
    line = "H1,2019-09-02,check,laser,A1,0"
    data = file("home,date,stage,method,point,height", line, line)
    assert done(bring_in(PAPER, data, lead))["reading"] == (2, 0, 0)
    assert done(bring_in(PAPER, data, lead))["reading"] == (0, 0, 2)


def test_what_is_wrong_with_papers_is_told_by_line(lead: User, siting: Siting) -> None:
    ahead = datetime.datetime.now(datetime.UTC).date() + datetime.timedelta(days=3)
    data = file(
        "home,date,stage,method,unit,sense,point,reading,height",
        "H1,5/4/2014,as_found,laser,in,up,A1,1,",
        "H1,1999-05-20,as_found,laser,in,up,A1,1,",
        f"H1,{ahead},as_found,laser,in,up,A1,1,",
        "H1,2014-05-20,as_found,laser,in,,A1,1,",
        "H1,2014-05-20,as_found,laser,mm,up,A1,1,",
        "H1,2014-05-20,as_found,laser,in,up,Z9,1,",
        "H1,2014-05-20,as_found,laser,in,up,A2,1,2",
        "H1,2014-05-20,as_found,laser,in,down,A3,,2",
        "H2,2014-05-20,as_found,laser,in,down,A3,2,",
        "H1,2014-05-20,as_found,string,in,down,A3,2,",
    )
    places = "2001-01-01 - 2012-06-01, 2012-06-01 -"
    labels = "A1, A2, A3, B1, B2, B3, C1, C2, C3, D1, D2, D3, BM1, BM2, BM3"
    said = "What is stored, or a line before, says “in” here; this file can't change that."
    assert told(check(PAPER, data, lead)) == [
        (2, "date", "“5/4/2014” may be month/day or day/month: write 2014-05-04 or 2014-04-05."),
        (3, "date", f"No single place of this home fits; it stood at its places on: {places}."),
        (4, "date", "This day is still to come."),
        (5, "sense", "Say whether a bigger number is higher: up or down."),
        (6, "unit", said),
        (7, "point", f"There is no such point at this place; there are: {labels}."),
        (8, "reading", "Give either a reading or a height."),
        (9, "sense", "A height is bigger where it is higher: up, or empty."),
        (10, "home", "There is no such home at a place: import homes first."),
        (11, "method", "“string” can't be read: give water_level, plain_tube, hydrostatic, laser."),
    ]
    odd = file(*PAPER_LINES[:3], PAPER_LINES[3].replace("13.625", "13 5/7"), PAPER_LINES[5].replace("-6", "1/4"))
    lines = told(check(PAPER, odd, lead))
    assert [(line, column) for line, column, _said in lines] == [(4, "reading"), (5, "reading")][: len(lines)]
    assert "below the line may stand 2, 4, 8, 16, 32 or 64" in lines[0][2]
    assert not Survey.objects.exists()


def test_papers_out_and_in_again(lead: User, siting: Siting) -> None:
    bring_in(PAPER, file(*PAPER_LINES), lead)
    data = take_out(PAPER, lead)
    before = everything()
    assert bring_in(PAPER, data, lead).changes == []
    assert everything() == before
    empty()
    bring_in(PAPER, data, lead)
    assert everything() == before
    assert take_out(PAPER, lead) == data


# -- readings ------------------------------------------------------------------------------------------------


def read(setup: Setup, by: User, label: str, value: str | None, **said: Any) -> UUID:
    """Read a point as a phone does."""
    point = setup.survey.siting.points.get(label=label)
    reading = ReadingIn(id=uuid4(), setup=setup.pk, point=point.pk, value=value, **said)
    add_readings(survey_id=setup.survey_id, author_id=by.pk, batch=Batch({0: reading}))
    return reading.id


def a_survey_with_corrections(siting: Siting, lead: User) -> Survey:
    """A survey that two people read, with a correction, a contested one, its settlement, and one withdrawn."""
    other = UserFactory(username="other")
    survey = SurveyFactory(siting=siting, author=lead, note="wet, cold", reading_sd_in="0.0312")
    setup = SetupFactory(survey=survey, code="S1", sense_trial="grew", device="bucket 2", has_drift=True)
    first = read(setup, lead, "A1", "3 5/8", sequence=1, device="phone", taken_at=survey.started_at)
    held = read(setup, other, "A1", "3 6/8", replaces=first, reason="misread", sequence=2)
    contested = read(setup, lead, "A1", "-1/2", replaces=first, reason="=typo", sequence=1)
    read(setup, other, "A1", '3-3/4"', replaces=held, settles=contested, reason="both looked", round=2)
    gone = read(setup, other, "A2", "4", sequence=3)
    read(setup, lead, "A2", None, replaces=gone, reason="hose was kinked", sequence=4)
    read(setup, lead, "BM1", "7.25", shot="reference", reference_value="1/8", sequence=5)
    submit_survey(survey=survey)
    return survey


def everything() -> list[list[dict[str, Any]]]:
    """Every survey, setup and reading; without what counts or times this very writing."""
    left_out = {"version", "revision", "received_at"}
    rows: list[Any] = [model.objects.order_by("pk").values() for model in (Survey, Setup, Reading)]
    return [
        [
            {name: bytes(value) if name == "digest" else value for name, value in row.items() if name not in left_out}
            for row in found
        ]
        for found in rows
    ]


def empty() -> None:
    """Take every survey away, as in a new database; readings can't be deleted otherwise."""
    with connection.cursor() as cursor:
        cursor.execute("TRUNCATE surveys_reading, surveys_setup, surveys_survey CASCADE")
    assert not Survey.objects.exists()


def test_readings_out_and_in_again(siting: Siting, lead: User) -> None:
    a_survey_with_corrections(siting, lead)
    manager = UserFactory(username="manager", roles=[Role.MANAGER])
    before, data = everything(), take_out(READINGS, manager)
    assert b"'=typo" in data
    report = bring_in(READINGS, data, manager)
    assert done(report) == {"survey": (0, 0, 1), "reading": (0, 0, 7)}
    assert report.changes == []
    assert everything() == before
    empty()
    bring_in(READINGS, data, manager)
    restored = everything()
    restored[0][0]["author_id"] = lead.pk  # a survey is entered under who brings it in; its readings say who read
    assert restored == before
    assert take_out(READINGS, manager) == data
    assert Survey.objects.get().revision == 1


def test_readings_of_a_survey_come_in_by_its_key(siting: Siting, lead: User) -> None:
    survey = SurveyFactory(siting=siting)
    data = file(
        "home,from_on,survey_id,setup,sense,point,value,shot",
        f"H1,2012-06-01,{survey.pk},S1,up,BM1,10,reference",
        f"H1,2012-06-01,{survey.pk},S1,,A1,3 5/8,",
        f"H1,2012-06-01,{survey.pk},S1,,BM1,10,closing",
    )
    assert done(bring_in(READINGS, data, lead)) == {"survey": (0, 0, 1), "setup": (1, 0, 0), "reading": (3, 0, 0)}
    assert done(bring_in(READINGS, data, lead)) == {"survey": (0, 0, 1), "reading": (0, 0, 3)}
    assert survey.readings.get(shot="point").author == lead
    otherwise = file(*data.decode().replace("3 5/8", "3 7/8").split("\r\n"))
    assert told(check(READINGS, otherwise, lead)) == [
        (3, "reading_id", "This UUID is stored with other content: send a correction under a new one.")
    ]


def test_what_is_wrong_with_readings_is_told_by_line(siting: Siting, lead: User) -> None:
    survey = SurveyFactory(siting=siting)
    UserFactory(username="other")
    start = f"H1,2012-06-01,{survey.pk},S1,up"
    data = file(
        "home,from_on,survey_id,setup,sense,point,value,round,replaces,read_by,stage",
        f"{start},A1,3 5/8,0,,,",
        f"{start},A1,3 5/8,,,,as_left",
        f"{start},A1,3 5/8,,,other,",
        f"{start},A1,,,,,",
        f"{start},A1,3 5/9,,,,",
        f"{start},A1,1,,{uuid4()},,",
        f"{start},Q1,1,,,,",
        "H1,2012-06-01,,S1,up,A1,1,,,,",
    )
    assert sorted((line, column) for line, column, _said in told(check(READINGS, data, lead))) == [
        (2, "round"),
        (3, "stage"),
        (4, "read_by"),
        (5, "value"),
        (6, "value"),
        (7, "reason"),
        (7, "replaces"),
        (8, "point"),
        (9, "method"),
        (9, "stage"),
        (9, "started_at"),
    ]
    assert not Reading.objects.exists()


def test_only_a_manager_enters_readings_under_another_name(siting: Siting, lead: User) -> None:
    survey = SurveyFactory(siting=siting)
    UserFactory(username="other")
    manager = UserFactory(roles=[Role.MANAGER])
    columns = "home,from_on,survey_id,setup,sense,point,value,read_by"
    line = f"H1,2012-06-01,{survey.pk},S1,up,A1,1"
    data = file(columns, f"{line},other", f"{line},nobody")
    said = "Only a manager enters readings under another's name."
    assert told(check(READINGS, data, lead)) == [(2, "read_by", said), (3, "read_by", said)]
    assert told(check(READINGS, data, manager)) == [(3, "read_by", "Nobody here signs in as “nobody”.")]
    bring_in(READINGS, file(columns, f"{line},other"), manager)
    assert Reading.objects.get().author.username == "other"


@pytest.mark.parametrize("kind", [READINGS, PAPER], ids=lambda kind: kind.name)
def test_files_take_as_many_queries_for_more_rows(siting: Siting, lead: User, kind: Any) -> None:
    counts = []
    for more in (2, 6):
        bring_in(PAPER, file(*PAPER_LINES[: 1 + more]), lead)
        with CaptureQueriesContext(connection) as out:
            data = take_out(kind, lead)
        with CaptureQueriesContext(connection) as again:
            run(kind, data, by=lead, is_dry_run=True)
        counts.append((len(out), len(again)))
    # One more survey is written and locked by itself: a few queries a survey, none a reading.
    assert counts[1][0] == counts[0][0]
    assert counts[1][1] - counts[0][1] <= 6
