"""A plan as the page and the API tell it: each crew's day in order, what it comes to, what does not fit and why."""

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from calcs import codec
from calcs.models import Calculation, Due, RoutePlan
from calcs.planning.answer import Call, Figures, PlanResult, Route
from calcs.planning.problem import PlanInput
from calcs.routes import reading
from calcs.routes.asked import Asked
from calcs.routes.services import asked_of
from calcs.routes.shifts import holidays_in
from calcs.spoken import spoken
from calcs.words import why_due
from jobs.models import Home, Siting, Skill, Truck, User, Visit

State = Calculation.State
WHY_ASIDE = {
    reading.NO_PLACE: gettext_lazy(
        "Where it stands is not on record: give its latitude and longitude, then it can be planned."
    ),
    reading.BOOKED: gettext_lazy("Somebody goes there already."),
    reading.GONE: gettext_lazy("It stands there no longer, or is archived."),
}
WHY_LEFT = {
    "early": gettext_lazy("It is due later, and not to be visited before the last of these days."),
    "off": gettext_lazy("No crew that can do it works on a day that would do."),
    "hours": gettext_lazy("It fits into no crew's free hours even alone, the way there and back included."),
    "lock": gettext_lazy("It does not fit where it is locked: free it, or lock it elsewhere."),
    "room": gettext_lazy("It would fit alone; what is planned instead weighs more, by lateness and chance."),
}

MENDED_BY_LOCK = ("lock", "room")  # the others fit no day at all


@dataclass(frozen=True, slots=True, kw_only=True)
class CallTold:
    """One place that a crew comes to; ``number`` counts a crew's planned and booked places of the day."""

    number: int
    siting: str
    home: Home | None
    address: str
    why: str
    call: Call
    visit: str

    @property
    def starts(self) -> datetime.time:
        """When the crew is to be there."""
        return clock(self.call.from_min)

    @property
    def ends(self) -> datetime.time:
        """When it leaves."""
        return clock(self.call.to_min)


@dataclass(frozen=True, slots=True, kw_only=True)
class RouteTold:
    """One crew's day; ``letter`` is what its places are marked with on the drawing."""

    letter: str
    lead: User
    crew: tuple[User, ...]
    trucks: tuple[Truck, ...]
    calls: tuple[CallTold, ...]
    route: Route

    @property
    def miles(self) -> float:
        """Miles of the day, the way back included."""
        return sum(call.drive_mi for call in self.route.calls) + self.route.back_mi

    @property
    def drive_min(self) -> int:
        """Minutes kept for driving, the way back included."""
        return sum(call.drive_min for call in self.route.calls) + self.route.back_min


@dataclass(frozen=True, slots=True, kw_only=True)
class DayTold:
    """One day of a plan."""

    day: datetime.date
    routes: tuple[RouteTold, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftTold:
    """A home that is not in the plan, and why; ``can_lock``: a lock, or to free it, could bring it in."""

    siting: str
    home: Home | None
    why: str
    can_lock: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanTold:
    """A plan, told."""

    days: tuple[DayTold, ...] = ()
    left: tuple[LeftTold, ...] = ()
    result: PlanResult | None = None
    document: PlanInput
    asked: Asked
    proof: str = ""
    holidays: dict[datetime.date, str]
    leads: dict[str, User]

    @property
    def has_open(self) -> bool:
        """Tell whether some planned visit is not booked yet."""
        calls = (call for day in self.days for route in day.routes for call in route.calls)
        return any(not call.visit for call in calls)


def tell(plan: RoutePlan) -> PlanTold:
    """Read what a plan names, in a fixed number of queries, and tell it."""
    asked, document = asked_of(plan), codec.decode(plan.input, PlanInput)
    result = codec.decode(plan.result, PlanResult) if plan.result is not None else None
    names = _Names(plan, asked, result)
    told: dict[str, Any] = {
        "asked": asked,
        "document": document,
        "holidays": holidays_in(asked),
        "leads": names.leads,
    }
    aside = [names.left(key, str(WHY_ASIDE[why]), can_lock=False) for key, why in plan.set_aside.items()]
    if result is None:
        return PlanTold(left=tuple(aside), **told)
    days = sorted({route.day for route in result.routes})
    return PlanTold(
        days=tuple(names.day(number, [each for each in result.routes if each.day == number]) for number in days),
        left=(
            *(
                names.left(left.code, _why_left(left), can_lock=left.why in MENDED_BY_LOCK)
                for left in result.left_out
            ),
            *aside,
        ),
        result=result,
        proof=_proof(result),
        **told,
    )


def clock(minutes: int) -> datetime.time:
    """Return minutes from midnight as a time of day."""
    return datetime.time(minutes // 60 % 24, minutes % 60)


def progress_words(plan: RoutePlan) -> str:
    """Say how far a plan is."""
    match plan.state:
        case State.QUEUED:
            return _("Waiting for a worker.")
        case State.RUNNING if plan.progress:
            found, hand = (plan.progress[name] for name in ("found", "hand"))
            words = _(
                "Searching ({share} %): {visits} visits on {miles} miles so far; "
                "by hand order {hand_visits} on {hand_miles}."
            )
            return words.format(
                share=f"{100 * plan.progress['share']:.0f}",
                visits=found["visits"],
                miles=f"{found['miles']:.0f}",
                hand_visits=hand["visits"],
                hand_miles=f"{hand['miles']:.0f}",
            )
        case State.RUNNING:
            return _("Searching.")
        case State.DONE:
            return _("Planned.")
    return _("Not planned: {why}").format(why=spoken(plan.error["message"]) if plan.error else "")


def _proof(result: PlanResult) -> str:
    if result.is_proven:
        return _("Proven: no plan is better by what counts here.")
    words = _(
        "Not proven to be the best: another may be better by up to {miles} miles, or as much lateness as they weigh."
    )
    return words.format(miles=f"{result.slack_mi:.0f}")


def _why_left(left: Any) -> str:
    if left.why != "skill":
        return str(WHY_LEFT[left.why])
    skills = "; ".join(str(Skill(skill).label) for skill in left.lacks)
    return ngettext(
        "No crew chosen can do what it needs: {skills}.",
        "No single crew chosen can do all that it needs: {skills}.",
        len(left.lacks),
    ).format(skills=skills)


class _Names:
    """The rows that a plan names, each kind read once."""

    def __init__(self, plan: RoutePlan, asked: Asked, result: PlanResult | None) -> None:
        self._plan, self._asked = plan, asked
        self._visits = _by_key(Visit.objects.filter(pk__in=_visits_in(result)).select_related("siting__home"))
        homes = reading.keys((home.siting for home in asked.homes), "homes")
        self._sitings = _by_key(Siting.objects.filter(pk__in=homes).select_related("home"))
        dues = Due.objects.filter(siting__in=homes).select_related("survey", "driver_a", "driver_b").defer("lines")
        self._whys = {str(due.siting_id): why_due(due) for due in dues}
        people = [key for crew in asked.crews for key in (crew.lead, *crew.crew)]
        self._people = _by_key(User.objects.filter(pk__in=people))
        trucks = [key for crew in asked.crews for key in crew.trucks]
        self._trucks = _by_key(Truck.objects.filter(pk__in=trucks))
        self.leads = {crew.lead: self._people[crew.lead] for crew in asked.crews}
        self._letters = {crew.lead: letter_of(place) for place, crew in enumerate(asked.crews)}
        self._crews = {crew.lead: crew for crew in asked.crews}

    def day(self, number: int, routes: Iterable[Route]) -> DayTold:
        return DayTold(
            day=self._asked.first + datetime.timedelta(days=number),
            routes=tuple(sorted(map(self._route, routes), key=lambda told: told.letter)),
        )

    def left(self, siting: str, why: str, *, can_lock: bool) -> LeftTold:
        row = self._sitings.get(siting)
        return LeftTold(siting=siting, home=row.home if row else None, why=why, can_lock=can_lock)

    def _route(self, route: Route) -> RouteTold:
        crew = self._crews[route.crew]
        return RouteTold(
            letter=self._letters[route.crew],
            lead=self._people[route.crew],
            crew=tuple(self._people[key] for key in crew.crew),
            trucks=tuple(self._trucks[key] for key in crew.trucks),
            calls=tuple(self._call(number, call) for number, call in enumerate(route.calls, start=1)),
            route=route,
        )

    def _call(self, number: int, call: Call) -> CallTold:
        if call.is_booked:
            visit = next((self._visits[key] for key in call.code.split() if key in self._visits), None)
            siting, booked = (visit.siting, str(visit.pk)) if visit else (None, "")
        else:
            siting, booked = self._sitings.get(call.code), self._plan.booked.get(call.code, "")
        return CallTold(
            number=number,
            siting="" if call.is_booked else call.code,
            home=siting.home if siting else None,
            address=siting.address if siting else "",
            why="" if call.is_booked else self._whys.get(call.code, ""),
            call=call,
            visit=booked,
        )


def letter_of(place: int) -> str:
    """Return A for the first crew, B for the second."""
    return chr(ord("A") + place)


def _visits_in(result: PlanResult | None) -> list[str]:
    calls = (call for route in (result.routes if result else ()) for call in route.calls)
    return [key for call in calls if call.is_booked and not call.code.startswith("off") for key in call.code.split()]


def _by_key(rows: Iterable[Any]) -> dict[str, Any]:
    return {str(row.pk): row for row in rows}


def compared(figures: Figures, hand: Figures) -> list[tuple[str, str, str]]:
    """Return what a plan comes to beside hand order, row by row: what, planned, by hand."""
    rows: list[tuple[Any, Any]] = [
        (_("visits"), lambda one: str(one.visits)),
        (_("left out"), lambda one: str(one.left_out)),
        (_("miles"), lambda one: f"{one.miles:.0f}"),
        (_("driving, by miles and speed"), lambda one: hours(one.drive_min)),
        (_("days late in all"), lambda one: str(one.late_days)),
        (_("visits out of season"), lambda one: str(one.off_season)),
    ]
    return [(words, told(figures), told(hand)) for words, told in rows]


def hours(minutes: int) -> str:
    """Write minutes of driving as people say them."""
    whole, left = divmod(minutes, 60)
    if not whole:
        return _("{minutes} min").format(minutes=left)
    return _("{hours} h {minutes} min").format(hours=whole, minutes=left)
