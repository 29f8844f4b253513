"""Findings from phones without signal: items of the list, drain runs and figures; and the list in a phone's day."""

from typing import Any

import pytest

from jobs.inspection import ITEMS
from jobs.models import Finding, Siting, User
from tests.calcs.api.syncing import Phone, outdoors
from tests.factories import CompanyFactory, DrainNodeFactory, lay_out_home

pytestmark = pytest.mark.django_db


@pytest.fixture
def siting(crew: User) -> Siting:
    siting = lay_out_home()
    outdoors(crew, siting)
    return siting


@pytest.fixture
def phone(api_for: Any, crew: User) -> Phone:
    return Phone(api_for(crew))


def finding(phone: Phone, siting: Siting, grade: str = "ok", **body: Any) -> dict[str, Any]:
    return phone.entry("finding", {"siting": str(siting.pk), "grade": grade, **body})


def test_items_and_drain_runs_are_taken_once(phone: Phone, siting: Siting) -> None:
    run = DrainNodeFactory(run__siting=siting).run
    of_item = finding(phone, siting, item="belly")
    of_run = finding(phone, siting, "fix", drain_run=str(run.pk), text="sags at the second hanger")
    assert phone.states(of_item, of_run) == ["taken", "taken"]
    assert phone.states(of_item, of_run) == ["repeated", "repeated"]
    assert set(Finding.objects.values_list("item", "drain_run")) == {("belly", None), ("", run.pk)}


def test_what_is_wrong_is_set_aside_with_its_field(phone: Phone, siting: Siting) -> None:
    elsewhere = DrainNodeFactory().run
    point = str(siting.points.get(label="A1").pk)
    told = phone.send(
        finding(phone, siting, item="roof"),
        finding(phone, siting, drain_run=str(elsewhere.pk)),
        finding(phone, siting, item="belly", point=point),
        finding(phone, siting, point=point, figures={"gap_in": "wide"}),
        finding(phone, siting, point=point, figures=["gap"]),
    )
    assert [one["state"] for one in told] == ["set_aside"] * 5
    fields = ["body.item", "body.drain_run", "body.point", "body.figures.gap_in", "body.figures"]
    assert [list(one["fields"]) for one in told] == [[field] for field in fields]


def test_a_stop_from_a_phone_holds_and_its_figures_wait(phone: Phone, siting: Siting) -> None:
    point = siting.points.get(label="A1")
    cracked = finding(phone, siting, "stop", point=str(point.pk), text="cracked through", figures={"gap_in": "3/8"})
    fine = finding(phone, siting, "ok", point=str(point.pk), text="looks fine")  # of a crew: takes nothing back
    assert phone.states(cracked, fine) == ["taken", "taken"]
    support = point.supports.get()
    assert (support.condition, support.gap_in) == ("stop", 0)
    assert Finding.objects.get(pk=cracked["id"]).figures == {"gap_in": "0.375"}


def test_a_phones_day_brings_the_list_in_its_persons_language(siting: Siting, crew: User, api_for: Any) -> None:
    CompanyFactory()
    listed = api_for(crew).get("/api/v1/day/").json()["inspection_items"]
    assert [item["code"] for item in listed] == list(ITEMS)
    assert listed[0] == {
        "code": "drainage",
        "words": ITEMS["drainage"].words,
        "look": ITEMS["drainage"].look,
        "source": ITEMS["drainage"].source,
    }
    crew.language = "es"
    crew.save()
    spoken = api_for(crew).get("/api/v1/day/").json()["inspection_items"]
    assert [item["code"] for item in spoken] == list(ITEMS)
    assert all(item["words"] != there["words"] for item, there in zip(spoken, listed, strict=True))
