"""The inspection of a home: the list of items, what a finding makes of a support, and the page in walking order."""

import datetime
import re
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.test import Client, override_settings
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries
from rest_framework.test import APIClient

from jobs import inspection, inspection_words
from jobs.inspection_findings import note_finding
from jobs.inspection_stops import open_stops
from jobs.inspection_walk import walk_of
from jobs.models import Connection, Finding, Photo, Siting, StrapCheck, Support, User, Visit
from tests.factories import NOON, DrainNodeFactory, SitingFactory, VisitFactory, lay_out_home
from tests.rights_world import photo_file

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]
FINDINGS = "/api/v1/findings/"


@pytest.fixture
def siting() -> Siting:
    return lay_out_home()


@pytest.fixture
def visit(siting: Siting, lead: User, crew: User) -> Visit:
    visit: Visit = VisitFactory(siting=siting, lead=lead)
    visit.crew.add(crew)
    return visit


def support_at(siting: Siting, label: str) -> Support:
    return Support.objects.get(point__siting=siting, point__label=label)


def find(
    siting: Siting, author: User, grade: str, text: str = "seen", *, after_min: int = 0, **about: Any
) -> Finding:
    about = about or {"point": siting.points.get(label="A1")}
    noted_at = NOON + datetime.timedelta(minutes=after_min)
    finding = Finding(siting=siting, author=author, grade=grade, text=text, noted_at=noted_at, **about)
    note_finding(finding)
    return finding


# -- the list ------------------------------------------------------------------------------------------------------


def test_the_words_to_translate_are_those_of_the_list() -> None:
    for said, name in (("WORDS", "words"), ("LOOKS", "look"), ("SOURCES", "source")):
        listed = {getattr(item, name) for item in inspection.ITEMS.values()}
        assert set(getattr(inspection_words, said)) == listed


def test_every_item_says_where_it_is_from_and_fits_its_column() -> None:
    longest = Finding._meta.get_field("item").max_length
    assert longest is not None
    for code, item in inspection.ITEMS.items():
        assert len(code) <= longest
        assert re.search(r"\b24 CFR 3285\.\d+\b|common practice, no source|from memory", item.source), code
        assert item.look.endswith("."), code


def test_an_item_that_is_none_is_refused(siting: Siting, lead: User, api_for: Callable[[User], APIClient]) -> None:
    body = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "siting": str(siting.pk), "grade": "ok"}
    answer = api_for(lead).post(FINDINGS, body | {"item": "roof"})
    assert (answer.status_code, list(answer.json()["fields"])) == (400, ["item"])
    assert "belly" in answer.json()["fields"]["item"]
    taken = api_for(lead).post(FINDINGS, body | {"item": "belly"})
    assert (taken.status_code, taken.json()["item"]) == (201, "belly")
    with pytest.raises(ValidationError) as refused:
        Finding(siting=siting, author=lead, grade="ok", item="roof", noted_at=NOON).full_clean()
    assert refused.value.message_dict.keys() == {"item"}


def test_a_finding_is_about_a_drain_run_of_its_home(
    siting: Siting, lead: User, api_for: Callable[[User], APIClient]
) -> None:
    own, other = DrainNodeFactory(run__siting=siting).run, DrainNodeFactory().run
    body = {"noted_at": NOON.isoformat(), "siting": str(siting.pk), "grade": "fix", "text": "the hanger is loose"}
    refused = api_for(lead).post(FINDINGS, body | {"id": str(uuid.uuid4()), "drain_run": str(other.pk)})
    assert (refused.status_code, list(refused.json()["fields"])) == (400, ["drain_run"])
    taken = api_for(lead).post(FINDINGS, body | {"id": str(uuid.uuid4()), "drain_run": str(own.pk)})
    assert (taken.status_code, Finding.objects.get().drain_run) == (201, own)
    listed = api_for(lead).get(FINDINGS, {"drain_run": str(own.pk)}).json()["results"]
    assert [row["drain_run"] for row in listed] == [str(own.pk)]


# -- what a finding makes of a support -----------------------------------------------------------------------------


def test_a_worse_finding_holds_at_once_whoever_made_it(siting: Siting, crew: User) -> None:
    for number, grade in enumerate(("note", "fix", "stop")):
        find(siting, crew, grade, after_min=number)
        assert support_at(siting, "A1").condition == grade
    assert support_at(siting, "A2").condition == "ok"


@pytest.mark.parametrize(
    ("who", "text", "after"),
    [("crew", "two new blocks", "stop"), ("lead", "", "stop"), ("lead", "two new blocks", "ok")],
)
def test_only_a_lead_with_words_takes_a_support_back(
    siting: Siting, request: pytest.FixtureRequest, crew: User, *, who: str, text: str, after: str
) -> None:
    find(siting, crew, "stop")
    find(siting, request.getfixturevalue(who), "ok", text, after_min=5)
    assert support_at(siting, "A1").condition == after
    assert Finding.objects.count() == 2  # it is kept all the same


def test_what_comes_in_late_counts_when_it_was_noted(siting: Siting, crew: User, lead: User) -> None:
    find(siting, lead, "note", "two new blocks", after_min=30)
    find(siting, crew, "stop", after_min=10)  # noted before the lead's, and taken back by it
    assert support_at(siting, "A1").condition == "note"
    find(siting, crew, "fix", after_min=40)
    assert support_at(siting, "A1").condition == "fix"
    find(siting, lead, "ok", "swept clean", after_min=35)  # what came after it stands
    assert support_at(siting, "A1").condition == "fix"


def test_the_order_of_arrival_makes_no_difference(siting: Siting, crew: User, lead: User) -> None:
    notes = [(crew, "stop", "cracked", 0), (lead, "ok", "rebuilt", 10), (crew, "fix", "leans", 20)]
    for label, order in (("A1", (0, 1, 2)), ("A2", (2, 1, 0)), ("B1", (1, 2, 0)), ("B2", (2, 0, 1))):
        for who, grade, text, after_min in (notes[place] for place in order):
            find(siting, who, grade, text, after_min=after_min, point=siting.points.get(label=label))
        assert support_at(siting, label).condition == "fix", label


def test_the_change_of_a_condition_is_in_the_record(
    siting: Siting, crew: User, api_for: Callable[[User], APIClient], visit: Visit
) -> None:
    body = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "grade": "stop", "text": "cracked"}
    where = {"siting": str(siting.pk), "point": str(siting.points.get(label="A1").pk)}
    assert api_for(crew).post(FINDINGS, body | where).status_code == 201
    told = api_for(crew).get("/api/v1/changes/", {"thing": "home", "id": str(siting.home_id)}).json()
    newest = told["results"][0]
    assert newest["changes"][0]["fields"] == [
        {"field": "condition", "label": "condition", "before": "OK", "after": "stop"}
    ]


def test_what_stops_the_work_is_told_until_it_is_taken_back(siting: Siting, crew: User, lead: User) -> None:
    connection, strap = siting.connections.get(), siting.straps.get(code="T2")
    noted = {"author": crew, "noted_at": NOON}
    find(siting, crew, "stop", "cracked through")
    find(siting, crew, "note", "cobwebs", after_min=1)  # takes nothing back
    find(siting, crew, "stop", "hard pipe", connection=connection)
    find(siting, crew, "stop", "wet wire", item="wiring")
    find(siting, crew, "fix", "sags", item="belly")
    StrapCheck.objects.create(strap=strap, grade="stop", text="anchor pulled", **noted)
    assert [(stop.what, stop.text) for stop in open_stops(siting)] == [
        ("A1", "cracked through"),
        ("drain DR1", "hard pipe"),
        ("strap T2", "anchor pulled"),
        ("wiring and bonding", "wet wire"),
    ]
    find(siting, lead, "ok", "rebuilt", after_min=2)
    find(siting, crew, "ok", "", after_min=2, connection=connection)
    siting.straps.filter(code="T2").archive()
    assert [stop.what for stop in open_stops(siting)] == ["wiring and bonding"]


# -- figures -------------------------------------------------------------------------------------------------------


def test_figures_of_a_crew_wait_until_a_lead_records_them(
    siting: Siting, visit: Visit, crew: User, lead: User, api_for: Callable[[User], APIClient]
) -> None:
    support = support_at(siting, "A1")
    body = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "siting": str(siting.pk), "grade": "ok"}
    body |= {"point": str(support.point_id), "figures": {"gap_in": "3/8", "has_sunk": "yes"}}
    taken = api_for(crew).post(FINDINGS, body)
    assert (taken.status_code, taken.json()["figures"]) == (201, {"gap_in": "0.375", "has_sunk": "yes"})
    support.refresh_from_db()
    assert (support.gap_in, support.has_sunk) == (0, False)
    record = f"{FINDINGS}{body['id']}/record/"
    assert api_for(crew).post(record, {"version": support.version}).status_code == 403
    assert api_for(lead).post(record, {"version": support.version + 1}).status_code == 412
    assert api_for(lead).post(record, {"version": support.version}).status_code == 200
    support.refresh_from_db()
    assert (support.gap_in, support.has_sunk) == (Decimal("0.375"), True)
    again = api_for(crew).post(FINDINGS, body)
    assert again.status_code == 200  # the same, sent twice


@pytest.mark.parametrize(
    ("about", "figures", "field"),
    [
        ("point", {"colour": "red"}, "figures.colour"),
        ("point", {"gap_in": "-1/4"}, "figures.gap_in"),
        ("point", {"gap_in": "much"}, "figures.gap_in"),
        ("point", {"footing_length_in": "16"}, "figures.footing_length_in"),
        ("point", {"footing": "cheese"}, "figures.footing"),
        ("point", {"stack": "shims marble"}, "figures.stack"),
        ("connection", {"free_up_in": "1", "free_down_in": "1", "measured": "not_measured", "x": "1"}, "figures.x"),
        ("item", {"gap_in": "1"}, "figures"),
        ("mark", {"gap_in": "1"}, "figures"),
    ],
)
def test_figures_that_the_record_does_not_take_are_refused(
    siting: Siting, lead: User, api_for: Callable[[User], APIClient], *, about: str, figures: Any, field: str
) -> None:
    known = {
        "point": {"point": str(siting.points.get(label="A1").pk)},
        "mark": {"point": str(siting.points.get(label="BM1").pk)},
        "connection": {"connection": str(siting.connections.get().pk)},
        "item": {"item": "belly"},
    }
    body = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "siting": str(siting.pk), "grade": "ok"}
    answer = api_for(lead).post(FINDINGS, body | known[about] | {"figures": figures})
    assert (answer.status_code, list(answer.json()["fields"])) == (400, [field]), answer.json()
    assert not Finding.objects.exists()
    assert support_at(siting, "A1").version == 1


# -- the page ------------------------------------------------------------------------------------------------------


def send(client: Client, visit: Visit, kind: str, key: object, grade: str = "ok", **more: Any) -> Any:
    typed = {"id": str(uuid.uuid4()), "kind": kind, "key": str(key), "grade": grade, **more}
    return client.post(reverse("visit-inspection", args=[visit.pk]), typed)


def opened(client: Client, visit: Visit) -> str:
    return client.get(reverse("visit-inspection", args=[visit.pk])).content.decode()


def test_supports_come_in_walking_order_each_with_its_straps(siting: Siting, visit: Visit) -> None:
    DrainNodeFactory(run__siting=siting, run__code="W1")
    siting.points.filter(label="D1").update(walk_order=0)  # the lead begins the walk at the other corner
    siting.points.filter(label="A1").update(walk_order=50)
    walk = walk_of(visit, unit="in")
    titles = [place.title for place in walk.places]
    assert titles[:2] == ["D1", "A2"]
    assert titles.index("strap T1 and its anchor") == titles.index("A1") + 1
    assert titles.index("strap T2 and its anchor") == titles.index("D3") + 1
    assert titles[14:16] == ["drain DR1", "drain run W1"]
    assert [place.key for place in walk.parts[-1].places] == list(inspection.ITEMS)
    assert walk.count == 12 + 2 + 1 + 1 + len(inspection.ITEMS)


def test_ok_is_one_press_and_the_next_is_in_sight(
    siting: Siting, visit: Visit, crew: User, client_for: ClientFor
) -> None:
    client, point = client_for(crew), siting.points.get(label="A1")
    count = walk_of(visit, unit="in").count
    assert f"0 of {count} looked at" in opened(client, visit)
    answer = send(client, visit, "support", point.pk)
    assert (answer.status_code, answer["Location"]) == (
        302,
        f"{reverse('visit-inspection', args=[visit.pk])}#support-{point.pk}",
    )
    found = Finding.objects.get()
    assert (found.point, found.grade, found.visit, found.author) == (point, "ok", visit, crew)
    shown = opened(client, visit)
    strap = siting.straps.get(code="T1")
    assert f"1 of {count} looked at" in shown
    assert re.search(rf'href="#strap-{strap.pk}">\s*Next: strap T1', shown)


def test_every_sort_of_thing_is_looked_at(siting: Siting, visit: Visit, lead: User, client_for: ClientFor) -> None:
    run = DrainNodeFactory(run__siting=siting).run
    client = client_for(lead)
    strap, connection = siting.straps.get(code="T2"), siting.connections.get()
    for kind, key in (("strap", strap.pk), ("connection", connection.pk), ("drain_run", run.pk), ("item", "belly")):
        assert send(client, visit, kind, key, "note", text="looked at").status_code == 302
    assert set(Finding.objects.values_list("connection", "drain_run", "item")) == {
        (connection.pk, None, ""),
        (None, run.pk, ""),
        (None, None, "belly"),
    }
    check = StrapCheck.objects.get()
    assert (check.strap, check.grade, check.visit) == (strap, "note", visit)
    strap.refresh_from_db()
    assert strap.slack_in == Decimal("0.5")  # a look says nothing new of the slack that was measured
    assert walk_of(visit, unit="in").looked_at == 4


def test_what_is_not_ok_needs_words(siting: Siting, visit: Visit, crew: User, client_for: ClientFor) -> None:
    point, strap = siting.points.get(label="B2"), siting.straps.get(code="T1")
    for kind, key in (("support", point.pk), ("strap", strap.pk), ("item", "ducts")):
        answer = send(client_for(crew), visit, kind, key, "fix", gap_in="3/8", slack_in="1/4")
        assert answer.status_code == 400
        assert "Say what was found, unless it is OK." in answer.content.decode()
    assert not Finding.objects.exists()
    assert not StrapCheck.objects.exists()
    shown = send(client_for(crew), visit, "support", point.pk, "fix", gap_in="3/8").content.decode()
    assert 'name="gap_in" value="3/8"' in shown  # nothing that was typed is lost


def test_pressed_twice_is_kept_once(siting: Siting, visit: Visit, lead: User, client_for: ClientFor) -> None:
    point, key = siting.points.get(label="B2"), str(uuid.uuid4())
    typed = {"id": key, "text": "cracked", "gap_in": "1/4", "version": "1"}
    for _press in range(2):
        assert send(client_for(lead), visit, "support", point.pk, "fix", **typed).status_code == 302
    other = send(client_for(lead), visit, "support", point.pk, "stop", **typed)
    assert other.status_code == 400
    assert "Something else was saved from this form before" in other.content.decode()
    assert Finding.objects.count() == 1


def test_a_leads_figures_go_into_the_record_over_what_he_saw(
    siting: Siting, visit: Visit, lead: User, client_for: ClientFor
) -> None:
    support = support_at(siting, "B2")
    typed = {"text": "gap", "version": support.version, "gap_in": "3/8", "offset_in": "1/2", "has_sunk": "yes"}
    typed |= {"footing": "poured", "footing_length_in": "24", "footing_width_in": "24", "clearance_in": "14"}
    assert send(client_for(lead), visit, "support", support.point_id, "fix", **typed).status_code == 302
    support.refresh_from_db()
    assert (support.gap_in, support.offset_in, support.has_sunk, support.condition) == (
        *(Decimal("0.375"), Decimal("0.5")),
        *(True, "fix"),
    )
    assert (support.footing, support.footing_width_in, support.clearance_in) == ("poured", 24, 14)
    stale = send(client_for(lead), visit, "support", support.point_id, "ok", version=1, gap_in="0", text="wedged")
    assert stale.status_code == 400
    assert "Somebody else has changed this meanwhile" in stale.content.decode()
    assert f'name="version" value="{support.version}"' in stale.content.decode()  # a second press is from the newest
    assert support_at(siting, "B2").gap_in == Decimal("0.375")


def test_a_leads_travel_says_how_it_was_measured(
    siting: Siting, visit: Visit, lead: User, client_for: ClientFor
) -> None:
    connection = siting.connections.get()
    Connection.objects.filter(pk=connection.pk).update(measured="not_measured", free_up_in=None, free_down_in=None)
    assert "travel not measured: counts as none" in opened(client_for(lead), visit)
    connection.refresh_from_db()
    typed = {"version": connection.version, "free_up_in": "5/8", "free_down_in": "1"}
    refused = send(client_for(lead), visit, "connection", connection.pk, **typed)
    assert refused.status_code == 400  # not without how it was measured
    taken = send(client_for(lead), visit, "connection", connection.pk, **typed, measured="tape")
    assert taken.status_code == 302
    connection.refresh_from_db()
    assert (connection.free_up_in, connection.measured) == (Decimal("0.625"), "tape")
    undone = {"version": connection.version, "measured": "not_measured"}
    assert send(client_for(lead), visit, "connection", connection.pk, **undone).status_code == 302
    connection.refresh_from_db()
    assert (connection.free_up_in, connection.measured) == (None, "not_measured")


def test_a_crews_figures_are_shown_to_the_lead_who_records_them(
    siting: Siting, visit: Visit, crew: User, lead: User, client_for: ClientFor
) -> None:
    support = support_at(siting, "C1")
    send(client_for(crew), visit, "support", support.point_id, "note", text="hangs", gap_in="3/8", version=1)
    support.refresh_from_db()
    assert (support.gap_in, support.condition) == (0, "note")
    to_crew, to_lead = opened(client_for(crew), visit), opened(client_for(lead), visit)
    assert "A crew lead or the office puts it into the record." in to_crew
    finding = Finding.objects.get()
    record = reverse("finding-record", args=[finding.pk])
    assert record in to_lead
    assert record not in to_crew
    plain = re.sub(r"<[^>]+>", "", to_lead).replace("\N{NO-BREAK SPACE}", " ")
    assert "gap at the wedge 3/8 in" in plain
    stale = client_for(lead).post(record, {"version": support.version + 7, "visit": visit.pk}, follow=True)
    assert "Somebody else has changed this meanwhile" in stale.content.decode()
    answer = client_for(lead).post(record, {"version": support.version, "visit": visit.pk})
    assert answer["Location"].endswith(f"#support-{support.point_id}")
    support.refresh_from_db()
    assert support.gap_in == Decimal("0.375")
    assert record not in opened(client_for(lead), visit)


def test_a_support_that_stays_worse_says_so(
    siting: Siting, visit: Visit, crew: User, lead: User, client_for: ClientFor
) -> None:
    point = siting.points.get(label="C1")
    send(client_for(crew), visit, "support", point.pk, "stop", text="split block")
    send(client_for(crew), visit, "support", point.pk, "ok")
    assert "It stays at stop until a crew lead says in words what was done." in opened(client_for(crew), visit)
    send(client_for(lead), visit, "support", point.pk, "ok", text="block replaced")
    assert "It stays at" not in opened(client_for(crew), visit)
    assert support_at(siting, "C1").condition == "ok"


def test_a_pluck_and_a_gauge_are_entered(siting: Siting, visit: Visit, crew: User, client_for: ClientFor) -> None:
    strap, client = siting.straps.get(code="T1"), client_for(crew)
    short = send(client, visit, "strap", strap.pk, method="pluck", frequency_hz="31.5")
    assert short.status_code == 400
    assert "pitch and its free length" in short.content.decode()
    pluck = {"method": "pluck", "frequency_hz": "31.5", "free_length_in": "38 1/2"}
    assert send(client, visit, "strap", strap.pk, **pluck).status_code == 302
    assert send(client, visit, "strap", strap.pk, method="gauge", tension_lb="450").status_code == 302
    found = StrapCheck.objects.order_by("noted_at").values_list(
        "method", "frequency_hz", "free_length_in", "tension_lb"
    )
    assert list(found) == [("pluck", Decimal("31.5"), Decimal("38.5"), None), ("gauge", None, None, 450)]


def test_the_last_visit_is_told_and_is_no_look_of_this_one(
    siting: Siting, visit: Visit, lead: User, client_for: ClientFor
) -> None:
    find(siting, lead, "fix", "crushed shims", visit=VisitFactory(siting=siting), item="old_repairs")
    shown = opened(client_for(lead), visit)
    assert "crushed shims" in shown
    assert "last time" in shown
    assert "0 of" in shown


def test_a_photo_belongs_to_what_was_found(
    siting: Siting, visit: Visit, crew: User, client_for: ClientFor, tmp_path: Any
) -> None:
    client = client_for(crew)
    send(client, visit, "item", "belly", "fix", text="torn")
    found = Finding.objects.get()
    address = reverse("visit-inspection-photo", args=[visit.pk])
    with override_settings(MEDIA_ROOT=str(tmp_path)):
        answer = client.post(address, {"id": str(uuid.uuid4()), "finding": found.pk, "file": photo_file()})
        assert answer["Location"].endswith("#item-belly")
        photo = Photo.objects.get()
        assert (photo.finding, photo.visit) == (found, visit)
        assert reverse("photo-thumbnail", args=[photo.pk]) in opened(client, visit)
        told = client.post(address, {"id": str(uuid.uuid4()), "finding": found.pk}, follow=True)
    assert "This field is required." in told.content.decode()


def test_what_lies_under_another_home_is_not_there(
    siting: Siting, visit: Visit, lead: User, client_for: ClientFor
) -> None:
    elsewhere = lay_out_home(SitingFactory())
    for kind, key in (
        ("support", elsewhere.points.get(label="A1").pk),
        ("strap", elsewhere.straps.get(code="T1").pk),
        ("connection", elsewhere.connections.get().pk),
        ("item", "roof"),
        ("roof", "belly"),
        ("support", "no-key"),
    ):
        assert send(client_for(lead), visit, kind, key).status_code == 404, kind
    assert not Finding.objects.exists()


def test_an_archived_home_takes_nothing(siting: Siting, visit: Visit, lead: User, client_for: ClientFor) -> None:
    siting.home.archived_at = NOON
    siting.home.save()
    shown = opened(client_for(lead), visit)
    assert 'name="grade"' not in shown
    assert send(client_for(lead), visit, "item", "belly").status_code == 403


def test_the_office_reads_and_finds_nothing(visit: Visit, office: User, client_for: ClientFor) -> None:
    assert 'name="grade"' not in opened(client_for(office), visit)
    assert send(client_for(office), visit, "item", "belly").status_code == 403


@pytest.mark.parametrize("rows", [1, 3])
def test_the_page_asks_a_fixed_number_of_times(
    *,
    siting: Siting,
    visit: Visit,
    crew: User,
    lead: User,
    rows: int,
    client_for: ClientFor,
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    for number in range(rows):
        DrainNodeFactory(run__siting=siting)
        point = siting.points.get(label=f"B{number + 1}")
        find(siting, crew, "fix", "hangs", visit=visit, point=point, figures={"gap_in": "3/8"})
        find(siting, crew, "fix", "hung", point=siting.points.get(label=f"C{number + 1}"))
        StrapCheck.objects.create(
            strap=siting.straps.get(code="T1"), visit=visit, grade="ok", author=crew, noted_at=NOON
        )
    client = client_for(lead)
    # session, user, time zone, visit; straps, supports, connections, drain runs; findings and checks of the visit,
    # the newest before it, the newest with figures; hazards, photos
    with django_assert_num_queries(15):
        opened(client, visit)


def test_the_visits_page_leads_here(visit: Visit, crew: User, client_for: ClientFor) -> None:
    shown = client_for(crew).get(reverse("visit", args=[visit.pk])).content.decode()
    assert reverse("visit-inspection", args=[visit.pk]) in shown
