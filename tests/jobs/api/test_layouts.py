"""A layout over the API: laid out from the home's size, read whole, corrected with one call each."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from jobs.models import NeighbourPair, Point, Siting, Support, User
from tests.factories import (
    NOON,
    BenchmarkFactory,
    ConnectionFactory,
    DrainNodeFactory,
    PointFactory,
    SetupFactory,
    SitingFactory,
    StrapFactory,
    SurveyFactory,
    lay_out_home,
    make_reading,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def api(office: User, api_for: Callable[[User], APIClient]) -> APIClient:
    return api_for(office)


@pytest.fixture
def siting() -> Siting:
    return SitingFactory(home__length_ft=24)


def layout_address(siting: Siting) -> str:
    return f"/api/v1/sitings/{siting.pk}/layout/"


def laid_out(api: APIClient, siting: Siting, **spec: Any) -> dict[str, dict[str, Any]]:
    """Lay out two sections with four beams and three supports each; return the points by label."""
    response = api.post(layout_address(siting), {"support_spacing_ft": 10} | spec, headers={"If-Match": "*"})
    assert response.status_code == 201, response.content
    return {point["label"]: point for point in response.json()["points"]}


def pairs(siting: Siting) -> set[str]:
    rows = NeighbourPair.objects.filter(siting=siting).select_related("a", "b")
    return {"-".join(sorted((row.a.label, row.b.label))) for row in rows}


def test_the_homes_own_size_is_used_and_everything_comes_in_one_answer(api: APIClient, siting: Siting) -> None:
    BenchmarkFactory(point__siting=siting, point__label="BM1")
    ConnectionFactory(siting=siting)
    DrainNodeFactory(run__siting=siting)
    DrainNodeFactory(run__siting=siting, run__archived_at=NOON)
    points = laid_out(api, siting)
    StrapFactory(point=Point.objects.get(pk=points["A1"]["id"]))
    answer = api.get(layout_address(siting)).json()
    assert {name: len(rows) for name, rows in answer.items() if name != "siting"} == {
        "points": 13,
        "supports": 12,
        "neighbour_pairs": 17,
        "benchmarks": 1,
        "connections": 1,
        "straps": 1,
        "drain_runs": 1,
        "drain_nodes": 1,
    }
    corners = {row["point"] for row in answer["supports"] if row["is_corner"]}
    assert corners == {points[label]["id"] for label in ("A1", "A3", "D1", "D3")}
    assert all(row["is_proposed"] for row in answer["neighbour_pairs"])


def test_reading_a_layout_takes_as_many_queries_for_one_support_as_for_many(api: APIClient, siting: Siting) -> None:
    PointFactory(siting=siting)
    with CaptureQueriesContext(connection) as few:
        api.get(layout_address(siting))
    lay_out_home(siting)
    for _ in range(2):
        DrainNodeFactory(run__siting=siting)
    with CaptureQueriesContext(connection) as many:
        api.get(layout_address(siting))
    assert len(few) == len(many) == 11  # session, person, siting, and one a kind


def test_a_layout_is_not_laid_over_another_unless_asked(api: APIClient, siting: Siting) -> None:
    old = laid_out(api, siting)
    refused = api.post(layout_address(siting), {"support_spacing_ft": 5})
    assert (refused.status_code, refused.json()["code"]) == (409, "has_layout")
    assert list(refused.json()["fields"]) == ["replace"]
    new = laid_out(api, siting, support_spacing_ft=5, replace=True)
    assert len(new) == 20
    assert not {point["id"] for point in new.values()} & {point["id"] for point in old.values()}
    assert Support.objects.standing().count() == 20
    assert NeighbourPair.objects.filter(a__archived_at__isnull=False).count() == 0


def test_a_drain_run_stays_when_the_layout_is_drawn_anew(api: APIClient, siting: Siting) -> None:
    node = DrainNodeFactory(run__siting=siting)
    laid_out(api, siting)
    laid_out(api, siting, support_spacing_ft=5, replace=True)
    answer = api.get(layout_address(siting)).json()
    assert [run["id"] for run in answer["drain_runs"]] == [str(node.run_id)]
    assert [row["id"] for row in answer["drain_nodes"]] == [str(node.pk)]


def test_a_layout_that_was_read_or_strapped_is_not_replaced(api: APIClient, siting: Siting) -> None:
    first = Point.objects.get(pk=laid_out(api, siting)["A1"]["id"])
    strap = StrapFactory(point=first, code="T1")
    refused = api.post(layout_address(siting), {"replace": True}, headers={"If-Match": "*"})
    assert (refused.status_code, refused.json()["code"]) == (409, "straps_on_layout")
    api.delete(f"/api/v1/straps/{strap.pk}/")
    make_reading(setup=SetupFactory(survey=SurveyFactory(siting=siting)), point=first)
    refused = api.post(layout_address(siting), {"replace": True}, headers={"If-Match": "*"})
    assert (refused.status_code, refused.json()["code"]) == (409, "layout_was_read")
    assert "A1" in refused.json()["message"]
    assert Point.objects.standing().count() == 12


@pytest.mark.parametrize(
    ("spec", "field"),
    [
        ({"support_spacing_ft": 1}, "support_spacing_ft"),
        ({"support_spacing_ft": "wide"}, "support_spacing_ft"),
        ({"sections": 9}, "sections"),
        ({"kind": "tent"}, "kind"),
        ({"sections": 1, "has_mate_line": True}, "has_mate_line"),
        ({"width_ft": "nan"}, "width_ft"),
    ],
)
def test_a_wrong_specification_is_told_at_its_field(
    api: APIClient, siting: Siting, spec: dict[str, Any], field: str
) -> None:
    response = api.post(layout_address(siting), spec)
    assert (response.status_code, list(response.json()["fields"])) == (400, [field])
    assert not Point.objects.exists()


# -- corrections ---------------------------------------------------------------------------------------------


def test_adding_a_point_brings_its_support_and_puts_it_between_its_neighbours(api: APIClient, siting: Siting) -> None:
    laid_out(api, siting)
    added = api.post(
        "/api/v1/points/",
        {
            "siting": str(siting.pk),
            "label": "A9",
            "surface": "i_beam",
            "beam": "A",
            "x_ft": "7",
            "y_ft": "2.854",
            "support": {"kind": "frame", "height_in": "26", "stack": ["shims", "cap", "block"]},
        },
    )
    assert added.status_code == 201
    support = Support.objects.get(point=added.json()["id"])
    assert (support.height_in, support.stack) == (26, ["shims", "cap", "block"])
    assert {"A1-A9", "A2-A9"} <= pairs(siting)
    assert "A1-A2" not in pairs(siting)
    assert Point.objects.get(label="A9").walk_order in (1, 2)


def test_a_course_of_no_known_part_is_refused_where_it_is_entered(api: APIClient, siting: Siting) -> None:
    laid_out(api, siting)
    support = Support.objects.filter(point__label="A1").get()
    address = f"/api/v1/supports/{support.pk}/"
    refused = api.patch(address, {"stack": ["shims", "plate_2x", "Block", "block"]})
    assert refused.status_code == 400
    assert refused.json()["fields"] == {
        "stack": "Course 3 from the top, “Block”, is unknown; "
        "allowed: shims, block, cap, cap_2in, plate_2x, plate_1x."
    }
    support.refresh_from_db()
    assert support.stack is None
    taken = ["shims", "plate_1x", "plate_2x", "cap_2in", "cap", "block"]
    for tier in ("single", "double", "engineer"):
        changed = api.patch(address, {"stack": taken, "tier": tier})
        assert (changed.status_code, changed.json()["stack"], changed.json()["tier"]) == (200, taken, tier)


def test_no_more_courses_are_kept_than_stand(api: APIClient, siting: Siting) -> None:
    laid_out(api, siting)
    address = f"/api/v1/supports/{Support.objects.filter(point__label='A1').get().pk}/"
    for record in (
        {"stack": ["shims", "cap", "block", "block"], "keep_courses": 4},
        {"stack": None, "keep_courses": 1},
    ):
        refused = api.patch(address, record)
        assert (refused.status_code, list(refused.json()["fields"])) == (400, ["keep_courses"])
    kept = api.patch(address, {"stack": ["shims", "cap", "block", "block"], "keep_courses": 3})
    assert (kept.status_code, kept.json()["keep_courses"]) == (200, 3)


@pytest.mark.parametrize("nothing", [None, []])
def test_a_stack_of_no_courses_is_not_recorded(api: APIClient, siting: Siting, nothing: list[str] | None) -> None:
    laid_out(api, siting)
    support = Support.objects.filter(point__label="A1").get()
    address = f"/api/v1/supports/{support.pk}/"
    assert api.patch(address, {"stack": ["shims", "block"]}).json()["stack"] == ["shims", "block"]
    emptied = api.patch(address, {"stack": nothing})
    assert (emptied.status_code, emptied.json()["stack"]) == (200, None)
    support.refresh_from_db()
    assert support.stack is None


def test_a_point_with_a_wrong_stack_under_it_is_not_added(api: APIClient, siting: Siting) -> None:
    place = {"siting": str(siting.pk), "label": "A9", "surface": "i_beam", "x_ft": "7", "y_ft": "3"}
    refused = api.post("/api/v1/points/", place | {"support": {"stack": ["straw"]}})
    assert refused.status_code == 400
    assert "straw" in refused.content.decode()
    assert not Point.objects.exists()


def test_removing_a_point_ends_its_support_and_closes_the_gap(api: APIClient, siting: Siting) -> None:
    points = laid_out(api, siting)
    assert api.delete(f"/api/v1/points/{points['A2']['id']}/").status_code == 204
    assert Support.objects.get(point=points["A2"]["id"]).removed_on is not None
    assert {name for name in pairs(siting) if "A" in name} == {"A1-A3", "A1-B1", "A3-B3"}
    again = api.delete(f"/api/v1/points/{points['A2']['id']}/")
    assert again.status_code == 204


def test_a_pair_that_people_took_away_stays_away(api: APIClient, siting: Siting) -> None:
    points = laid_out(api, siting)
    row = NeighbourPair.objects.get(a__label="C1", b__label="C2")
    assert api.delete(f"/api/v1/neighbour-pairs/{row.pk}/").status_code == 204
    api.delete(f"/api/v1/points/{points['A2']['id']}/")
    api.patch(f"/api/v1/points/{points['C3']['id']}/", {"x_ft": "21"})
    assert "C1-C2" not in pairs(siting)
    assert "C2-C3" in pairs(siting)


def test_moving_a_point_past_another_repairs_the_line_but_keeps_what_people_paired(
    api: APIClient, siting: Siting
) -> None:
    points = laid_out(api, siting)
    own = {"siting": str(siting.pk), "a": points["A1"]["id"], "b": points["D3"]["id"], "direction": "across"}
    assert api.post("/api/v1/neighbour-pairs/", own).json()["is_proposed"] is False
    moved = api.patch(f"/api/v1/points/{points['A1']['id']}/", {"x_ft": "17", "label": "A7"})
    assert (moved.json()["x_ft"], moved.json()["label"]) == ("17.000", "A7")
    assert {"A2-A7", "A3-A7", "A7-D3"} <= pairs(siting)
    assert not {"A2-A3", "A7-B1"} & pairs(siting)


def test_a_pair_is_told_when_it_cannot_be(api: APIClient, siting: Siting) -> None:
    points = laid_out(api, siting)
    foreign = PointFactory()
    gone = PointFactory(siting=siting, archived_at="2025-01-01T00:00:00Z")
    a1, a2, a3 = (points[label]["id"] for label in ("A1", "A2", "A3"))
    for a, b, field in (
        (a1, str(foreign.pk), "b"),
        (a1, str(gone.pk), "b"),
        (a1, a1, "b"),
        (a2, a1, "b"),  # a pair already, the other way round
    ):
        response = api.post("/api/v1/neighbour-pairs/", {"siting": str(siting.pk), "a": a, "b": b})
        assert (response.status_code, list(response.json()["fields"])) == (400, [field])
    assert api.post("/api/v1/neighbour-pairs/", {"siting": str(siting.pk), "a": a3, "b": a1}).status_code == 201


def test_labels_are_unique_among_the_points_that_stand(api: APIClient, siting: Siting) -> None:
    points = laid_out(api, siting)
    response = api.patch(f"/api/v1/points/{points['A1']['id']}/", {"label": "A2"})
    assert response.json()["fields"] == {"label": "Another point of this home has this label."}
    api.delete(f"/api/v1/points/{points['A2']['id']}/")
    assert api.patch(f"/api/v1/points/{points['A1']['id']}/", {"label": "A2"}).status_code == 200


def test_a_point_stays_under_its_siting_and_a_strapped_one_stays(api: APIClient, siting: Siting) -> None:
    points = laid_out(api, siting)
    other = SitingFactory()
    moved = api.patch(f"/api/v1/points/{points['A1']['id']}/", {"siting": str(other.pk)})
    assert moved.json()["fields"] == {"siting": "This can't be changed afterwards."}
    StrapFactory(point=Point.objects.get(pk=points["A1"]["id"]), code="T4")
    refused = api.delete(f"/api/v1/points/{points['A1']['id']}/")
    assert (refused.status_code, refused.json()["code"]) == (409, "strap_on_point")
    assert "T4" in refused.json()["message"]


def test_a_support_is_replaced_by_ending_it_first(api: APIClient, siting: Siting) -> None:
    point = laid_out(api, siting)["B2"]["id"]
    refused = api.post("/api/v1/supports/", {"point": point})
    assert list(refused.json()["fields"]) == ["point"]
    old = Support.objects.get(point=point)
    assert api.patch(f"/api/v1/supports/{old.pk}/", {"removed_on": "2026-02-01"}).status_code == 200
    added = api.post("/api/v1/supports/", {"point": point, "installed_on": "2026-02-01", "height_in": "24.5"})
    assert added.status_code == 201
    there = api.get(f"/api/v1/supports/?siting={siting.pk}&point={point}&standing=true").json()["results"]
    assert [row["id"] for row in there] == [added.json()["id"]]


def test_a_benchmark_is_one_call_and_can_be_retired_and_replaced(api: APIClient, siting: Siting) -> None:
    place = {"siting": str(siting.pk), "x_ft": "-20", "y_ft": "30", "mark_class": "deep_rod"}
    first = api.post("/api/v1/benchmarks/", place | {"label": "BM1"}).json()
    second = api.post("/api/v1/benchmarks/", place | {"label": "BM2"}).json()
    assert Point.objects.get(pk=first["point"]).surface == "outside"
    address = f"/api/v1/benchmarks/{first['id']}/"
    assert list(api.patch(address, {"replaced_by": second["id"]}).json()["fields"]) == ["retired_on"]
    changed = {"replaced_by": second["id"], "retired_on": "2026-03-01", "x_ft": "-21", "label": "BM9"}
    answer = api.patch(address, changed).json()
    assert (answer["x_ft"], answer["label"], answer["retired_on"]) == ("-21.000", "BM9", "2026-03-01")
    elsewhere = BenchmarkFactory()
    assert list(api.patch(address, {"replaced_by": str(elsewhere.pk)}).json()["fields"]) == ["replaced_by"]
    assert list(api.patch(address, {"siting": str(elsewhere.point.siting_id)}).json()["fields"]) == ["siting"]
    assert list(api.post("/api/v1/benchmarks/", place | {"label": "BM2"}).json()["fields"]) == ["label"]


def test_a_point_of_the_frame_lies_within_the_home_and_a_mark_outside_does_not(
    api: APIClient, siting: Siting
) -> None:
    home = siting.home
    laid_out(api, siting)
    point = siting.points.get(label="A1")
    for off in ({"x_ft": str(home.length_ft + 9)}, {"x_ft": "-9"}, {"y_ft": str(home.width_ft + 9)}):
        version = api.get(f"/api/v1/points/{point.pk}/").json()["version"]
        answer = api.patch(f"/api/v1/points/{point.pk}/", off, headers={"If-Match": f'"{version}"'})
        assert (answer.status_code, list(answer.json()["fields"])) == (400, list(off)), answer.content
        added = {"siting": str(siting.pk), "label": "Z1", "surface": "i_beam", "x_ft": "4", "y_ft": "4"} | off
        assert list(api.post("/api/v1/points/", added).json()["fields"]) == list(off)
    far = {"siting": str(siting.pk), "label": "BM9", "x_ft": "200", "y_ft": "-90", "mark_class": "deep_rod"}
    assert api.post("/api/v1/benchmarks/", far).status_code == 201
