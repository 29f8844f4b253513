"""What moved, who is due and who goes when, in words, made from the service's answers and nothing else."""

import datetime
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from calcs.demo.client import Client
from calcs.demo.years.entering import siting_of
from calcs.demo.years.homes import Past
from calcs.models import Answer
from surveys.models import Survey

Row = Mapping[str, Any]
YEARS = ("levels", "movement", "forecast")
UNDER_WAY = ("queued", "running")
MOST_VISITS = 3
LAST_OF_A_SURVEY = "lift_curve"


def is_working(client: Client) -> bool:
    """Tell whether heights, movement or forecasts of any home are still to come."""
    return any(
        client.get("calculations/", kind=kind, state=state)["results"] for kind in YEARS for state in UNDER_WAY
    )


def progress_words(client: Client) -> str:
    """Say how much is computed and how much is still asked for; nothing once all is done."""
    figures = client.get("operations/")
    left, night = figures["waiting"] + figures["running"], figures["night"]
    is_night = night is not None and night["state"] == "running"
    if not left and not is_night:
        return ""
    walked = f"; the night's walk: {night['done']} of {night['total']} homes" if night is not None else ""
    submitted = Survey.objects.filter(state=Survey.State.SUBMITTED).count()
    whole = Answer.objects.filter(kind=LAST_OF_A_SURVEY, calculation__state="done").count()
    return f"{whole} of {submitted} surveys computed to the end, {left} calculations asked for and not done{walked}"


def home_lines(client: Client, home: Past) -> Iterator[str]:
    """Say of one home what the ground truly does, what the service says moved, and when it is due."""
    siting = siting_of(client, home)
    surveys = client.all("surveys/", siting=siting)
    newest = max(surveys, key=lambda row: str(row["started_at"]))
    years = f"{len(surveys)} surveys in {home.trips[0].years_ago:.0f} years"
    yield f"{home.code} {home.name}, {years}; what the ground does: {home.truth}"
    moved = _result(client, newest["id"], "movement")
    if moved is not None:
        yield f"  moved: {_moved_words(moved)}"
    for due in client.all("due/", siting=siting):
        yield f"  {due['standing']}, {_due_words(due)}: {due['reason']}"


def _result(client: Client, survey: str, kind: str) -> Row | None:
    for answer in client.all("answers/", survey=survey, kind=kind):
        if answer["state"] == "done":
            result: Row = client.get(f"calculations/{answer['calculation']}/")["result"]
            return result
    return None


def _moved_words(moved: Row) -> str:
    count = sum(point["verdict"] == "moved" for point in moved["points"])
    pattern = "" if moved["pattern"] is None else f"; {moved['pattern']['text']}"
    marks = "within the home only" if moved["relative"] else f"against {len(moved['datum'])} marks"
    return f"{count} of {len(moved['points'])} points, {marks}{pattern}"


def _due_words(due: Row) -> str:
    return "not due" if due["due_on"] is None else f"due {due['due_on']}"


def due_lines(client: Client, most: int) -> Iterator[str]:
    """Say which homes are due first."""
    rows = client.all("due/", by="365")
    yield f"{len(rows)} homes are due within a year; first:"
    for due in rows[:most]:
        near = f"; {due['near_count']} more due near" if due["near_count"] else ""
        booked = "" if due["next_visit"] is None else f"; booked {str(due['next_visit']['starts_at'])[:10]}"
        yield f"  {due['due_on']} {due['home_code']} {due['home_name']}, season {due['season']['fit']}{near}{booked}"


def week_lines(client: Client, today: datetime.date, zone: ZoneInfo) -> Iterator[str]:
    """Say of each crew where it goes in the days to come."""
    start = datetime.datetime.combine(today, datetime.time(), zone)
    span = {"ends_after": start.isoformat(), "starts_before": (start + datetime.timedelta(days=14)).isoformat()}
    visits = [row for row in client.all("visits/", **span) if row["state"] in ("booked", "on_site")]
    names = {row["id"]: f"{row['first_name']} {row['last_name']}" for row in client.all("users/")}
    home_of = {row["id"]: row["home"] for row in client.all("sitings/")}
    codes = {row["id"]: row["code"] for row in client.all("homes/")}
    by_lead: dict[str, list[Row]] = defaultdict(list)
    for visit in sorted(visits, key=lambda row: str(row["starts_at"])):
        by_lead[visit["lead"]].append(visit)
    yield f"{len(visits)} visits in the two weeks to come, by {len(by_lead)} crews"
    for lead, rows in sorted(by_lead.items(), key=lambda each: names[each[0]]):
        told = "; ".join(
            f"{_when(row, zone)} {codes[home_of[row['siting']]]} {row['kind'].replace('_', '-')}"
            for row in _some(rows)
        )
        yield f"  {names[lead]}: {told}"


def _some(rows: Sequence[Row]) -> Iterable[Row]:
    return rows[:MOST_VISITS]


def _when(visit: Row, zone: ZoneInfo) -> str:
    return datetime.datetime.fromisoformat(visit["starts_at"]).astimezone(zone).strftime("%a %d %b %H:%M")


def plan_lines(client: Client, key: str) -> Iterator[str]:
    """Say what a plan of due visits comes to, beside hand order, and where it is."""
    plan = client.get(f"route-plans/{key}/")
    if plan["result"] is None:
        yield f"due visits planned together: {plan['state']}"
        return
    ours, hand = plan["result"]["figures"], plan["result"]["hand"]
    yield (
        f"due visits planned together from {plan['from_on']}: {_figures_words(ours)}; in hand order, nearest due "
        f"date first: {_figures_words(hand)}; see /due/plan/{key}/"
    )


def _figures_words(figures: Row) -> str:
    return f"{figures['visits']} visits, {figures['miles']:.0f} miles, {figures['late_days']} days late"
