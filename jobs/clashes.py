"""Who or what is taken already in some hours, and by what: told by name, home and times."""

import datetime
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.db import IntegrityError
from django.db.models import Q
from django.utils.translation import gettext as _

from jobs.clock import company_zone, days, window
from jobs.errors import DomainError
from jobs.models import Occupied, TimeOff, Truck, User, Visit

CONSTRAINTS = frozenset({"person_in_one_place", "truck_in_one_place"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash:
    """One person or truck that is taken, and what takes it."""

    who: User | Truck
    by: Visit | TimeOff

    def told(self, zone: ZoneInfo) -> str:
        """Return the clash as a sentence."""
        match self.by:
            case Visit() as visit:
                return _("{who} is at {home} then: {kind}, {window}.").format(
                    who=self.who,
                    home=visit.siting.home,
                    kind=visit.get_kind_display(),
                    window=window(visit.starts_at, visit.ends_at, zone),
                )
            case TimeOff() as off:
                return _("{who} is off then: {why}, {days}.").format(
                    who=self.who, why=off.why, days=days(off.from_on, off.to_on)
                )


class Conflict(DomainError):
    """Somebody or a truck would be in two places at once; ``clashes`` says who, where and when."""

    def __init__(
        self, clashes: Sequence[Clash], *, lead: User | None = None, people: str = "crew", trucks: str = "trucks"
    ) -> None:
        zone = company_zone()
        self.clashes = tuple(clashes)
        told: dict[str, list[str]] = {}
        for clash in clashes:
            field = trucks if isinstance(clash.who, Truck) else "lead" if clash.who == lead else people
            told.setdefault(field, []).append(clash.told(zone))
        fields = {field: " ".join(sentences) for field, sentences in told.items()}
        freed = _("Somebody else has booked the same people or trucks meanwhile: try again.")
        super().__init__("conflict", " ".join(fields.values()) or freed, fields=fields, status=409)


def clashes_in(
    *,
    starts_at: datetime.datetime,
    ends_at: datetime.datetime,
    people: Collection[User] = (),
    trucks: Collection[Truck] = (),
    but: Visit | TimeOff | None = None,
) -> list[Clash]:
    """Return who of these people and trucks is taken in these hours by something else than ``but``."""
    taken = Occupied.objects.filter(
        Q(person__in=people) | Q(truck__in=trucks), during__overlap=(starts_at, ends_at)
    ).select_related("person", "truck", "visit__siting__home", "time_off")
    if but is not None:
        taken = taken.exclude(**{"visit" if isinstance(but, Visit) else "time_off": but})
    return [
        Clash(who=row.person or row.truck, by=row.visit or row.time_off)  # type: ignore[arg-type]  # one is there
        for row in taken.order_by("during", "pk")
    ]


def is_clash(error: IntegrityError) -> bool:
    """Tell whether the database refused a row because somebody or a truck would be in two places at once."""
    return getattr(getattr(error.__cause__, "diag", None), "constraint_name", None) in CONSTRAINTS
