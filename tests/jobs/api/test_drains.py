"""Drain runs and the places on them over the API: on the home, in any order, and there whatever their heights say."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from jobs.models import DrainNode, DrainRun, User
from tests.factories import NOON, DrainNodeFactory, DrainRunFactory, VisitFactory

pytestmark = pytest.mark.django_db

NODES = "/api/v1/drain-nodes/"


@pytest.fixture
def api(office: User, api_for: Callable[[User], APIClient]) -> APIClient:
    return api_for(office)


@pytest.fixture
def run() -> DrainRun:
    return DrainRunFactory(siting__home__length_ft=24, siting__home__width_ft=28)


def place(run: DrainRun, **fields: Any) -> dict[str, Any]:
    return {"run": str(run.pk), "at_ft": "0", "invert_in": "18", "x_ft": "2", "y_ft": "7", **fields}


def test_a_crew_measures_a_drain_at_its_visit(
    crew: User, api_for: Callable[[User], APIClient], run: DrainRun
) -> None:
    VisitFactory(siting=run.siting).crew.add(crew)
    client = api_for(crew)
    added = client.post("/api/v1/drain-runs/", {"siting": str(run.siting_id), "code": "D2", "diameter_in": "3"})
    assert added.status_code == 201, added.content
    own = DrainRun.objects.get(pk=added.json()["id"])
    for at_ft, invert_in in (("12.5", "18.25"), ("0", "18"), ("20", "18")):  # up, down, and the upper end last
        answer = client.post(NODES, place(own, at_ft=at_ft, invert_in=invert_in))
        assert answer.status_code == 201, answer.content
    listed = client.get(NODES, {"run": str(own.pk)}).json()["results"]
    assert sorted((float(row["at_ft"]), float(row["invert_in"])) for row in listed) == [
        (0, 18),
        (12.5, 18.25),
        (20, 18),
    ]
    assert (
        client.patch(f"{NODES}{listed[0]['id']}/", {"invert_in": "17"}, headers={"If-Match": "*"}).status_code == 403
    )


def test_lists_are_cut_by_siting_and_run(api: APIClient, run: DrainRun) -> None:
    mine, other = DrainNodeFactory(run=run), DrainNodeFactory(is_on_ground=True)
    beside = DrainNodeFactory(run__siting=run.siting)

    def listed(name: str, **query: Any) -> set[str]:
        return {row["id"] for row in api.get(f"/api/v1/{name}/", query).json()["results"]}

    assert listed("drain-nodes", run=run.pk) == {str(mine.pk)}
    assert listed("drain-nodes", siting=run.siting_id) == {str(mine.pk), str(beside.pk)}
    assert listed("drain-nodes", is_on_ground=True) == {str(other.pk)}
    assert listed("drain-runs", siting=run.siting_id) == {str(run.pk), str(beside.run_id)}
    assert listed("drain-runs", code=run.code) == {str(run.pk)}


def test_a_place_lies_on_the_home_unless_the_ground_holds_it(api: APIClient, run: DrainRun) -> None:
    off = place(run, x_ft="33", y_ft="-9")
    sentences = {
        "x_ft": "Give -8 to 32 ft: this home is 24 ft that way.",
        "y_ft": "Give -8 to 36 ft: this home is 28 ft that way.",
    }
    assert api.post(NODES, off).json()["fields"] == sentences
    assert not DrainNode.objects.exists()
    added = api.post(NODES, off | {"is_on_ground": True})
    assert added.status_code == 201, added.content
    address = f"{NODES}{added.json()['id']}/"

    def change(**fields: Any) -> Any:
        return api.patch(address, fields, headers={"If-Match": "*"})

    assert change(is_on_ground=False).json()["fields"] == sentences
    assert change(x_ft="60").status_code == 200
    assert change(is_on_ground=False, x_ft="32", y_ft="-8").status_code == 200
    assert list(change(x_ft="32.001").json()["fields"]) == ["x_ft"]


def test_a_place_that_is_off_already_may_be_put_right_otherwise(api: APIClient, run: DrainRun) -> None:
    stray = DrainNodeFactory(run=run, x_ft=500)
    answer = api.patch(f"{NODES}{stray.pk}/", {"invert_in": "17.5"}, headers={"If-Match": "*"})
    assert (answer.status_code, answer.json()["invert_in"]) == (200, "17.5000")


def test_there_is_one_place_so_far_along_and_it_stays_with_its_run(api: APIClient, run: DrainRun) -> None:
    node = DrainNodeFactory(run=run, at_ft=12)
    twice = api.post(NODES, place(run, at_ft="12.000"))
    assert twice.json()["fields"] == {"at_ft": "This drain run has a place there already."}
    assert api.post(NODES, place(DrainRunFactory(siting=run.siting), at_ft="12")).status_code == 201
    moved = api.patch(f"{NODES}{node.pk}/", {"run": str(DrainRunFactory().pk)}, headers={"If-Match": "*"})
    assert list(moved.json()["fields"]) == ["run"]
    assert api.delete(f"{NODES}{node.pk}/").status_code == 204
    assert api.post(NODES, place(run, at_ft="12")).status_code == 201


def test_a_run_that_is_archived_keeps_its_places_and_takes_none(api: APIClient, run: DrainRun) -> None:
    DrainNodeFactory(run=run)
    DrainRun.objects.filter(pk=run.pk).update(archived_at=NOON)
    refused = api.post(NODES, place(run, at_ft="900"))
    assert refused.json()["fields"] == {"run": "This drain run is archived."}
    DrainRunFactory(siting=run.siting, code=run.code)
    again = api.post(f"/api/v1/drain-runs/{run.pk}/restore/")
    assert again.json()["fields"] == {"code": "Another drain run of this home has this code."}
    assert run.nodes.count() == 1
