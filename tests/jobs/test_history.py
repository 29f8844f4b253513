"""The record of changes: who, before and after, whichever way a row was changed, in words, in few queries."""

import datetime
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.apps import apps
from django.db import connection
from django.db.models import F
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from rest_framework.test import APIClient

from jobs.changes import changed_by
from jobs.history import Entry, changes_since, history_of, things
from jobs.history.read import SHOWN
from jobs.history.words import FIELD_WORDS, NOTHING, number_words
from jobs.layout import LayoutSpec
from jobs.models import Benchmark, Home, Job, Point, User
from jobs.services import change_benchmark, change_point, lay_out, remove_point
from tests.factories import (
    BenchmarkFactory,
    ConnectionFactory,
    DrainNodeFactory,
    DrainRunFactory,
    HomeContactFactory,
    HomeFactory,
    JobFactory,
    SitingFactory,
    StrapFactory,
    SupportFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
    lay_out_home,
)

pytestmark = pytest.mark.django_db

NBSP = "\N{NO-BREAK SPACE}"
SignIn = Callable[[User], APIClient]


def newest(row: Any) -> list[tuple[str, str, str, str, tuple[tuple[str, str, str], ...]]]:
    """Return the newest act of a row's record: who, thing, name, what became of it, and its fields."""
    entry = history_of(row).entries[0]
    return [
        (
            entry.who,
            change.thing,
            change.name,
            change.did,
            tuple((each.label, each.before, each.after) for each in change.fields),
        )
        for change in entry.changes
    ]


def an_hour_passes() -> None:
    """Push what happened so far back by an hour: a test is one transaction, and so one moment to the triggers."""
    for model in things().values():
        events = model._meta.get_field("events").related_model
        events.objects.update(pgh_created_at=F("pgh_created_at") - datetime.timedelta(hours=1))
    for links in ("VisitCrewEvent", "VisitTruckEvent"):
        events = apps.get_model("jobs", links)
        events.objects.update(pgh_created_at=F("pgh_created_at") - datetime.timedelta(hours=1))


# -- however it was changed ----------------------------------------------------------------------------------


def test_a_save_tells_before_and_after() -> None:
    support = SupportFactory(gap_in=0, condition="ok", point__label="B3")
    an_hour_passes()
    support.gap_in, support.condition, support.stack = Decimal("0.3125"), "fix", ["shims", "block"]
    support.save()
    assert newest(support) == [
        (
            "outside the service",
            "support",
            "B3",
            "changed",
            (
                ("courses from the top", NOTHING, "pair of shims, block"),
                ("gap at the wedge", f"0{NBSP}in", f"5/16{NBSP}in"),
                ("condition", "OK", "fix"),
            ),
        )
    ]


def test_a_bulk_update_tells_every_row() -> None:
    siting = SitingFactory()
    for label in "AB":
        ConnectionFactory(siting=siting, code=label)
    an_hour_passes()
    with changed_by("a night's work"):
        siting.connections.update(trade="plumber")
    assert [(who, name, fields) for who, _, name, _, fields in newest(siting)] == [
        ("a night's work", "drain A", (("who may free it", "own crew", "licensed plumber"),)),
        ("a night's work", "drain B", (("who may free it", "own crew", "licensed plumber"),)),
    ]


def test_a_bulk_create_tells_what_every_row_said() -> None:
    siting = SitingFactory()
    an_hour_passes()
    Point.objects.bulk_create(
        Point(siting=siting, label=label, surface="rim", x_ft=Decimal("1.5"), y_ft=0) for label in ("R1", "R2")
    )
    told = newest(siting)
    assert [(name, did) for _, _, name, did, _ in told] == [("R1", "added"), ("R2", "added")]
    assert ("along from the marked end", NOTHING, f"1.5{NBSP}ft") in told[0][4]
    assert ("on", NOTHING, "rim joist") in told[0][4]


def test_raw_sql_does_not_go_round_the_record() -> None:
    home = HomeFactory(name="the blue one", wall_finish="panel")
    an_hour_passes()
    with connection.cursor() as cursor:
        cursor.execute("UPDATE jobs_home SET wall_finish = 'brick', built_on = '1998-04-01' WHERE id = %s", [home.pk])
    assert newest(home) == [
        (
            "outside the service",
            "home",
            f"{home.code} the blue one",
            "changed",
            (("built", NOTHING, "1 Apr 1998"), ("walls", "panel or vinyl", "brick veneer")),
        )
    ]
    home.refresh_from_db()
    assert home.version == 2


def test_what_is_gone_keeps_its_name_in_the_record() -> None:
    siting = lay_out_home()
    an_hour_passes()
    siting.neighbour_pairs.filter(a__label="A1", b__label="A2").delete()
    _, thing, name, did, fields = newest(siting)[0]
    assert (thing, name, did) == ("neighbour-pair", "A1 and A2", "removed")
    assert ("direction", "along the beam", NOTHING) in fields


def test_a_place_on_a_drain_is_told_under_its_run_after_it_is_gone() -> None:
    run = DrainRunFactory(code="D1")
    node = DrainNodeFactory(run=run, at_ft=Decimal("12.500"), invert_in=18)
    an_hour_passes()
    run.nodes.update(invert_in=17, is_on_ground=True)
    changed = (("inside bottom of the pipe", f"18{NBSP}in", f"17{NBSP}in"), ("held by the ground", "no", "yes"))
    assert newest(run) == [("outside the service", "drain-node", "D1 at 12.5 ft", "changed", changed)]
    an_hour_passes()
    node.delete()
    _, thing, name, did, fields = newest(run)[0]
    assert (thing, name, did) == ("drain-node", "D1 at 12.5 ft", "removed")
    assert ("drain run", "D1", NOTHING) in fields
    assert newest(run.siting.home)[0][2] == name


def test_archiving_and_restoring_are_told_as_such() -> None:
    home = HomeFactory()
    an_hour_passes()
    Home.objects.filter(pk=home.pk).archive()
    assert [did for _, _, _, did, _ in newest(home)] == ["archived"]
    an_hour_passes()
    Home.objects.filter(pk=home.pk).restore()
    assert [(did, fields) for _, _, _, did, fields in newest(home)] == [("restored", ())]


def test_who_is_on_a_visit_is_part_of_its_record() -> None:
    ann = UserFactory(first_name="Ann", last_name="Reed")
    visit = VisitFactory()
    visit.crew.add(ann)
    changes = [change for entry in history_of(visit).entries for change in entry.changes]
    crew = [change.fields for change in changes if any(each.field == "crew" for each in change.fields)]
    assert [(each.label, each.before, each.after) for fields in crew for each in fields] == [
        ("crew", NOTHING, "Ann Reed")
    ]
    visit.crew.clear()
    changes = [change for entry in history_of(visit).entries for change in entry.changes]
    assert ("crew", "Ann Reed", NOTHING) in [
        (each.field, each.before, each.after) for change in changes for each in change.fields
    ]


def test_what_changed_nothing_is_not_told() -> None:
    home = HomeFactory()
    home.save()
    assert home.version == 2
    assert len(history_of(home).entries) == 1


# -- who -----------------------------------------------------------------------------------------------------


def test_a_session_and_a_device_token_both_tell_the_person(manager: User, api_for: SignIn) -> None:
    home = HomeFactory()
    an_hour_passes()
    api_for(manager).patch(f"/api/v1/homes/{home.pk}/", {"name": "one"})
    assert history_of(home).entries[0].user == manager.pk
    an_hour_passes()
    issued = api_for(manager).post("/api/v1/device-tokens/", {"name": "truck 2"}).json()
    client = APIClient(HTTP_AUTHORIZATION=f"Bearer {issued['secret']}")
    home.refresh_from_db()
    answer = client.patch(f"/api/v1/homes/{home.pk}/", {"name": "two"}, headers={"If-Match": f'"{home.version}"'})
    assert answer.status_code == 200
    entry = history_of(home).entries[0]
    assert (entry.user, entry.who) == (manager.pk, "manager")
    assert [(each.before, each.after) for each in entry.changes[0].fields] == [("one", "two")]


def test_lengths_go_by_the_readers_unit(manager: User) -> None:
    manager.length_unit = "mm"
    strap = StrapFactory(slack_in=0)
    an_hour_passes()
    strap.slack_in = Decimal("0.5")
    strap.save()
    entry = history_of(strap, reader=manager).entries[0]
    assert [(each.before, each.after) for each in entry.changes[0].fields] == [(f"0{NBSP}mm", f"12.7{NBSP}mm")]


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("gap_in", "0.3125", "5/16 in"),
        ("thickness_in", "0.0350", "0.035 in"),  # no sixteenth: not rounded to one
        ("tension_lb", "350.0", "350 lb"),
        ("beam_load_lb_per_ft", "95.0", "95 lb/ft"),
        ("beam_i_in4", "42.50", "42.5 in⁴"),
        ("beam_section_modulus_in3", "8.00", "8 in³"),
        ("x_ft", "12.250", "12.25 ft"),
        ("north_deg", "90.0", "90°"),
        ("tax_pct", "8.250", "8.25%"),
        ("sections", "2", "2"),
    ],
)
def test_numbers_are_said_with_their_unit(name: str, value: str, words: str) -> None:
    assert number_words(name, Decimal(value), "in").replace(NBSP, " ") == words


def test_every_field_that_is_kept_has_a_name_for_people() -> None:
    unnamed = set()
    for model in things().values():
        events = model._meta.get_field("events").related_model
        for field in events._meta.local_fields:
            known = {field.name, f"{model._meta.model_name}.{field.name}"} & FIELD_WORDS.keys()
            if not field.name.startswith("pgh_") and field.name not in ("id", "version", "is_only_one") and not known:
                unnamed.add(f"{model.__name__}.{field.name}")
    assert not unnamed


# -- of a home and all under it ------------------------------------------------------------------------------


def test_a_homes_record_holds_all_that_lies_under_it() -> None:
    siting = lay_out_home()
    HomeContactFactory(home=siting.home)
    VisitFactory(siting=siting).crew.add(UserFactory())
    DrainNodeFactory(run__siting=siting)
    lay_out_home()  # another home's
    SupportFactory()
    entries = history_of(siting.home).entries
    seen = {change.thing for entry in entries for change in entry.changes}
    under = {"home", "home-contact", "siting", "point", "support", "neighbour-pair", "benchmark", "connection"}
    assert seen == under | {"strap", "visit", "drain-run", "drain-node"}
    points = [change for entry in entries for change in entry.changes if change.thing == "point"]
    assert {point.id for point in points} == set(siting.points.values_list("pk", flat=True))


def test_a_jobs_record_tells_answers_in_words_and_its_visits() -> None:
    job = JobFactory(answers={})
    visit = VisitFactory(siting=SitingFactory(home=job.home), job=job)
    an_hour_passes()
    Job.objects.update(answers={"gas": "propane", "land": "park"}, symptoms=["doors", "leak"])
    (told,) = newest(job)
    assert told[:4] == ("outside the service", "job", str(job.number), "changed")
    assert told[4] == (
        ("symptoms", NOTHING, "doors or windows stick, leak, or water under the home"),
        ("answers", NOTHING, "Is there gas? from a tank; Who owns the land? a park"),
    )
    seen = {(change.thing, change.id) for entry in history_of(job).entries for change in entry.changes}
    assert seen == {("job", job.pk), ("visit", visit.pk)}
    of_home = {change.thing for entry in history_of(job.home).entries for change in entry.changes}
    assert of_home == {"home", "job", "siting", "visit"}


def test_days_off_and_trucks_are_told_by_name() -> None:
    truck = TruckFactory(name="the red one")
    row = TimeOffFactory(truck=truck, why="brakes")
    assert [told[1:4] for told in newest(truck)] == [("truck", "the red one", "added")]
    ((_, thing, name, did, fields),) = newest(row)
    assert (thing, name, did) == ("time-off", "brakes", "added")
    assert ("truck", NOTHING, "the red one") in fields


def test_a_large_layout_is_counted_not_listed() -> None:
    siting = SitingFactory(home__length_ft=80)
    an_hour_passes()
    points = lay_out(
        siting=siting,
        spec=LayoutSpec(kind="manufactured", sections=2, width_ft=28.0, length_ft=80.0, support_spacing_ft=5.0),
    )
    entry = history_of(siting).entries[0]
    assert len(points) > SHOWN
    assert len([change for change in entry.changes if change.thing == "point"]) == SHOWN
    more = {one.thing: one.count for one in entry.more}
    assert more["point"] == more["support"] == len(points) - SHOWN


def test_pages_follow_one_another_without_gap_or_repeat() -> None:
    home = HomeFactory()
    for number in range(7):
        an_hour_passes()
        Home.objects.filter(pk=home.pk).update(name=f"name {number}")
    pages = [history_of(home, number=number, entries=3) for number in (1, 2, 3, 4)]
    assert [len(page.entries) for page in pages] == [3, 3, 2, 0]
    assert [page.has_next for page in pages] == [True, True, False, False]
    after = [change.fields[-1].after for page in pages for entry in page.entries for change in entry.changes]
    assert after[:7] == [f"name {number}" for number in reversed(range(7))]


def test_as_many_queries_for_a_long_record_as_for_a_short_one() -> None:
    siting = lay_out_home()
    home = siting.home
    counts = []
    for more in (1, 3):
        for _ in range(more):
            an_hour_passes()
            change_point(point=siting.points.first(), fields={"x_ft": Decimal(3 + more)})
            siting.connections.update(note=f"seen {more}")
        with CaptureQueriesContext(connection) as queries:
            history_of(home)
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 8


def test_somebody_who_is_only_crew_sees_what_lies_under_own_visits(crew: User) -> None:
    before = SitingFactory(to_on=datetime.date(2024, 1, 1))
    now = SitingFactory(home=before.home, from_on=datetime.date(2024, 1, 1))
    ConnectionFactory(siting=before, code="OLD")
    ConnectionFactory(siting=now, code="NEW")
    HomeContactFactory(home=now.home)
    VisitFactory(siting=now).crew.add(crew)
    entries = history_of(now.home, reader=crew).entries
    assert {(change.thing, change.name) for entry in entries for change in entry.changes} == {
        ("home", str(now.home)),
        ("siting", now.address),
        ("connection", "drain NEW"),
        ("visit", "inspection, 2026-03-03"),
        ("visit", "2026-03-03"),
    }


# -- what was changed since ----------------------------------------------------------------------------------


def since(row: Any, edition: int) -> list[tuple[str, str, str]]:
    fresh = type(row).objects.get(pk=row.pk)
    return [(one.field, one.before, one.after) for one in changes_since(fresh, edition)]


def test_changes_since_a_version_are_those_after_it() -> None:
    home = HomeFactory(name="a")
    for name in "bcd":
        home.name = name
        home.save()
    assert since(home, 2) == [("name", "b", "c"), ("name", "c", "d")]
    assert since(home, 4) == []


def test_a_benchmark_and_its_point_count_as_one() -> None:
    mark = BenchmarkFactory(point__label="BM1", description="nail")
    assert mark.edition == 1
    an_hour_passes()
    change_point(point=mark.point, fields={"label": "BM2"})
    mark = Benchmark.objects.get(pk=mark.pk)
    assert (mark.edition, since(mark, 1), since(mark, 2)) == (2, [("label", "BM1", "BM2")], [])
    mark.save()  # says nothing new, and is counted
    an_hour_passes()
    change_benchmark(benchmark=Benchmark.objects.get(pk=mark.pk), place={"x_ft": 77}, fields={"description": "rod"})
    assert {field for field, _, _ in since(mark, 3)} == {"x_ft", "description"}
    assert Benchmark.objects.get(pk=mark.pk).edition == 5


def test_crew_put_on_a_visit_meanwhile_is_told() -> None:
    visit = VisitFactory()
    an_hour_passes()
    visit.crew.add(UserFactory(username="bo"))
    assert since(visit, 1) == [("crew", NOTHING, "bo")]
    visit.trucks.add(TruckFactory(name="the red one"))
    assert ("trucks", NOTHING, "the red one") in since(visit, 1)


# -- over the API and on pages -------------------------------------------------------------------------------


def test_the_record_over_the_api(manager: User, api_for: SignIn) -> None:
    siting = lay_out_home()
    an_hour_passes()
    client = api_for(manager)
    point = siting.points.get(label="B2")
    client.patch(f"/api/v1/points/{point.pk}/", {"design_offset_in": "0.5"})
    page = client.get("/api/v1/changes/", {"thing": "home", "id": str(siting.home_id)}).json()
    entry = page["results"][0]
    assert (entry["who"], entry["user"], entry["more"]) == ("manager", str(manager.pk), [])
    change = entry["changes"][0]
    assert (change["thing"], change["id"], change["name"], change["did"]) == ("point", str(point.pk), "B2", "changed")
    assert change["fields"] == [
        {
            "field": "design_offset_in",
            "label": "built higher than the beams by",
            "before": f"0{NBSP}in",
            "after": f"1/2{NBSP}in",
        }
    ]
    short = client.get("/api/v1/changes/", {"thing": "home", "id": str(siting.home_id), "page_size": 1}).json()
    assert "page=2" in short["next"]
    assert client.get(short["next"]).json()["previous"]


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({"thing": "horse", "id": "01999999-0000-7000-8000-000000000000"}, "thing"),
        ({"thing": "home", "id": "x"}, "id"),
        ({"thing": "home", "id": "01999999-0000-7000-8000-000000000000", "page": "0"}, "page"),
    ],
)
def test_a_wrong_question_is_told_at_its_field(
    query: dict[str, str], field: str, manager: User, api_for: SignIn
) -> None:
    response = api_for(manager).get("/api/v1/changes/", query)
    assert (response.status_code, list(response.json()["fields"])) == (400, [field])


@pytest.mark.parametrize("thing", sorted(things()))
def test_every_thing_has_a_record_and_an_unknown_one_is_not_found(thing: str, manager: User, api_for: SignIn) -> None:
    query = {"thing": thing, "id": "01999999-0000-7000-8000-000000000000"}
    assert api_for(manager).get("/api/v1/changes/", query).status_code == 404


def test_a_homes_page_of_changes(manager: User, client_for: Callable[[User], Client]) -> None:
    siting = lay_out_home()
    an_hour_passes()
    remove_point(point=siting.points.get(label="B2"))
    client = client_for(manager)
    page = client.get(reverse("home-changes", args=[siting.home_id])).content.decode()
    assert "Archived point B2" in page
    assert "Removed pairs" in page
    assert "Added points A1, A2" in page


def test_an_act_is_told_in_few_lines() -> None:
    siting = lay_out_home()
    entry: Entry = history_of(siting).entries[0]
    assert {(more.thing, more.did) for more in entry.more} == set()
    assert len([change for change in entry.changes if change.thing == "neighbour-pair"]) == 17
