"""Two people at once, each on a connection of their own: one wins, the other is told, and no change is lost."""

import threading
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection, transaction
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase
from rest_framework.test import APIClient

from jobs.errors import Stale
from jobs.models import Home, HomeKind, NeighbourPair, Point, Role, Siting, Support, User
from jobs.services import change_point, remove_point
from tests.factories import HomeFactory, SitingFactory, UserFactory, lay_out_home

at_once = pytest.mark.django_db(transaction=True)


def at_the_same_time(*works: Callable[[], Any]) -> list[Any]:
    """Run each on a thread and a database connection of its own, all let go at once; return what each gave back."""
    start, answers = threading.Barrier(len(works)), dict.fromkeys(range(len(works)))

    def run(number: int, work: Callable[[], Any]) -> None:
        try:
            start.wait(timeout=30)
            answers[number] = work()
        except Exception as error:
            answers[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(number, work)) for number, work in enumerate(works)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return list(answers.values())


def signed_in(user: User) -> APIClient:
    client = APIClient()
    client.force_login(user)
    return client


@at_once
def test_of_two_who_change_a_row_over_the_api_one_wins_and_the_other_is_told() -> None:
    home = HomeFactory()
    clients = [signed_in(UserFactory(username=name, roles=[Role.MANAGER])) for name in ("ann", "bo")]
    for turn in range(1, 6):
        works = [
            lambda client=client, name=f"{name} {turn}", turn=turn: client.patch(
                f"/api/v1/homes/{home.pk}/", {"name": name}, headers={"If-Match": f'"{turn}"'}
            )
            for client, name in zip(clients, ("ann", "bo"), strict=True)
        ]
        answers = at_the_same_time(*works)
        assert sorted(answer.status_code for answer in answers) == [200, 412]
        won = next(answer for answer in answers if answer.status_code == 200).json()
        late = next(answer for answer in answers if answer.status_code == 412).json()
        home.refresh_from_db()
        assert (home.name, home.version) == (won["name"], turn + 1)
        assert late["current"]["name"] == won["name"]
        assert [one["who"] for one in late["changes"]] == [won["name"].split()[0]]


@at_once
def test_of_two_who_move_and_remove_a_point_one_wins() -> None:
    siting = lay_out_home()
    siting.straps.archive()
    for label in ("A1", "B2", "C3", "D1"):
        point = siting.points.get(label=label)
        mine, theirs = (Point.objects.select_related("siting").get(pk=point.pk) for _ in range(2))
        answers = at_the_same_time(
            lambda mine=mine: change_point(point=mine, fields={"x_ft": Decimal(5)}),
            lambda theirs=theirs: remove_point(point=theirs),
        )
        assert sum(isinstance(answer, Stale) for answer in answers) == 1, answers
        point.refresh_from_db()
        moved = point.x_ft == 5
        assert moved == (point.archived_at is None)
        assert Support.objects.filter(point=point, removed_on__isnull=True).exists() == moved
        assert NeighbourPair.objects.filter(a=point).exists() <= moved


@at_once
def test_of_two_who_replace_a_layout_one_wins() -> None:
    siting = SitingFactory(home__length_ft=24)
    client = signed_in(UserFactory(roles=[Role.MANAGER]))
    address = f"/api/v1/sitings/{siting.pk}/layout/"
    seen = client.post(address, {"support_spacing_ft": 10})["ETag"]
    answers = at_the_same_time(
        *(
            lambda spacing=spacing: client.post(
                address, {"support_spacing_ft": spacing, "replace": True}, headers={"If-Match": seen}
            )
            for spacing in (5, 7)
        )
    )
    assert sorted(answer.status_code for answer in answers) == [201, 412]
    won = next(answer for answer in answers if answer.status_code == 201).json()
    assert Siting.objects.get().points.standing().count() == len(won["points"])


# -- no change is lost, whatever the order -------------------------------------------------------------------

FIELDS = ("name", "land_owner", "label_number", "access_notes")
# Each step: who, and whether they read or write; a write changes one field of what was last read.
STEPS = st.lists(
    st.tuples(st.integers(0, 2), st.sampled_from(("read", "write", "bulk")), st.sampled_from(FIELDS)), max_size=25
)


class TestInterleavings(TestCase):
    """A row, three editors, and steps in any order."""

    @given(steps=STEPS)
    @settings(max_examples=40)
    def test_no_update_is_lost(self, steps: list[tuple[int, str, str]]) -> None:
        """What the row says in the end is every accepted change, in order, each made knowing all before it."""
        row = Home.objects.create(code="H1", kind=HomeKind.MANUFACTURED, width_ft=28, length_ft=60)
        held: dict[int, Home] = {}
        expected = dict.fromkeys(FIELDS, "")
        accepted = 0
        for number, (who, does, field) in enumerate(steps):
            word = f"{who} at {number}"
            if does == "read" or who not in held:
                held[who] = Home.objects.get(pk=row.pk)
                continue
            if does == "bulk":  # one statement that changes one column: it takes nothing back
                Home.objects.filter(pk=row.pk).update(**{field: word})
                expected[field], accepted = word, accepted + 1
                continue
            knew = {name: getattr(held[who], name) for name in FIELDS}
            setattr(held[who], field, word)
            try:
                with transaction.atomic():
                    held[who].save()
            except Stale:
                assert knew != expected or held[who].version != accepted + 1
                del held[who]
                continue
            assert knew == expected
            expected[field], accepted = word, accepted + 1
        row.refresh_from_db()
        assert {name: getattr(row, name) for name in FIELDS} == expected
        assert row.version == accepted + 1
