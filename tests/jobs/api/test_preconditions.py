"""If-Match on every row that two may edit: RFC 9110, sections 8.8.3 (entity tags) and 13.1.1 (If-Match)."""

from collections.abc import Callable
from typing import Any

import pytest
from rest_framework.test import APIClient

from jobs.history import things
from jobs.models import Company, Home, Role, Siting, User
from tests.factories import (
    AssessmentFactory,
    BenchmarkFactory,
    CompanyFactory,
    ConnectionFactory,
    CustomerFactory,
    DrainNodeFactory,
    DrainRunFactory,
    HomeContactFactory,
    HomeFactory,
    JobFactory,
    MailTextFactory,
    NeighbourPairFactory,
    PaperFactory,
    PointFactory,
    SetupFactory,
    SitingFactory,
    StrapFactory,
    SupportFactory,
    SurveyFactory,
    TimeOffFactory,
    TruckFactory,
    UserFactory,
    VisitFactory,
    lay_out_home,
)
from tests.jobs.api.test_resources import LISTS

pytestmark = pytest.mark.django_db

# Every row that two may edit: what makes one, and a field to change with two values. A new one without a line fails.
EDITED: dict[str, tuple[Callable[..., Any], str, Any, Any]] = {
    "assessment": (AssessmentFactory, "evidence", "a wet corner", "a leak at the bath"),
    "benchmark": (BenchmarkFactory, "label", "BM8", "BM9"),
    "closing": (LISTS["closings"], "exceptions", "a door rubs", "two doors rub"),
    "company": (CompanyFactory, "name", "Plumb Line", "Level Ground"),
    "connection": (ConnectionFactory, "note", "behind the skirting", "under the bath"),
    "customer": (CustomerFactory, "phone", "555 0101", "555 0102"),
    "drain-node": (DrainNodeFactory, "is_on_ground", True, False),
    "drain-run": (DrainRunFactory, "note", "hangs low", "new hangers"),
    "home": (HomeFactory, "access_notes", "gate", "dog"),
    "home-contact": (HomeContactFactory, "part", "tenant", "park"),
    "job": (JobFactory, "rooms", "kitchen", "kitchen and bath"),
    "mail-text": (MailTextFactory, "subject", "On {day} we come", "{day}: we come"),
    "neighbour-pair": (NeighbourPairFactory, "direction", "across", "mate_line"),
    "paper": (PaperFactory, "number", "town 17", "town 18"),
    "point": (PointFactory, "label", "A1", "A2"),
    "setup": (SetupFactory, "note", "windy", "calm"),
    "siting": (SitingFactory, "marked_end", "north", "south"),
    "strap": (StrapFactory, "note", "rusty", "new"),
    "support": (SupportFactory, "note", "leans", "loose"),
    "survey": (SurveyFactory, "note", "one", "two"),
    "time-off": (TimeOffFactory, "why", "stock-taking", "county fair"),
    "truck": (TruckFactory, "note", "low tire", "new tires"),
    "user": (UserFactory, "phone", "555 0103", "555 0104"),
    "visit": (VisitFactory, "note", "bring cap block", "bring shims"),
}
LISTED_AS = {"time-off": "time-off"}
DELETED = [
    *("connection", "customer", "drain-node", "drain-run", "home", "neighbour-pair", "paper", "point", "setup"),
    "mail-text",
    *("strap", "time-off", "truck"),
]


@pytest.fixture
def api(manager: User) -> APIClient:
    manager.roles = [Role.MANAGER, Role.CREW_LEAD]  # who may change everything
    manager.save()
    client = APIClient()
    client.force_login(manager)
    return client


def address_of(thing: str, row: Any) -> str:
    return (
        "/api/v1/company/" if isinstance(row, Company) else f"/api/v1/{LISTED_AS.get(thing, f'{thing}s')}/{row.pk}/"
    )


def test_every_row_that_two_may_edit_is_here() -> None:
    assert EDITED.keys() == things().keys()


@pytest.mark.parametrize("thing", sorted(EDITED))
def test_a_change_needs_the_version_that_was_read(thing: str, api: APIClient) -> None:
    make, field, first, second = EDITED[thing]
    address = address_of(thing, make())
    read = api.get(address)
    assert read["ETag"] == f'"{read.json()["version"]}"'

    missing = api.patch(address, {field: first})
    assert (missing.status_code, missing.json()["code"]) == (428, "precondition_required")
    assert "If-Match" in missing.json()["message"]
    assert list(missing.json()["fields"]) == ["If-Match"]

    written = api.patch(address, {field: first}, headers={"If-Match": read["ETag"]})
    assert (written.status_code, written.json()[field]) == (200, first)
    assert written["ETag"] == f'"{written.json()["version"]}"' != read["ETag"]
    assert api.get(address)["ETag"] == written["ETag"]

    late = api.patch(address, {field: second}, headers={"If-Match": read["ETag"]})
    assert (late.status_code, late.json()["code"]) == (412, "stale")
    assert late.json()["current"] == api.get(address).json()
    assert late["ETag"] == written["ETag"]
    assert [(one["field"], one["who"]) for one in late.json()["changes"]] == [(field, "manager")]
    assert late.json()["changes"][0]["before"] != late.json()["changes"][0]["after"]

    again = api.patch(address, {field: second}, headers={"If-Match": late["ETag"]})
    assert (again.status_code, again.json()[field]) == (200, second)


@pytest.mark.parametrize("thing", DELETED)
def test_taking_away_needs_the_version_too(thing: str, api: APIClient) -> None:
    make, field, first, _ = EDITED[thing]
    address = address_of(thing, make())
    read = api.get(address)
    assert api.delete(address).status_code == 428
    assert api.patch(address, {field: first}, headers={"If-Match": read["ETag"]}).status_code == 200
    late = api.delete(address, headers={"If-Match": read["ETag"]})
    assert (late.status_code, late.json()["current"][field]) == (412, first)
    assert api.delete(address, headers={"If-Match": late["ETag"]}).status_code == 204


def test_a_new_row_comes_with_its_tag(api: APIClient) -> None:
    body = {"code": "H1", "kind": "manufactured", "sections": 2, "width_ft": "28", "length_ft": "60"}
    added = api.post("/api/v1/homes/", body)
    assert (added.status_code, added["ETag"], added.json()["version"]) == (201, '"1"', 1)


def test_a_version_is_not_for_clients_to_set(api: APIClient) -> None:
    home = HomeFactory()
    answer = api.patch(f"/api/v1/homes/{home.pk}/", {"version": 9, "name": "x"}, headers={"If-Match": '"1"'})
    assert answer.json()["version"] == 2


@pytest.mark.parametrize(
    ("header", "status"),
    [
        ('"1"', 200),
        ("*", 200),
        (" * ", 200),
        ('"0", "1"', 200),
        ('"0" ,"1" ,', 200),  # a list may have empty places
        (', "1"', 200),
        ('"a,b","1"', 200),  # a comma within a tag
        ('W/"1"', 412),  # strong comparison: a weak tag never matches
        ('W/"1", "1"', 200),
        ('"2"', 412),
        ('"01"', 412),  # compared letter by letter
        ('"99999999999999999999"', 412),
        ('""', 412),
        ("1", 400),
        ('"1', 400),
        ('w/"1"', 400),  # the W is a capital
        ('"1" "2"', 400),
        ("", 400),
        (",", 400),
        ("*, *", 400),
    ],
)
def test_what_the_header_may_say(header: str, status: int, api: APIClient) -> None:
    home = HomeFactory()
    answer = api.patch(f"/api/v1/homes/{home.pk}/", {"name": "x"}, headers={"If-Match": header})
    assert answer.status_code == status, answer.content
    assert Home.objects.get().name == ("x" if status == 200 else "")
    if status == 400:
        assert list(answer.json()["fields"]) == ["If-Match"]


def test_reads_need_no_version_and_who_may_not_is_told_first(api: APIClient) -> None:
    home = HomeFactory()
    assert api.get("/api/v1/homes/").status_code == 200
    assert api.get(f"/api/v1/homes/{home.pk}/").status_code == 200
    stranger = APIClient().patch(f"/api/v1/homes/{home.pk}/", {"name": "x"})
    assert stranger.status_code == 401
    assert api.patch("/api/v1/homes/01999999-0000-7000-8000-000000000000/", {"name": "x"}).status_code == 404


def test_a_benchmark_is_late_when_its_point_was_moved(api: APIClient) -> None:
    mark = BenchmarkFactory(point__x_ft=1)
    address = f"/api/v1/benchmarks/{mark.pk}/"
    seen = api.get(address)["ETag"]
    point = f"/api/v1/points/{mark.point_id}/"
    api.patch(point, {"x_ft": "2"}, headers={"If-Match": api.get(point)["ETag"]})
    late = api.patch(address, {"x_ft": "3"}, headers={"If-Match": seen})
    assert late.status_code == 412
    assert [(one["field"], one["before"], one["after"]) for one in late.json()["changes"]] == [
        ("x_ft", "1\N{NO-BREAK SPACE}ft", "2\N{NO-BREAK SPACE}ft")
    ]


# -- a whole layout ------------------------------------------------------------------------------------------


def test_a_layout_is_replaced_only_as_it_was_seen(api: APIClient) -> None:
    siting = lay_out_home()
    siting.straps.archive()
    address = f"/api/v1/sitings/{siting.pk}/layout/"
    seen = api.get(address)
    assert api.get(address)["ETag"] == seen["ETag"]
    assert api.post(address, {"replace": True}).status_code == 428
    siting.connections.update(note="free it first")
    late = api.post(address, {"replace": True}, headers={"If-Match": seen["ETag"]})
    assert (late.status_code, late.json()["code"]) == (412, "stale")
    assert late.json()["current"] == api.get(address).json()
    assert siting.points.standing().count() == 15
    assert api.post(address, {"replace": True}, headers={"If-Match": late["ETag"]}).status_code == 201


KINDS = ["points", "supports", "neighbour_pairs", "benchmarks", "connections", "straps", "drain_runs", "drain_nodes"]


@pytest.mark.parametrize("kind", KINDS)
def test_a_layouts_tag_changes_with_anything_in_it(kind: str, api: APIClient) -> None:
    siting: Siting = lay_out_home()
    DrainNodeFactory(run__siting=siting)
    address = f"/api/v1/sitings/{siting.pk}/layout/"
    seen = api.get(address)
    row = seen.json()[kind][0]
    model = things()[kind.replace("_", "-").removesuffix("s")]
    model._default_manager.get(pk=row["id"]).save()
    assert api.get(address)["ETag"] != seen["ETag"]


# -- archived rows -------------------------------------------------------------------------------------------

ARCHIVED = ["connection", "customer", "drain-run", "home", "point", "strap"]


@pytest.mark.parametrize("thing", ARCHIVED)
def test_archived_rows_leave_lists_and_can_be_restored(thing: str, api: APIClient) -> None:
    row = EDITED[thing][0]()
    address = address_of(thing, row)
    api.delete(address, headers={"If-Match": api.get(address)["ETag"]})
    archived = api.get(address)
    assert (archived.status_code, bool(archived.json()["archived_at"])) == (200, True)

    def listed(**query: str) -> set[str]:
        return {one["id"] for one in api.get(f"/api/v1/{thing}s/", query).json()["results"]}

    assert str(row.pk) not in listed() | listed(archived="false")
    assert str(row.pk) in listed(archived="true") & listed(archived="any")
    restored = api.post(f"{address}restore/")
    assert (restored.status_code, restored.json()["archived_at"]) == (200, None)
    assert restored["ETag"] != archived["ETag"]
    assert str(row.pk) in listed()
    assert api.post(f"{address}restore/").status_code == 200


def test_a_restored_point_pairs_with_its_neighbours_again(api: APIClient) -> None:
    siting = SitingFactory(home__length_ft=24)
    spec = {"support_spacing_ft": 10}
    laid = api.post(f"/api/v1/sitings/{siting.pk}/layout/", spec).json()
    point = next(one for one in laid["points"] if one["label"] == "B2")
    before = len(laid["neighbour_pairs"])
    address = f"/api/v1/points/{point['id']}/"
    api.delete(address, headers={"If-Match": "*"})
    assert siting.neighbour_pairs.count() < before
    assert api.post(f"{address}restore/").status_code == 200
    assert siting.neighbour_pairs.count() == before


def test_a_label_that_was_taken_meanwhile_is_told_at_its_field(api: APIClient) -> None:
    gone = PointFactory(label="A1")
    gone.siting.points.archive()
    PointFactory(siting=gone.siting, label="A1")
    refused = api.post(f"/api/v1/points/{gone.pk}/restore/")
    assert (refused.status_code, list(refused.json()["fields"])) == (400, ["label"])


def test_the_description_tells_of_the_header(api: APIClient) -> None:
    paths = api.get("/api/v1/schema", headers={"Accept": "application/vnd.oai.openapi+json"}).json()["paths"]
    for path, operations in paths.items():
        for method, operation in operations.items():
            headers = {one["name"] for one in operation.get("parameters", []) if one["in"] == "header"}
            if method in ("patch", "delete") and "412" in operation["responses"]:
                assert "If-Match" in headers, path
                assert "428" in operation["responses"], path
    assert "412" in paths["/api/v1/homes/{id}/"]["patch"]["responses"]
    assert "412" in paths["/api/v1/company/"]["patch"]["responses"]
    assert "412" not in paths["/api/v1/device-tokens/{id}/"]["delete"]["responses"]
    assert "ETag" in paths["/api/v1/homes/{id}/"]["get"]["responses"]["200"]["headers"]
