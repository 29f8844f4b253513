"""The inspection's page: everything in walking order, one press or words each, figures for the record, photos."""

import re
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client, override_settings
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from jobs import inspection
from jobs.inspection_walk import walk_of
from jobs.models import Connection, Finding, Photo, Siting, StrapCheck, User, Visit
from tests.factories import NOON, DrainNodeFactory, SitingFactory, VisitFactory, lay_out_home
from tests.jobs.inspecting import find, support_at
from tests.rights_world import photo_file

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]


@pytest.fixture
def siting() -> Siting:
    return lay_out_home()


@pytest.fixture
def visit(siting: Siting, lead: User, crew: User) -> Visit:
    visit: Visit = VisitFactory(siting=siting, lead=lead)
    visit.crew.add(crew)
    return visit


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


def test_words_too_long_are_refused_at_their_field_and_not_cut(
    siting: Siting, visit: Visit, crew: User, client_for: ClientFor
) -> None:
    """A browser would cut what is pasted into a box that is limited: the page sets no such limit."""
    point, client = siting.points.get(label="B2"), client_for(crew)
    assert (
        "maxlength"
        not in re.findall(
            r"<textarea[^>]*>", client.get(reverse("visit-inspection", args=[visit.pk])).content.decode()
        )[0]
    )
    text = "w" * 1990 + "\r\n" * 11  # a browser sends each end of a line as two
    long = text + "0123456789"
    answer = send(client, visit, "support", point.pk, "fix", text=long)
    shown = answer.content.decode()
    assert (answer.status_code, Finding.objects.count()) == (400, 0)
    assert "Give at most 2000 characters, not 2011." in shown
    assert "0123456789</textarea>" in shown
    send(client, visit, "support", point.pk, "fix", text=text[:1990] + "\r\n" * 4 + "012345")
    assert len(Finding.objects.get().text) == 2000
    strap = siting.straps.get(code="T1")
    shown = send(client, visit, "strap", strap.pk, "fix", text="w" * 201, slack_in="1/4").content.decode()
    assert "Give at most 200 characters, not 201." in shown


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
