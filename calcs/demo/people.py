"""The demo's company and its people, the only thing of the demo that is not entered over the API."""

import datetime
from dataclasses import dataclass

from django.db import transaction

from jobs.models import Company, DeviceToken, Role, User

TOKEN_LIFETIME = datetime.timedelta(hours=12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """One of the company's people, by the name they sign in with."""

    username: str
    first_name: str
    last_name: str
    roles: tuple[Role, ...]


PEOPLE = (
    Person(username="maren", first_name="Maren", last_name="Tolliday", roles=(Role.MANAGER, Role.OFFICE)),
    Person(username="ibbie", first_name="Ibbie", last_name="Quenell", roles=(Role.OFFICE,)),
    Person(username="dunstan", first_name="Dunstan", last_name="Orrey", roles=(Role.CREW_LEAD, Role.CREW)),
    Person(username="pilar", first_name="Pilar", last_name="Vesk", roles=(Role.CREW,)),
    Person(username="anselm", first_name="Anselm", last_name="Hobry", roles=(Role.CREW,)),
)
LEAD, OFFICE = "dunstan", "ibbie"
SIGN_IN_AS = {"office": "ibbie", "crew lead": "dunstan", "crew": "pilar", "manager": "maren"}


def seed() -> dict[str, User]:
    """Return the demo's people by username, made if they are not there yet. Nobody has a password."""
    with transaction.atomic():
        if not Company.objects.exists():
            Company.objects.create(
                name="Tern Hollow Leveling",
                letterhead="Tern Hollow Leveling\n3 Sawpit Row, Pellen Flats",
                time_zone="America/Chicago",
            )
        return {person.username: _user(person) for person in PEOPLE}


def _user(person: Person) -> User:
    user, is_new = User.objects.get_or_create(
        username=person.username,
        defaults={
            "first_name": person.first_name,
            "last_name": person.last_name,
            "roles": list(person.roles),
            "is_staff": bool({Role.MANAGER, Role.OFFICE} & set(person.roles)),
            "is_superuser": Role.MANAGER in person.roles,
        },
    )
    if is_new:
        user.set_unusable_password()
        user.save(update_fields=["password"])
    return user


def token_for(user: User, name: str) -> str:
    """Issue a device token for one run of the demo; return its secret."""
    return DeviceToken.objects.issue(user=user, name=name, lifetime=TOKEN_LIFETIME)[1]
