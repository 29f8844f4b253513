"""Customers, homes and layouts by file: checked first, all or nothing, and unchanged when they come in again."""

import datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.csv_files.customers import CUSTOMERS
from jobs.csv_files.homes import HOMES
from jobs.csv_files.layouts import LAYOUTS
from jobs.csv_files.run import Kind, Report, export, run
from jobs.csv_files.things import THINGS
from jobs.errors import DomainError
from jobs.models import (
    Benchmark,
    Customer,
    DrainNode,
    DrainRun,
    Home,
    NeighbourPair,
    Point,
    Role,
    Siting,
    Strap,
    Support,
    User,
)
from tests.factories import (
    BenchmarkFactory,
    CustomerFactory,
    DrainNodeFactory,
    DrainRunFactory,
    HomeFactory,
    RuleSetFactory,
    SitingFactory,
    UserFactory,
    lay_out_home,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def office() -> User:
    return UserFactory(roles=[Role.OFFICE])


def file(*lines: str) -> bytes:
    return "\r\n".join(lines).encode()


def check(kind: Kind, data: bytes, by: User) -> Report:
    return run(kind, data, by=by, is_dry_run=True)


def bring_in(kind: Kind, data: bytes, by: User) -> Report:
    checked = check(kind, data, by)
    return run(kind, data, by=by, is_dry_run=False, sha256=checked.sha256)


def take_out(kind: Kind, by: User, **given: str) -> bytes:
    return "".join(export(kind, by=by, given=given)).encode()


def done(report: Report) -> dict[str, tuple[int, int, int]]:
    """How many were added, changed and left as they were."""
    return {thing: (count.added, count.changed, count.unchanged) for thing, count in report.counts.items()}


def told(report: Report) -> list[tuple[int, str, str]]:
    return [(problem.line, problem.column, problem.message) for problem in report.problems]


# -- checking first, all or nothing --------------------------------------------------------------------------


def test_checking_writes_nothing_and_says_what_importing_does(office: User) -> None:
    CustomerFactory(name="Ann Tolliver", email="ann@tolliver.example", phone="555 0100")
    data = file("name,email,phone", "Ann Tolliver,ANN@tolliver.example,555 0199", "Bo Quill,,555 0177")
    checked = check(CUSTOMERS, data, office)
    assert checked.is_dry_run
    assert done(checked) == {"customer": (1, 1, 0)}
    assert checked.changes[0].values == {
        "email": ("ann@tolliver.example", "ANN@tolliver.example"),
        "phone": ("555 0100", "555 0199"),
    }
    assert [change.name for change in checked.changes] == ["Ann Tolliver", "Bo Quill"]
    assert list(Customer.objects.values_list("name", "phone")) == [("Ann Tolliver", "555 0100")]
    imported = run(CUSTOMERS, data, by=office, is_dry_run=False, sha256=checked.sha256)
    assert (done(imported), imported.changes) == (done(checked), checked.changes)
    assert set(Customer.objects.values_list("name", "phone")) == {
        ("Ann Tolliver", "555 0199"),
        ("Bo Quill", "555 0177"),
    }


def test_importing_again_changes_nothing(office: User) -> None:
    data = file("name,email,phone", "Ann Tolliver,ann@tolliver.example,", "Bo Quill,,555 0177", "Cy Dunmore,,")
    assert done(bring_in(CUSTOMERS, data, office)) == {"customer": (3, 0, 0)}
    assert done(bring_in(CUSTOMERS, data, office)) == {"customer": (0, 0, 3)}
    assert Customer.objects.count() == 3


def test_one_wrong_line_keeps_every_line_out(office: User) -> None:
    data = file("name,email", "Ann Tolliver,ann@tolliver.example", "Bo Quill,bo at home", ",cy@dunmore.example")
    assert told(check(CUSTOMERS, data, office)) == [
        (3, "email", "Enter a valid email address."),
        (4, "name", "This can't be empty: give text."),
    ]
    with pytest.raises(DomainError) as caught:
        run(CUSTOMERS, data, by=office, is_dry_run=False)
    assert caught.value.fields == {
        "line 3, email": "Enter a valid email address.",
        "line 4, name": "This can't be empty: give text.",
    }
    assert not Customer.objects.exists()


def test_another_file_than_the_checked_one_is_refused(office: User) -> None:
    checked = check(CUSTOMERS, file("name", "Ann Tolliver"), office)
    with pytest.raises(DomainError) as caught:
        run(CUSTOMERS, file("name", "Bo Quill"), by=office, is_dry_run=False, sha256=checked.sha256)
    assert (caught.value.code, caught.value.status) == ("other_file", 409)
    assert not Customer.objects.exists()


@pytest.mark.parametrize(("kind", "roles"), [(CUSTOMERS, [Role.CREW_LEAD]), (HOMES, [Role.CREW_LEAD]), (LAYOUTS, [])])
def test_who_may_not_is_told_so(kind: Kind, roles: list[str]) -> None:
    with pytest.raises(DomainError) as caught:
        check(kind, b"", UserFactory(roles=roles))
    assert (caught.value.code, caught.value.status) == ("permission_denied", 403)


def test_a_name_that_looks_like_a_formula_goes_out_as_text_and_comes_in_again(office: User) -> None:
    CustomerFactory(name="=cmd|'/c calc'!A1")
    data = take_out(CUSTOMERS, office)
    assert b",=cmd" not in data
    assert b"\r\n'=cmd|'/c calc'!A1," in data
    assert done(bring_in(CUSTOMERS, data, office)) == {"customer": (0, 0, 1)}


def test_customers_are_known_again_and_not_mistaken(office: User) -> None:
    CustomerFactory(name="Ann Tolliver", email="ann@tolliver.example")
    CustomerFactory(name="Cy Dunmore", email="both@dunmore.example")
    CustomerFactory(name="Di Dunmore", email="both@dunmore.example")
    erased = CustomerFactory(name="erased", erased_at=datetime.datetime(2026, 3, 1, tzinfo=datetime.UTC))
    data = file(
        "id,name,email",
        ",Ann Tolliver,other@tolliver.example",
        ",Ed Dunmore,both@dunmore.example",
        f"{erased.pk},Flo Marsh,",
        ",Gil Oake,",
        ",Gil Oake,",
    )
    report = check(CUSTOMERS, data, office)
    assert told(report) == [
        (3, "id", "More than one customer fits: give the key that an export gives."),
        (4, "id", "This customer's data was erased on request."),
        (6, "", "This is the same customer as in line 5."),
    ]
    assert done(report) == {"customer": (2, 0, 0)}  # another e-mail: another Ann Tolliver


# -- homes ---------------------------------------------------------------------------------------------------


def test_a_home_comes_with_its_places(office: User) -> None:
    data = file(
        "code,kind,sections,width_ft,length_ft,address,from_on,to_on",
        "PF-014,manufactured,2,28,60,Lot 14,5/20/2014,2020-01-01",
        "PF-014,manufactured,2,28,60,Lot 3,2020-01-01,",
        "PF-015,pier and beam,,24' 6\",40,,,",
    )
    assert done(bring_in(HOMES, data, office)) == {"home": (2, 0, 0), "place": (2, 0, 0)}
    home = Home.objects.get(code="PF-015")
    assert (home.kind, home.sections, home.width_ft) == ("pier_and_beam", 1, Decimal("24.5"))
    places = Siting.objects.filter(home__code="PF-014").order_by("from_on").values_list("address", "from_on", "to_on")
    assert list(places) == [
        ("Lot 14", datetime.date(2014, 5, 20), datetime.date(2020, 1, 1)),
        ("Lot 3", datetime.date(2020, 1, 1), None),
    ]
    assert done(bring_in(HOMES, data, office)) == {"home": (0, 0, 2), "place": (0, 0, 2)}
    assert [event.pgh_label for event in home.events.all()] == ["insert"]


def test_a_column_that_is_left_out_stays_and_an_empty_cell_empties(office: User) -> None:
    rules = RuleSetFactory(name="county, new")
    home = HomeFactory(name="Brask home", land_owner="Pellen Flats", rule_set=rules, wind_zone=2)
    bring_in(HOMES, file("code,land_owner,wind_zone,sections", f"{home.code},,,"), office)
    home.refresh_from_db()
    assert (home.name, home.land_owner, home.wind_zone, home.rule_set, home.version) == (
        "Brask home",
        "",
        None,
        rules,
        2,
    )
    assert home.sections == 2  # can't be empty, and so stays


def test_what_is_wrong_with_homes_is_told_by_line(office: User) -> None:
    SitingFactory(home=HomeFactory(code="H1"), from_on="2020-01-01")
    data = file(
        "code,kind,sections,width_ft,length_ft,rule_set,address,from_on,to_on",
        "H1,,,,,,Lot 2,2021-01-01,",
        "H2,manufactured,9,28,60,,,,",
        "H3,manufactured,1,14,,,,,",
        "H4,manufactured,1,14,60,nobody's,,,",
        "H5,manufactured,1,14,60,,,2020-01-01,",
        "H6,manufactured,1,14,60,,Lot 6,2020-01-01,2019-01-01",
        "H6,manufactured,2,14,60,,Lot 7,2019-01-01,",
    )
    assert told(check(HOMES, data, office)) == [
        (3, "sections", "A home has 1 to 4 sections."),
        (4, "length_ft", "A new home needs this."),
        (5, "rule_set", "There is no such rule set; there are: none."),
        (6, "address", "Give the address of this place."),
        (8, "sections", "Line 7 says otherwise of this home."),
    ]
    rest = file(*[line for number, line in enumerate(data.decode().split("\r\n"), start=1) if number in (1, 2, 7)])
    assert told(check(HOMES, rest, office)) == [
        (2, "from_on", "The home stands elsewhere in these days: end that siting first."),
        (3, "to_on", "A siting ends after the day it begins."),
    ]
    assert Home.objects.count() == 1


# -- layouts -------------------------------------------------------------------------------------------------


def test_a_layout_is_entered_by_file(office: User) -> None:
    SitingFactory(home=HomeFactory(code="H1"))
    data = file(
        "home,thing,label,other_label,at_point,surface,x_ft,y_ft,beam,height_in,stack,connection_kind,measured,"
        "free_up_in,free_down_in,run_in,rise_in,mark_class",
        "H1,strap,R1,,A1,,,,,,,,,,,31 1/2,32,",
        "H1,pair,A1,A2,,,,,,,,,,,,,,",
        "H1,support,A1,,,,,,,21 1/2,shims plate_2x cap block block,,,,,,,",
        "H1,point,A1,,,I beam,2,3,A,,,,,,,,,",
        "H1,point,A2,,,i_beam,10,3,A,,,,,,,,,",
        "H1,point,BM1,,,outside,-20,-20,,,,,,,,,,",
        "H1,benchmark,BM1,,,,,,,,,,,,,,,deep_rod",
        "H1,connection,DR1,,,,12,7,,,,drain,tape,1/2,1,,,",
    )
    added = {"point": 3, "support": 1, "benchmark": 1, "pair": 1, "connection": 1, "strap": 1}
    assert done(bring_in(LAYOUTS, data, office)) == {thing: (count, 0, 0) for thing, count in added.items()}
    assert Support.objects.get().stack == ["shims", "plate_2x", "cap", "block", "block"]
    assert Strap.objects.get().point.label == "A1"
    assert done(bring_in(LAYOUTS, data, office)) == {thing: (0, 0, count) for thing, count in added.items()}


def test_what_is_wrong_with_a_layout_is_told_by_line(office: User) -> None:
    lay_out_home(SitingFactory(home=HomeFactory(code="H1", length_ft="60")))
    off = "Give -8 to 68 ft: this home is 60 ft that way."
    data = file(
        "home,thing,label,other_label,surface,x_ft,y_ft,height_in,gap_in",
        "H1,point,E1,,i_beam,2,,,",
        "H1,support,E9,,,,,20,",
        "H1,point,A1,,i_beam,2,3,20,",
        "H9,point,A1,,i_beam,2,3,,",
        "H1,pair,A1,,,,,,",
        "H1,house,A1,,,,,,",
        "H1,pair,A2,A1,,,,,",
        "H1,pair,A1,A2,,,,,",
        "H1,point,Z1,,i_beam,3700,3,,",
    )
    assert told(check(LAYOUTS, data, office)) == [
        (2, "y_ft", "A new point needs this."),
        (3, "label", "There is no point E9 under this home."),
        (4, "height_in", "A point has no such thing: leave this empty."),
        (5, "home", "There is no such home at a place: import homes first."),
        (6, "other_label", "A new pair needs this."),
        (
            7,
            "thing",
            "“house” can't be read: give point, support, benchmark, pair, connection, strap, drain_run, drain_node.",
        ),
        (9, "label", "This is the same pair as in line 8."),
        (10, "x_ft", off),
    ]
    refused = file(
        "home,thing,label,other_label,gap_in", "H1,support,A1,,-1", "H1,support,A2,,1/4", "H1,support,A3,,-2"
    )
    gap = "Give a gap of 0 in or more."
    assert told(check(LAYOUTS, refused, office)) == [(2, "gap_in", gap), (4, "gap_in", gap)]
    assert set(Support.objects.values_list("gap_in", flat=True)) == {0}


def test_drain_runs_are_entered_by_file(office: User) -> None:
    SitingFactory(home=HomeFactory(code="H1"))
    data = file(
        "home,thing,label,diameter_in,has_cleanout,rehang_min,at_ft,invert_in,x_ft,y_ft,is_on_ground",
        "H1,drain node,D1,,,,0,18,2,3,",
        "H1,drain_node,D1,,,,12 1/2,18 1/4,14,3,",  # it rises: that is what is looked for
        "H1,drain_node,D1,,,,40,-2,14,-30,yes",  # where it joins the street
        "H1,drain run,D1,3,yes,35,,,,,",
        "H1,drain_run,D2,1 1/2,,,,,,,",
    )
    added = {"drain_run": 2, "drain_node": 3}
    assert done(bring_in(LAYOUTS, data, office)) == {thing: (count, 0, 0) for thing, count in added.items()}
    assert done(bring_in(LAYOUTS, data, office)) == {thing: (0, 0, count) for thing, count in added.items()}
    run = DrainRun.objects.get(code="D1")
    assert (run.diameter_in, run.has_cleanout, run.rehang_min) == (3, True, 35)
    assert list(run.nodes.values_list("at_ft", "invert_in", "is_on_ground")) == [
        (0, 18, False),
        (Decimal("12.5"), Decimal("18.25"), False),
        (40, -2, True),
    ]
    moved = file("home,thing,label,at_ft,invert_in", "H1,drain_node,D1,12.5,16")
    assert done(bring_in(LAYOUTS, moved, office)) == {"drain_node": (0, 1, 0)}
    assert run.nodes.get(at_ft="12.5").invert_in == 16


def test_what_is_wrong_with_drain_runs_is_told_by_line(office: User) -> None:
    siting = SitingFactory(home=HomeFactory(code="H1", length_ft=60))
    old = DrainRunFactory(siting=siting, code="D1", archived_at="2026-01-01T00:00Z")
    stray = DrainNodeFactory(run=DrainRunFactory(siting=siting, code="D2"), at_ft=1, x_ft=500)
    other = DrainRunFactory()
    data = file(
        "home,thing,label,diameter_in,at_ft,invert_in,x_ft,y_ft,is_on_ground",
        "H1,drain_run,D3,,,,,,",
        "H1,drain_node,D1,,0,18,2,3,",
        f"H1,drain_node,{other.pk},,0,18,2,3,",
        "H1,drain_node,D2,,,18,2,3,",
        "H1,drain_node,D2,,2,18,69,3,",
        "H1,drain_node,D2,,1,19,,,",  # off the home since long: its height may be put right all the same
        "H1,drain_node,D2,3,3,18,2,3,",
        f"H1,drain_node,{old.pk},,5,18,2,3,",
    )
    assert told(check(LAYOUTS, data, office)) == [
        (2, "diameter_in", "A new drain_run needs this."),
        (3, "label", "There is no drain run D1 under this home."),
        (4, "label", f"There is no drain run {other.pk} under this home."),
        (5, "at_ft", "A new drain_node needs this."),
        (6, "x_ft", "Give -8 to 68 ft: this home is 60 ft that way."),
        (8, "diameter_in", "A drain_node has no such thing: leave this empty."),
    ]
    ends = file(
        "home,thing,label,at_ft,is_on_ground", f"H1,drain_node,{stray.run.code},1,yes", "H1,drain_node,D2,1,no"
    )
    assert told(check(LAYOUTS, ends, office))[0][:2] == (3, "label")
    thick = file("home,thing,label,diameter_in", "H1,drain_run,D2,30")
    assert told(check(LAYOUTS, thick, office)) == [(2, "diameter_in", "Give an inside diameter of 1/2 to 24 in.")]
    assert not DrainNode.objects.exclude(pk=stray.pk).exists()


def test_a_lead_changes_no_archived_home_by_file() -> None:
    lay_out_home(SitingFactory(home=HomeFactory(code="H1", archived_at="2026-03-01T00:00Z")))
    data = file("home,thing,label,gap_in", "H1,support,A1,1")
    lead = UserFactory(roles=[Role.CREW_LEAD])
    assert told(check(LAYOUTS, data, lead)) == [(2, "home", "This home is archived: the office can bring it back.")]


def test_what_stands_in_the_database_under_another_home_keeps_its_key(office: User) -> None:
    other = lay_out_home().points.first()
    SitingFactory(home=HomeFactory(code="H1"))
    data = file("home,thing,label,surface,x_ft,y_ft,id", f"H1,point,A1,i_beam,1,1,{other.pk}")
    assert told(check(LAYOUTS, data, office)) == [(2, "", "There is such a record already.")]


# -- out and in again ----------------------------------------------------------------------------------------


def a_whole_record() -> None:
    """Two homes, one of which was moved, with points archived and replaced, supports taken out, a mark replaced."""
    rules = RuleSetFactory(name="county, 2024", version=2)
    moved = HomeFactory(code="H1", name='Zoë\'s "old" home', data_plate="=A1\r\nline 2; or, so", rule_set=rules)
    SitingFactory(home=moved, from_on="2010-01-01", to_on="2015-06-01")
    siting = lay_out_home(SitingFactory(home=moved, from_on="2015-06-01", north_deg=Decimal("12.5")))
    lay_out_home()
    HomeFactory(code="bare", built_on=None, archived_at="2026-03-01T01:02:03.000456Z")
    old = siting.points.get(label="A1")
    Support.objects.filter(point=old).update(removed_on="2025-01-01", installed_on="2016-01-01")
    Strap.objects.filter(point=old).update(archived_at="2026-01-01T00:00Z")
    Point.objects.filter(pk=old.pk).update(archived_at="2026-01-01T00:00Z")
    new = Point.objects.create(siting=siting, label="A1", surface="i_beam", x_ft=2, y_ft=3, design_offset_in="0.0625")
    Support.objects.create(point=new, stack=["cap", "block"], keep_courses=1, height_in="12.125", note="-1 as\n'=x")
    run = DrainRunFactory(siting=siting, code="D1", has_cleanout=True, rehang_min="35.5", note="hangs\nlow")
    for at_ft, is_on_ground in ((0, False), (12, False), ("40.125", True)):
        DrainNodeFactory(run=run, at_ft=at_ft, invert_in="17.0625", is_on_ground=is_on_ground)
    gone = DrainRunFactory(siting=siting, code="D1", archived_at="2026-01-01T00:00Z")
    DrainNodeFactory(run=gone, at_ft=0)
    Support.objects.filter(point__label="B1").update(
        footing_length_in=24,
        footing_width_in="16.5",
        footing_thickness_in=4,
        has_sunk=True,
        offset_in="0.75",
        clearance_in=18,
    )
    Strap.objects.filter(point__siting=siting).update(rated_lb=3150, has_vertical_tie=False)
    Home.objects.filter(pk=moved.pk).update(
        beam_i_in4="42.5", beam_section_modulus_in3="8.25", beam_load_lb_per_ft="95.5"
    )
    marks = [point.benchmark for point in siting.points.filter(label__in=["BM1", "BM2"]).order_by("label")]
    marks[0].retired_on, marks[0].replaced_by = datetime.date(2025, 5, 5), marks[1]
    marks[0].save()
    CustomerFactory(name="Ann Tolliver", email="ann@tolliver.example", notes='+1; "two"\r\nlines')
    CustomerFactory(name="Ann Tolliver", archived_at="2026-03-01T00:00Z")


TABLES: list[Any] = [Customer, Home, Siting, *(thing.model for thing in THINGS.values())]


def everything() -> list[list[dict[str, Any]]]:
    return [[{**row, "version": 1} for row in model.objects.order_by("pk").values()] for model in TABLES]


def empty() -> None:
    """Delete every row, those first that point at others."""
    Benchmark.objects.update(replaced_by=None)
    for model in (Strap, NeighbourPair, *reversed(TABLES)):
        model.objects.all().delete()
    assert not any(everything())


def test_an_export_comes_in_again_unchanged_and_into_an_emptied_database_whole(office: User) -> None:
    a_whole_record()
    before = everything()
    files = [(kind, take_out(kind, office)) for kind in (CUSTOMERS, HOMES, LAYOUTS)]
    for kind, data in files:
        report = bring_in(kind, data, office)
        assert report.problems == []
        assert report.changes == []
    assert everything() == before
    empty()
    for kind, data in files:
        bring_in(kind, data, office)
    assert everything() == before
    assert [take_out(kind, office) for kind, _data in files] == [data for _kind, data in files]


TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20).map(str.strip)


@given(st.lists(st.tuples(TEXT.filter(bool), TEXT, TEXT, st.booleans()), min_size=1, max_size=5))
@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_customers_of_any_name_come_out_and_in_again(office: User, rows: list[tuple[str, str, str, bool]]) -> None:
    for name, phone, notes, is_archived in rows:
        CustomerFactory(name=name, phone=phone, notes=notes, archived_at="2026-01-01T00:00Z" if is_archived else None)
    before, data = list(Customer.objects.order_by("pk").values()), take_out(CUSTOMERS, office)
    assert check(CUSTOMERS, data, office).changes == []
    Customer.objects.all().delete()
    bring_in(CUSTOMERS, data, office)
    assert list(Customer.objects.order_by("pk").values()) == before
    Customer.objects.all().delete()


def test_a_file_of_one_home_holds_nothing_of_another(office: User) -> None:
    a_whole_record()
    lines = take_out(LAYOUTS, office, home="H1").decode().split("\r\n")[1:-1]
    assert {line.split(",")[0] for line in lines} == {"H1"}
    things: list[tuple[Any, str]] = [(thing.model, f"{thing.siting}__home__code") for thing in THINGS.values()]
    assert len(lines) == sum(model.objects.filter(**{home: "H1"}).count() for model, home in things)


@pytest.mark.parametrize("kind", [CUSTOMERS, HOMES, LAYOUTS], ids=lambda kind: kind.name)
def test_files_take_as_many_queries_for_more_rows(office: User, kind: Kind) -> None:
    counts = []
    for more in (1, 2):
        for _ in range(more):
            CustomerFactory()
            DrainNodeFactory(run__siting=lay_out_home())
        with CaptureQueriesContext(connection) as out:
            data = take_out(kind, office)
        with CaptureQueriesContext(connection) as unchanged:
            check(kind, data, office)
        counts.append((len(out), len(unchanged)))
    assert counts[0] == counts[1]


def test_benchmarks_may_name_a_successor_further_down(office: User) -> None:
    siting = SitingFactory(home=HomeFactory(code="H1"))
    for label in ("BM1", "BM2"):
        BenchmarkFactory(point__siting=siting, point__label=label)
    data = file("home,thing,label,retired_on,replaced_by", "H1,benchmark,BM1,2025-05-05,BM2", "H1,benchmark,BM2,,BM7")
    assert told(check(LAYOUTS, data, office)) == [(3, "replaced_by", "There is no benchmark BM7 under this home.")]
    bring_in(LAYOUTS, file(*data.decode().split("\r\n")[:2]), office)
    assert siting.points.get(label="BM1").benchmark.replaced_by == siting.points.get(label="BM2").benchmark
