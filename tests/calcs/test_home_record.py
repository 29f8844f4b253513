"""The record of a home over the years: numbers against a published pair of levellings, page, paper, API and CSV."""

import csv
import datetime
import html
import io
import json
import re
import uuid
from collections.abc import Callable
from dataclasses import asdict, replace
from typing import Any

import numpy as np
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import translation
from rest_framework.test import APIClient

from calcs import series, snapshots
from calcs.documents import typeset
from calcs.documents.blocks import Facts, Note, Paper, Picture, Prose, Section, Table, data_of
from calcs.engine.levels import LevelsResult
from calcs.home_record import pictures
from calcs.home_record.beside import read_beside
from calcs.home_record.paper import FASTEST, paper_of
from calcs.home_record.read import Asked, HomeRecord, read_home_record
from calcs.models import Due
from calcs.spoken import spoken_in_unit
from jobs.models import Point, Role, Siting, User
from surveys.models import Survey
from tests.calcs.documents.reading import any_text, pages_of, text_of
from tests.calcs.home_years import BEGAN, HALF_YEAR, forecast, kept, read_on, years_of
from tests.calcs.validation.test_movement_house import adjusted
from tests.calcs.working import submit
from tests.factories import (
    BenchmarkFactory,
    CompanyFactory,
    DueFactory,
    HazardFactory,
    PointFactory,
    RuleSetFactory,
    SitingFactory,
    SurveyFactory,
    UserFactory,
    VisitFactory,
    lay_out_home,
)

pytestmark = pytest.mark.django_db

ClientFor = Callable[[User], Client]
ApiFor = Callable[[User], APIClient]
SINKING = {"A1": -0.2, "A2": -0.05}


@pytest.fixture
def sinking(db: None) -> Siting:
    """A home of seven surveys whose corner A1 sinks, lifted before the fourth."""
    CompanyFactory(time_zone="UTC")
    siting = years_of(7, SINKING, lifted_before=3)
    forecast(siting)
    return siting


def record_of(siting: Siting, reader: User, **asked: str) -> HomeRecord:
    return read_home_record(siting.home_id, reader, Asked(**asked), unit="in")


def told(siting: Siting, reader: User, group: str | None = FASTEST, **asked: str) -> Paper:
    record = record_of(siting, reader, **asked)
    return paper_of(record, read_beside(record, reader), group=group)


def blocks(paper: Paper, key: str, kind: type) -> list[Any]:
    return [
        each for section in paper.sections if section.key == key for each in section.blocks if isinstance(each, kind)
    ]


def code_of(siting: Siting, label: str) -> str:
    return str(siting.points.get(label=label).pk)


# -- against a published pair of levellings ----------------------------------------------------------------------


def house() -> Siting:
    """The two epochs of ``test_movement_house``, millimetres as inches, as surveys of a home with three marks."""
    rules = RuleSetFactory(values={"shift_sd_in": 0})
    siting = SitingFactory(home__rule_set=rules, home__length_ft=40)
    keys = {}
    for number in range(1, 4):
        keys[f"RM{number}"] = PointFactory(siting=siting, label=f"RM{number}", surface="outside")
        BenchmarkFactory(point=keys[f"RM{number}"])
    for number in range(1, 5):
        keys[f"R{number}"] = PointFactory(siting=siting, label=f"R{number}", x_ft=9 * number, beam="R")
    for epoch in (0, 1):
        survey = SurveyFactory(siting=siting, started_at=BEGAN + epoch * HALF_YEAR, stage=Survey.Stage.CHECK)
        levels = _named(adjusted(epoch), {code: str(point.pk) for code, point in keys.items()})
        kept(submit(survey), "levels", {}, levels)
    return siting


def _named(levels: LevelsResult, keys: dict[str, str]) -> dict[str, Any]:
    """Return a result as stored, with keys for the names of its points."""
    spelled = json.dumps(snapshots.canonical(levels)[0])
    named: dict[str, Any] = json.loads(re.sub(r'"(RM?\d)"', lambda found: f'"{keys[found[1]]}"', spelled))
    return named


def test_what_changed_is_what_was_published(manager: User) -> None:
    """Expected figures stand in ``test_movement_house``: worked out apart from the engine, with numpy and scipy."""
    siting = house()
    result = record_of(siting, manager).difference
    assert result is not None
    names = {str(point.pk): point.label for point in Point.objects.filter(siting=siting)}
    found = {names[point.code]: point for point in result.points}
    expected = {
        "R1": (0.538, 0.615),
        "R2": (-0.187, 0.627),
        "R3": (-13.569, 0.691),
        "R4": (0.458, 0.767),
    }
    for label, numbers in expected.items():
        assert (found[label].change_in, found[label].sd_in) == pytest.approx(numbers, abs=6e-4), label
    assert [names[code] for code in result.datum] == ["RM1", "RM2", "RM3"]
    (table,) = blocks(told(siting, manager), "change", Table)
    verdicts = {row[0].words: row[-1].words for row in table.rows}
    assert [label for label, words in verdicts.items() if words == "moved"] == ["R3"]
    assert verdicts["RM2"] == "stayed with the others"


# -- what it tells -----------------------------------------------------------------------------------------------


def test_a_lift_breaks_the_line_and_the_forecast_goes_on_to_the_day_it_is_due(sinking: Siting, manager: User) -> None:
    record = record_of(sinking, manager)
    assert record.forecast is not None
    (panel,) = pictures.years_of(record, [code_of(sinking, "A1")], "A1").panels
    assert [len(run) for run in panel.runs] == [3, 4]
    assert panel.runs[1][0].height_in == pytest.approx(0.0, abs=0.08)
    assert panel.runs[1][-1].height_in == pytest.approx(-0.3 * 11 / 12, abs=0.08)  # against a mean that it pulls down
    assert record.forecast.due_days is not None
    due = pictures.day_of(record, record.forecast.due_days)
    assert datetime.date.fromordinal(int(panel.ahead[-1].days)) == due
    widths = [each.high_in - each.low_in for each in panel.ahead]
    assert widths == sorted(widths)
    facts = dict(row for block in blocks(told(sinking, manager), "due", Facts) for row in block.rows)
    assert facts["due"] == f"{due:%-d %b %Y}"


def test_a_forecast_is_drawn_to_its_day_however_late_that_is(manager: User) -> None:
    CompanyFactory(time_zone="UTC")
    siting = years_of(6, {"A1": -0.03})
    forecast(siting)
    record = record_of(siting, manager)
    assert record.forecast is not None
    assert record.forecast.due_days is not None
    assert record.series.last is not None
    assert record.forecast.due_days > record.series.last.days + 2 * 365
    (panel,) = pictures.years_of(record, [code_of(siting, "A1")], "A1").panels
    due = pictures.day_of(record, record.forecast.due_days)
    assert datetime.date.fromordinal(int(panel.ahead[-1].days)) == due


def test_when_it_is_due_is_told_by_the_night(sinking: Siting, manager: User) -> None:
    DueFactory(
        siting=sinking,
        basis=Due.Basis.MEASURED,
        standing=Due.Standing.NEAR,
        due_on="2024-02-01",
        latest_on="2024-08-01",
        chance_at_due=0.2,
        chance_now=0.1,
        driver_a=sinking.points.get(label="A1"),
        driver_b=sinking.points.get(label="A2"),
    )
    paper = told(sinking, manager)
    assert (
        "on 1 Feb 2024 the chance that a pair has passed its limit is 20 %, A1 and A2 first"
        in blocks(paper, "due", Prose)[0].words
    )
    facts = dict(blocks(paper, "due", Facts)[0].rows)
    assert (facts["due"], facts["as likely over as not"]) == ("1 Feb 2024", "1 Aug 2024")
    assert facts["standing"] == "near"


def test_two_surveys_that_are_chosen_are_compared_and_a_lift_between_is_said(sinking: Siting, manager: User) -> None:
    surveys = [str(key) for key in Survey.objects.order_by("started_at").values_list("pk", flat=True)]
    record = record_of(sinking, manager, first=surveys[5], second=surveys[1])
    assert record.first is not None
    assert record.second is not None
    assert [str(each.survey.pk) for each in (record.first, record.second)] == [surveys[1], surveys[5]]
    paper = told(sinking, manager, first=surveys[1], second=surveys[5])
    (note,) = blocks(paper, "change", Note)
    assert note.words.startswith("1 lift lies between")
    paper = told(sinking, manager)  # else the first since the lift with the newest
    assert blocks(paper, "change", Note) == []
    words = [block.words for block in blocks(paper, "change", Prose)]
    assert "left corner at the marked end" in words[1]


def test_any_survey_has_its_level_map(sinking: Siting, manager: User) -> None:
    first = Survey.objects.earliest("started_at")
    paper = told(sinking, manager, survey=str(first.pk))
    (picture,) = blocks(paper, "level", Picture)
    assert "check, 2 Mar 2020" in picture.svg
    assert blocks(paper, "level", Prose)[0].words.startswith("check, 2 Mar 2020: within.")


def test_marks_drift_against_each_other_and_one_that_sank_is_found(manager: User) -> None:
    CompanyFactory(time_zone="UTC")
    siting = years_of(5, {"BM3": -1.0})
    paper = told(siting, manager)
    (table,) = blocks(paper, "marks", Table)
    drifts = {row[0].words: row[-1].words for row in table.rows}
    # In two years it sank by 2 in: against the mean of three by 4/3 in, the others rose by 2/3 in.
    assert drifts["BM3"].startswith("\N{MINUS SIGN}1\N{THIN SPACE}5/16 ")
    assert drifts["BM1"].startswith("+")
    (changes,) = blocks(paper, "change", Table)
    verdicts = {row[0].words: row[-1].words for row in changes.rows}
    assert verdicts["BM3"] == "did not stay with the others"


def test_a_home_without_marks_says_what_it_can_not_see(manager: User) -> None:
    siting = years_of(2, SINKING)
    Point.objects.filter(siting=siting, surface="outside").update(surface="floor")
    notes = [note.words for note in told(siting, manager).notes]
    assert any("No outside mark was ever read" in words for words in notes)


def test_a_home_that_was_never_read_and_one_read_once_say_so(manager: User) -> None:
    never = SitingFactory()
    assert blocks(told(never, manager), "level", Prose)[0].words == "Nothing was computed here yet."
    once = years_of(1, SINKING)
    assert blocks(told(once, manager), "change", Prose)[0].words.startswith("It was read once")
    assert len(blocks(told(once, manager), "level", Picture)) == 1


def test_points_are_shown_by_beam_or_the_fastest_and_on_paper_all(sinking: Siting, manager: User) -> None:
    (fastest,) = blocks(told(sinking, manager), "years", Picture)
    assert "A1, " in re.findall(r"<desc>(.*?)</desc>", fastest.svg)[0]
    (beam,) = blocks(told(sinking, manager, group="B"), "years", Picture)
    assert re.findall(r"<desc>(B1, B2, B3):", beam.svg)
    assert len(blocks(told(sinking, manager, group=None), "years", Picture)) == 4
    tables = blocks(told(sinking, manager, group=None), "numbers", Table)
    assert [len(table.rows) for table in tables] == [15]  # twelve supports, three marks


def test_what_happened_is_listed(sinking: Siting, manager: User) -> None:
    HazardFactory(home=sinking.home, text="behind the shed")
    VisitFactory(siting=sinking, booked_why="due for its corner")
    paper = told(sinking, manager)
    assert any("behind the shed" in note.words and note.is_stop for note in paper.notes)
    surveys, visits, hazards = blocks(paper, "happened", Table)
    assert len(surveys.rows) == 7
    assert [row[-1].words for row in surveys.rows].count("after a lift") == 1
    assert visits.rows[0][-1].words == "due for its corner"
    assert hazards.rows[0][-1].words == "still there"


# -- page, paper, API --------------------------------------------------------------------------------------------


def bare(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize("language", ["en", "es"])
def test_page_and_pdf_say_all_that_the_record_says(
    sinking: Siting, client_for: ClientFor, manager: User, language: str
) -> None:
    client = client_for(manager)
    page = client.get(reverse("home-record", args=[sinking.home_id]), {"lang": language})
    pdf = client.get(reverse("home-record-pdf", args=[sinking.home_id]), {"lang": language})
    assert (page.status_code, pdf.status_code) == (200, 200)
    on_page = bare(html.unescape(re.sub(r"<[^>]*>", "", page.content.decode())))
    on_paper = bare(text_of(pdf.content))
    with translation.override(language):
        shown, whole = told(sinking, manager), told(sinking, manager, group=None)
    assert [words for words in any_text(asdict(shown)) if bare(words) not in on_page] == []
    assert [words for words in any_text(asdict(whole)) if bare(words) not in on_paper] == []


def test_the_same_record_is_the_same_bytes(sinking: Siting, client_for: ClientFor, manager: User) -> None:
    client, address = client_for(manager), reverse("home-record-pdf", args=[sinking.home_id])
    first = client.get(address)
    assert first["Content-Type"] == "application/pdf"
    assert client.get(address).content == first.content


def test_the_queries_are_as_many_for_two_surveys_as_for_seven(client_for: ClientFor, manager: User) -> None:
    CompanyFactory()
    few, many = years_of(2, SINKING), years_of(7, SINKING)
    for siting in (few, many):
        forecast(siting)
    client = client_for(manager)
    for name in ("home-record", "home-record-pdf", "home-record-numbers", "home-record-heights"):
        counts = []
        for siting in (few, many):
            with CaptureQueriesContext(connection) as queries:
                answer = client.get(reverse(name, args=[siting.home_id]))
                assert answer.status_code == 200
            counts.append(len(queries))
        assert counts[0] == counts[1], name


def test_the_api_has_the_numbers_and_the_file_every_height(sinking: Siting, api_for: ApiFor, manager: User) -> None:
    api = api_for(manager)
    found = api.get(reverse("home-record-numbers", args=[sinking.home_id])).json()
    assert len(found["surveys"]) == 7
    assert len(found["lifts"]) == 1
    points = {point["label"]: point for point in found["points"]}
    assert [points[label]["is_mark"] for label in ("A1", "BM1")] == [False, True]
    assert points["A1"]["rate_in_per_yr"] == pytest.approx(-0.2 * 11 / 12, abs=0.07)
    assert found["change"]["pattern"] == "settled_corner"
    assert {band["point"] for band in found["forecast"]["bands"]} >= {points["A1"]["point"]}
    assert len(found["home_above_marks"]) == 7
    file = api.get(reverse("home-record-heights", args=[sinking.home_id]))
    rows = list(csv.DictReader(io.StringIO(b"".join(file.streaming_content).decode())))
    assert len(rows) == 7 * 15
    heights = {(row["survey"], row["label"]): float(row["height_in"]) for row in rows}
    for height in points["A1"]["heights"]:
        assert heights[height["survey"], "A1"] == pytest.approx(height["height_in"], abs=5e-5)
    paper = api.get(reverse("home-record-paper", args=[sinking.home_id]), {"lang": "es"})
    assert paper.content.startswith(b"%PDF")


@pytest.mark.parametrize("name", ["survey", "first", "second", "place"])
def test_what_is_not_of_this_home_is_not_there(
    sinking: Siting, client_for: ClientFor, api_for: ApiFor, manager: User, name: str
) -> None:
    elsewhere = read_on_another_home()
    key = elsewhere.siting_id if name == "place" else elsewhere.pk
    page, numbers = (reverse(each, args=[sinking.home_id]) for each in ("home-record", "home-record-numbers"))
    for asked in (key, uuid.uuid4()):
        assert client_for(manager).get(page, {name: asked}).status_code == 404
        if name != "survey":
            assert api_for(manager).get(numbers, {name: asked}).status_code == 404
    answer = api_for(manager).get(numbers, {"first": "x"})
    assert answer.status_code == 400
    assert "first" in answer.json()["fields"]


def read_on_another_home() -> Survey:
    return read_on(lay_out_home(), BEGAN, {}, np.random.default_rng(1))


def test_a_home_that_moved_has_a_record_at_each_place(client_for: ClientFor, manager: User) -> None:
    CompanyFactory()
    new = years_of(2, SINKING)
    Siting.objects.filter(pk=new.pk).update(from_on="2020-01-01")
    old = SitingFactory(home=new.home, address="9 Old Mill Way", from_on="2012-05-01", to_on="2019-12-31")
    page = client_for(manager).get(reverse("home-record", args=[new.home_id]))
    assert "9 Old Mill Way" in page.content.decode()
    page = client_for(manager).get(reverse("home-record", args=[new.home_id]), {"place": str(old.pk)})
    assert "Nothing was computed here yet." in page.content.decode()


def test_crew_has_no_record_but_a_lead_has(sinking: Siting, client_for: ClientFor, crew: User, lead: User) -> None:
    VisitFactory(siting=sinking, lead=crew)
    address = reverse("home-record", args=[sinking.home_id])
    assert client_for(crew).get(address).status_code == 403
    assert client_for(lead).get(address).status_code == 200
    assert address not in client_for(crew).get(reverse("home", args=[sinking.home_id])).content.decode()
    assert address in client_for(lead).get(reverse("home", args=[sinking.home_id])).content.decode()


def test_lengths_are_in_the_readers_unit(sinking: Siting, client_for: ClientFor) -> None:
    reader = UserFactory(roles=[Role.OFFICE], length_unit="mm")
    page = client_for(reader).get(reverse("home-record", args=[sinking.home_id])).content.decode()
    assert "Heights, mm" in page
    assert "Heights, in" not in page


def test_a_home_that_was_lifted_and_not_read_since_is_told_nothing_of_the_time_before(
    sinking: Siting, manager: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = series.of_many

    def lifted(sitings: list[Siting], **asked: bool) -> dict[uuid.UUID, series.Series]:
        found = whole(sitings, **asked)[sinking.pk]
        assert found.last is not None
        late = series.Lift(days=found.last.days + 5, on=found.last.on + datetime.timedelta(days=5))
        return {sinking.pk: replace(found, lifts=(*found.lifts, late))}

    monkeypatch.setattr(series, "of_many", lifted)
    paper = told(sinking, manager)
    sentence = "It was lifted and not read since: read it."
    assert blocks(paper, "due", Prose)[0].words == sentence
    assert blocks(paper, "rates", Prose)[0].words == sentence
    assert blocks(paper, "rates", Table) == []
    assert record_of(sinking, manager).forecast is None
    assert pictures.fastest(record_of(sinking, manager))  # the points are shown all the same


def test_one_survey_is_not_compared_with_itself(sinking: Siting, manager: User) -> None:
    key = str(Survey.objects.earliest("started_at").pk)
    record = record_of(sinking, manager, first=key, second=key)
    assert record.difference is None
    (words,) = blocks(told(sinking, manager, first=key, second=key), "change", Prose)
    assert words.words == "Choose two different surveys."


@pytest.mark.parametrize(("unit", "language", "size"), [("in", "es", "5/8 in"), ("mm", "en", "15.2 mm")])
def test_the_size_of_a_pattern_is_in_the_readers_unit(unit: str, language: str, size: str) -> None:
    sentence = "One corner has settled by 0.60 in, the left corner at the far end; this tells 84 % of the change."
    with translation.override(language):
        said = spoken_in_unit(sentence, 0.6, unit).replace("\N{NO-BREAK SPACE}", " ")
    assert size in said
    assert "0.60" not in said


def test_the_horizon_is_named_in_years(sinking: Siting, manager: User) -> None:
    _rates, pairs = blocks(told(sinking, manager), "rates", Table)
    assert pairs.heads[-1].words == "chance within 10 years"
    assert "not within 10 years" in {row[2].words for row in pairs.rows}


def test_a_rate_under_a_hundredth_is_told_as_such(sinking: Siting, manager: User) -> None:
    words = pictures.rate_words(record_of(sinking, manager), 0.001, 0.01).replace("\N{NO-BREAK SPACE}", " ")
    assert words == "< 0.01 in ± 0.02 in a year"


@pytest.mark.parametrize("lines", range(20, 44, 4))
def test_on_paper_a_heading_stands_with_its_picture_however_full_the_page_is(lines: int) -> None:
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 400 300" width="400" height="300">'
        '<text x="20" y="280" font-size="20">bottom of the map</text></svg>'
    )
    filler = Section(key="a", title="Before", blocks=tuple(Prose(words=f"Line {n}.") for n in range(lines)))
    shown = Section(key="b", title="How level it was", blocks=(Prose(words="Within."), Picture(svg=drawing)))
    usual = {"subtitle": "", "mark": "", "notes": (), "facts": Facts(rows=()), "foot": "", "date": BEGAN.date()}
    paper = Paper(title="Record", sections=(filler, shown), **usual)
    (page,) = [words for words in pages_of(typeset("sheet", data_of(paper), "en")) if "How level it was" in words]
    assert "bottomofthemap" in bare(page)
