"""What a person asks of plans of visits: to plan, to plan again with some of it locked, to book all of it or some."""

import datetime
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from calcs import codec, tasks
from calcs.due_booking import book_due
from calcs.models import Due, RoutePlan
from calcs.planning.answer import Call, PlanResult
from calcs.planning.problem import PlanInput
from calcs.routes.asked import Asked, Lock
from calcs.routes.reading import keys, read
from jobs.clock import company_zone
from jobs.errors import DomainError
from jobs.models import Truck, User, Visit
from jobs.models.base import Act
from jobs.rights import need


@dataclass(frozen=True, slots=True, kw_only=True)
class Booking:
    """What became of booking from a plan: the visits, and by siting why one was not booked."""

    visits: tuple[Visit, ...]
    refused: dict[str, str]


def request_plan(asked: Asked, *, by: User, replaces: RoutePlan | None = None) -> RoutePlan:
    """Ask for a plan; it is searched in the background.

    Raises
    ------
    DomainError
        403 without the right; else as ``reading.read``.
    """
    need(by, Act.ADD, RoutePlan)
    found = read(asked, by, timezone.now())
    plan = RoutePlan.objects.create(
        from_on=asked.first,
        asked=codec.encode(asked),
        set_aside=found.set_aside,
        input=codec.encode(found.document),
        requested_by=by,
        replaces=replaces,
    )
    transaction.on_commit(lambda: tasks.send_route_plans([plan.pk]), robust=True)
    return plan


def plan_again(plan: RoutePlan, locks: Collection[Lock], *, by: User) -> RoutePlan:
    """Ask for the same again by the record as it is now, with these homes where they are locked."""
    return request_plan(replace(asked_of(plan), locks=tuple(locks)), by=by, replaces=plan)


def book_from(plan: RoutePlan, *, by: User, sitings: Collection[str] | None = None) -> Booking:
    """Book the planned visits of some homes, or of all; each remembers why its home is due.

    What clashes with what was booked meanwhile is not booked, and said; the others are. Sent twice it books once.

    Raises
    ------
    DomainError
        403 without the right; 409 before the plan is done; 400 for a home that the plan does not visit.
    """
    need(by, Act.CHANGE, RoutePlan)
    need(by, Act.ADD, Visit)
    with transaction.atomic():
        locked = RoutePlan.objects.select_for_update(no_key=True).get(pk=plan.pk)
        planned = dict(_planned(locked))
        wanted = planned.keys() if sitings is None else {str(key) for key in keys(map(str, sitings), "sitings")}
        if unknown := set(wanted) - set(planned):
            sentence = _("The plan does not visit this home ({count}).").format(count=len(unknown))
            raise DomainError("invalid", sentence, fields={"sitings": sentence})
        visits, refused = [], dict[str, str]()
        desk = _Desk(locked, by)
        for key in [key for key in planned if key in wanted and key not in locked.booked]:
            try:
                with transaction.atomic():
                    visits.append(desk.book(key, *planned[key]))
            except DomainError as error:
                refused[key] = error.message
        locked.booked |= {str(visit.siting_id): str(visit.pk) for visit in visits}
        locked.save(update_fields=["booked"])
        plan.booked = locked.booked
    return Booking(visits=tuple(visits), refused=refused)


def asked_of(plan: RoutePlan) -> Asked:
    """Return what was asked."""
    return codec.decode(plan.asked, Asked)


def result_of(plan: RoutePlan) -> PlanResult:
    """Return the answer of a plan that is done.

    Raises
    ------
    DomainError
        409 before that.
    """
    if plan.result is None:
        raise DomainError("not_done", _("This plan is not computed yet."), status=409)
    return codec.decode(plan.result, PlanResult)


def _planned(plan: RoutePlan) -> Iterator[tuple[str, tuple[str, int, Call]]]:
    """Yield by siting the crew, the day and the call, in the order of days and crews."""
    for route in result_of(plan).routes:
        for call in route.calls:
            if not call.is_booked:
                yield call.code, (route.crew, route.day, call)


class _Desk:
    """Books what a plan says, with the rows that it names read at once."""

    def __init__(self, plan: RoutePlan, by: User) -> None:
        self._asked, self._by, self._zone = asked_of(plan), by, company_zone()
        document = codec.decode(plan.input, PlanInput)
        self._stops = {stop.code: stop for stop in document.stops}
        self._homes = {home.siting: home for home in self._asked.homes}
        self._crews = {crew.lead: crew for crew in self._asked.crews}
        named = [key for crew in self._asked.crews for key in (crew.lead, *crew.crew)]
        self._people = {str(one.pk): one for one in User.objects.filter(pk__in=named)}
        trucks = [key for crew in self._asked.crews for key in crew.trucks]
        self._trucks = {str(one.pk): one for one in Truck.objects.filter(pk__in=trucks)}
        self._dues = {str(due.siting_id): due for due in Due.objects.filter(siting__in=list(self._stops))}

    def book(self, siting: str, lead: str, day: int, call: Call) -> Visit:
        """Book one visit."""
        crew, on = self._crews[lead], self._asked.first + datetime.timedelta(days=day)
        return book_due(
            self._dues[siting],
            by=self._by,
            kind=self._homes[siting].kind,
            starts_at=moment(on, call.from_min, self._zone),
            ends_at=moment(on, call.to_min, self._zone),
            lead=self._people[lead],
            crew=[self._people[key] for key in crew.crew],
            trucks=[self._trucks[key] for key in crew.trucks],
            needs=self._stops[siting].needs,
        )


def moment(day: datetime.date, minutes: int, zone: ZoneInfo) -> datetime.datetime:
    """Return a time of a day, in minutes from midnight by the clock on the wall."""
    days, left = divmod(minutes, 24 * 60)
    time = datetime.time(left // 60, left % 60)
    return datetime.datetime.combine(day + datetime.timedelta(days=days), time, zone)
