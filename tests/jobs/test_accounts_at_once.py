"""Two at once, on real connections: one invitation makes one account, and one manager always stays."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.hashers import make_password
from django.db import connection

from jobs import accounts
from jobs.errors import DomainError
from jobs.models import Role, User
from jobs.models.people import ACTIVE_MANAGERS
from tests.factories import UserFactory

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*tasks: Callable[[], Any]) -> list[str]:
    """Run tasks at the same moment, each on a connection of its own; return what each came to."""
    ready, told = threading.Barrier(len(tasks)), list[str]()

    def run(task: Callable[[], Any]) -> None:
        ready.wait(10)
        try:
            task()
            told.append("done")
        except DomainError as error:
            told.append(error.code)
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=[task]) for task in tasks]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    return sorted(told)


def test_an_invitation_makes_one_account() -> None:
    manager = UserFactory(roles=[Role.MANAGER])
    _, secret = accounts.invite(by=manager, email="rune@sable.example", roles=["crew"])

    def accept(name: str) -> Callable[[], Any]:
        return lambda: accounts.accept(secret=secret, person=User(username=name, password=make_password(None)))

    assert at_once(accept("one"), accept("two")) == ["done", "no_invitation"]
    assert User.objects.filter(username__in=["one", "two"]).count() == 1


@pytest.mark.parametrize("change", [{"roles": []}, {"is_active": False}])
def test_two_managers_who_take_each_other_out_leave_one(change: dict[str, Any]) -> None:
    both = [UserFactory(roles=[Role.MANAGER]) for _ in range(2)]

    def demote(person: User) -> Callable[[], Any]:
        for name, value in change.items():
            setattr(person, name, value)
        return person.save

    assert at_once(*(demote(person) for person in both)) == ["done", "last_manager"]
    assert User.objects.filter(ACTIVE_MANAGERS).count() == 1
