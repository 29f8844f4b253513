"""The demo's company and its people, the only thing of the demo that is not entered over the API."""

import datetime
from dataclasses import dataclass

from django.db import transaction

from jobs.models import Company, DeviceToken, Role, Skill, User

TOKEN_LIFETIME = datetime.timedelta(hours=12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """One of the company's people, by the name they sign in with."""

    username: str
    first_name: str
    last_name: str
    roles: tuple[Role, ...]
    skills: tuple[Skill, ...] = ()
    language: str = "en"


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewSpec:
    """Who goes out together, and with which truck."""

    lead: str
    crew: tuple[str, ...]
    truck: str


LEADS_WORK = (Skill.LEVEL, Skill.RELEVEL)
PEOPLE = (
    Person(username="maren", first_name="Maren", last_name="Tolliday", roles=(Role.MANAGER, Role.OFFICE)),
    Person(username="ibbie", first_name="Ibbie", last_name="Quenell", roles=(Role.OFFICE,)),
    *(
        Person(
            username=first_name.lower(),
            first_name=first_name,
            last_name=last_name,
            roles=(Role.CREW_LEAD, Role.CREW),
            skills=(*LEADS_WORK, *more),
        )
        for first_name, last_name, more in (
            ("Dunstan", "Orrey", (Skill.ANCHORS,)),
            ("Orsola", "Finnick", (Skill.DRAINS,)),
            ("Leif", "Marrable", ()),
            ("Nerys", "Coyle", (Skill.ANCHORS,)),
        )
    ),
    *(
        Person(
            username=first_name.lower(),
            first_name=first_name,
            last_name=last_name,
            roles=(Role.CREW,),
            skills=skills,
            language="es" if first_name == "Odalis" else "en",
        )
        for first_name, last_name, skills in (
            ("Pilar", "Vesk", (Skill.LEVEL,)),
            ("Anselm", "Hobry", (Skill.ANCHORS,)),
            ("Bram", "Tusk", (Skill.LEVEL, Skill.GAS)),
            ("Yusra", "Pell", (Skill.LEVEL,)),
            ("Tibb", "Lorne", ()),
            ("Odalis", "Rennick", (Skill.LEVEL, Skill.ELECTRIC)),
        )
    ),
)
CREWS = (
    CrewSpec(lead="dunstan", crew=("pilar", "anselm"), truck="Truck 1"),
    CrewSpec(lead="orsola", crew=("bram",), truck="Truck 2"),
    CrewSpec(lead="leif", crew=("yusra", "tibb"), truck="Truck 3"),
    CrewSpec(lead="nerys", crew=("odalis",), truck="Truck 4"),
)
LEAD, OFFICE, MANAGER = "dunstan", "ibbie", "maren"
YARD = {"latitude_deg": "37.190000", "longitude_deg": "-98.931000"}  # where the trucks start
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
        # One that was made by an earlier version knew of no yard, and its people of no skills.
        Company.objects.filter(latitude_deg=None).update(**YARD)
        return {person.username: _user(person) for person in PEOPLE}


def _user(person: Person) -> User:
    user, is_new = User.objects.get_or_create(
        username=person.username,
        defaults={
            "first_name": person.first_name,
            "last_name": person.last_name,
            "roles": list(person.roles),
            "skills": list(person.skills),
            "language": person.language,
            "is_staff": bool({Role.MANAGER, Role.OFFICE} & set(person.roles)),
            "is_superuser": Role.MANAGER in person.roles,
        },
    )
    if is_new:
        user.set_unusable_password()
        user.save(update_fields=["password"])
    elif not user.skills and person.skills:
        user.skills = list(person.skills)
        user.save(update_fields=["skills"])
    return user


def token_for(user: User, name: str) -> str:
    """Issue a device token for one run of the demo; return its secret."""
    return DeviceToken.objects.issue(user=user, name=name, lifetime=TOKEN_LIFETIME)[1]
