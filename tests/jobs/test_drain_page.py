"""Drain runs on their page: added with their places at once or afterwards, whole or not at all."""

import re
import uuid
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from jobs.models import DrainNode, DrainRun, Siting, User
from tests.factories import NOON, DrainNodeFactory, DrainRunFactory, VisitFactory, lay_out_home

pytestmark = pytest.mark.django_db
ClientFor = Callable[[User], Client]


@pytest.fixture
def siting() -> Siting:
    return lay_out_home()


def new(**typed: str) -> dict[str, str]:
    return {"id": str(uuid.uuid4()), "code": "W1", "diameter_in": "3", **typed}


def place(number: int, at: str, invert: str, x: str = "4", y: str = "7") -> dict[str, str]:
    return {f"at_ft-{number}": at, f"invert_in-{number}": invert, f"x_ft-{number}": x, f"y_ft-{number}": y}


def sent(client: Client, siting: Siting, typed: dict[str, str]) -> Any:
    return client.post(reverse("drains", args=[siting.pk]), typed)


def shown(client: Client, siting: Siting) -> str:
    page = client.get(reverse("drains", args=[siting.pk])).content.decode()
    return re.sub(r"<[^>]+>|\s+", " ", page).replace("\N{NO-BREAK SPACE}", " ")


def test_a_run_is_kept_with_its_places_and_falls(siting: Siting, lead: User, client_for: ClientFor) -> None:
    ground = {"has_cleanout": "on", "is_on_ground-3": "on", "rehang_min": "25"}
    typed = new(**place(1, "0", "18"), **place(2, "8' 6\"", "15 7/8"), **place(3, "12.5", "16 7/8"), **ground)
    assert sent(client_for(lead), siting, typed).status_code == 302
    run = DrainRun.objects.get()
    assert (run.siting, run.code, run.diameter_in, run.has_cleanout, run.rehang_min) == (siting, "W1", 3, True, 25)
    nodes = [(node.at_ft, node.invert_in, node.is_on_ground) for node in run.nodes.all()]
    assert nodes == [
        (0, 18, False),
        (Decimal("8.5"), Decimal("15.875"), False),
        (Decimal("12.5"), Decimal("16.875"), True),
    ]
    told = shown(client_for(lead), siting)
    assert "0.25" in told  # 2 1/8 in over 8 1/2 ft
    assert "\N{MINUS SIGN}0.25" in told  # 1 in up over 4 ft
    assert re.search(r"12\.5 .*\byes\b", told)  # held by the ground


def test_pressed_twice_is_kept_once(siting: Siting, lead: User, client_for: ClientFor) -> None:
    typed = new(**place(1, "0", "18"))
    for _press in range(2):
        assert sent(client_for(lead), siting, typed).status_code == 302
    assert (DrainRun.objects.count(), DrainNode.objects.count()) == (1, 1)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (new(code=""), "Give text."),
        (new(diameter_in="wide"), "write inches such as 3 5/8"),
        (new(diameter_in="30"), "Give an inside diameter of 1/2 to 24 in."),
        (new(**{"at_ft-1": "4"}), "Give inches such as 3 5/8 or 3.625."),
        (new(**place(1, "0", "18"), **place(2, "0", "17")), "has a place there already"),
        (new(**place(1, "0", "18", x="90")), "this home is"),
    ],
)
def test_what_is_wrong_keeps_nothing_and_says_why(
    siting: Siting, lead: User, client_for: ClientFor, typed: dict[str, str], *, says: str
) -> None:
    answer = sent(client_for(lead), siting, typed)
    assert answer.status_code == 400
    page = answer.content.decode().replace("&#x27;", "'")
    assert says in page
    for name in ("code", "at_ft-1"):
        assert not typed.get(name) or f'name="{name}" value="{typed[name]}"' in page  # nothing typed is lost
    assert not DrainRun.objects.exists()


def test_a_number_is_given_once(siting: Siting, lead: User, client_for: ClientFor) -> None:
    DrainRunFactory(siting=siting, code="W1")
    answer = sent(client_for(lead), siting, new())
    assert "Another drain run of this home has this code." in answer.content.decode()


def test_places_are_added_afterwards(siting: Siting, crew: User, client_for: ClientFor) -> None:
    VisitFactory(siting=siting).crew.add(crew)
    run = DrainNodeFactory(run__siting=siting, at_ft=0).run
    client = client_for(crew)
    assert sent(client, siting, {"run": str(run.pk), **place(1, "10", "16")}).status_code == 302
    assert run.nodes.count() == 2
    empty = sent(client, siting, {"run": str(run.pk)})
    assert (empty.status_code, "Fill in at least one place." in empty.content.decode()) == (400, True)
    again = sent(client, siting, {"run": str(run.pk), **place(1, "20", "15"), **place(2, "10", "16")})
    assert again.status_code == 400
    assert run.nodes.count() == 2  # whole or not at all


def test_runs_of_another_home_and_no_keys_are_not_there(siting: Siting, lead: User, client_for: ClientFor) -> None:
    other = DrainRunFactory()
    for typed in ({"run": str(other.pk), **place(1, "0", "18")}, {"run": "x"}, {"id": "x", "code": "W2"}):
        assert sent(client_for(lead), siting, typed).status_code == 404


def test_an_archived_home_takes_none(siting: Siting, lead: User, client_for: ClientFor) -> None:
    siting.home.archived_at = NOON
    siting.home.save()
    assert "New drain run" not in shown(client_for(lead), siting)
    assert sent(client_for(lead), siting, new()).status_code == 403


@pytest.mark.parametrize("rows", [1, 3])
def test_the_page_asks_a_fixed_number_of_times(
    siting: Siting, lead: User, rows: int, client_for: ClientFor, *, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for _row in range(rows):
        DrainNodeFactory(run__siting=siting)
    client = client_for(lead)
    with django_assert_num_queries(6):  # session, user, time zone; siting, drain runs, places on them
        client.get(reverse("drains", args=[siting.pk]))
