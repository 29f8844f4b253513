"""Waiting for what the background worker makes of a survey, by asking the API how far it is."""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from calcs.demo.client import Client

Row = dict[str, Any]
# What every survey is answered, and what else one is where the record says something of it.
KINDS = ("levels", "straps", "flatness", "frame", "supports", "lift", "lift_curve")
MORE_KINDS = ("strap_tension", "strap_spacing", "drains")
CHECKS = ("stacks", "straps", "strap_spacing", "drains", "frame", "passes", "supports")
POLL_S = 0.1
PATIENCE_S = 300.0
ENDED_BADLY = ("failed", "timed_out")


class StuckError(Exception):
    """A calculation ended without an answer, or none came in time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What stands for a survey's newest readings: results by kind, and the recommended plan (None: there is none).

    ``checks`` are the plan's results by kind, as far as the record has something to check.
    """

    results: dict[str, Row]
    plan: Row | None
    checks: dict[str, Row]
    steps: int
    steps_done: int

    @property
    def levels(self) -> Row:
        """The heights."""
        return self.results["levels"]

    @property
    def flatness(self) -> Row:
        """How level the home is."""
        return self.results["flatness"]

    @property
    def lift(self) -> Row:
        """The ways to lift it."""
        return self.results["lift"]


def wait_for(
    client: Client, survey: str, *, told: Callable[[str, float], None], kinds: Sequence[str] | None = None
) -> Answers:
    """Wait until every answer for a survey's newest readings is there; ``told`` hears of those that come together.

    With ``kinds`` only these are waited for.
    """
    begun = time.monotonic()
    said: set[str] = set()
    stamp = ""
    while True:
        progress = client.get(f"surveys/{survey}/calculations/")
        if progress["state"] == "failed":
            raise StuckError("; ".join(_failures(client, survey)))
        if progress["stamp"] != stamp:
            stamp = progress["stamp"]
            answers, plan = _look(client, survey)
            done = {kind for kind, row in answers.items() if row["state"] == "done"}
            checked = {f"its {kind}" for kind in _checks(plan)}
            new = [*sorted(done - said), *sorted(checked - said)]
            if new:
                told(", ".join(new), time.monotonic() - begun)
            said |= done | checked
            is_done = done.issuperset(kinds) if kinds else progress["state"] == "done" and done.issuperset(KINDS)
            if is_done:
                return _whole(client, answers, plan, progress)
        if time.monotonic() - begun > PATIENCE_S:
            raise StuckError(f"no answer within {PATIENCE_S:.0f} s; is a worker running?")
        time.sleep(POLL_S)


def _look(client: Client, survey: str) -> tuple[dict[str, Row], Row | None]:
    """Return the newest answers by kind, and the recommended plan once there is one."""
    rows = client.all("answers/", survey=survey)
    answers = {row["kind"]: row for row in rows if row["is_newest"]}
    if answers.get("lift", {}).get("state") != "done":
        return answers, None
    plans = client.all("plans/", survey=survey, current="true", is_recommended="true")
    return answers, client.get(f"plans/{plans[0]['id']}/") if plans else None


def _checks(plan: Row | None) -> dict[str, Row]:
    """Return the results of a plan's checks that are there."""
    if plan is None:
        return {}
    return {kind: plan[kind]["result"] for kind in CHECKS if plan[kind] and plan[kind]["result"]}


def _whole(client: Client, answers: dict[str, Row], plan: Row | None, progress: Row) -> Answers:
    wanted = [kind for kind in (*KINDS, *MORE_KINDS) if kind in answers and answers[kind]["state"] == "done"]
    return Answers(
        results={kind: client.get(f"calculations/{answers[kind]['calculation']}/")["result"] for kind in wanted},
        plan=plan,
        checks=_checks(plan),
        steps=progress["steps"],
        steps_done=progress["steps_done"],
    )


def _failures(client: Client, survey: str) -> Iterator[str]:
    """Say what failed, and why."""
    for state in ENDED_BADLY:
        for row in client.all("calculations/", survey=survey, state=state):
            error = client.get(f"calculations/{row['id']}/")["error"] or {}
            yield f"{row['kind']}: {error.get('message', state)}"
