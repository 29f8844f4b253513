"""Waiting for what the background worker makes of a survey, by asking the API how far it is."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from calcs.demo.client import Client

Row = dict[str, Any]
KINDS = ("levels", "straps", "flatness", "lift")
CHECKS = ("stacks", "straps")
POLL_S = 0.1
PATIENCE_S = 300.0
ENDED_BADLY = ("failed", "timed_out")


class StuckError(Exception):
    """A calculation ended without an answer, or none came in time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What stands for a survey's newest readings: results by kind, and the recommended plan (None: there is none)."""

    levels: Row
    flatness: Row
    lift: Row
    straps_as_found: Row
    plan: Row | None


def wait_for(client: Client, survey: str, *, told: Callable[[str, float], None]) -> Answers:
    """Wait until every answer for a survey's newest readings is there; ``told`` hears of each as it comes."""
    begun = time.monotonic()
    said: set[str] = set()
    while True:
        answers, plan = _look(client, survey)
        done = {kind for kind, row in answers.items() if row["state"] == "done"}
        done |= {f"{check} of the plan" for check in CHECKS if plan and plan[check] and plan[check]["result"]}
        for name in sorted(done - said):
            told(name, time.monotonic() - begun)
        said |= done
        if done.issuperset(KINDS) and not _is_waiting(plan):
            return _whole(client, answers, plan)
        if time.monotonic() - begun > PATIENCE_S:
            raise StuckError(f"no answer within {PATIENCE_S:.0f} s; is a worker running?")
        time.sleep(POLL_S)


def _look(client: Client, survey: str) -> tuple[dict[str, Row], Row | None]:
    """Return the newest answers by kind, and the recommended plan once there is one."""
    rows = client.all("answers/", survey=survey)
    answers = {row["kind"]: row for row in rows if row["is_newest"]}
    for row in answers.values():
        if row["state"] in ENDED_BADLY:
            whole = client.get(f"calculations/{row['calculation']}/")
            raise StuckError(f"{row['kind']}: {_failure(whole)}")
    if answers.get("lift", {}).get("state") != "done":
        return answers, None
    plans = client.all("plans/", survey=survey, current="true", is_recommended="true")
    return answers, client.get(f"plans/{plans[0]['id']}/") if plans else None


def _is_waiting(plan: Row | None) -> bool:
    """Tell whether a check of the plan is still to come."""
    checks = [plan[check] for check in CHECKS if plan[check]] if plan else []
    for check in checks:
        if check["state"] in ENDED_BADLY:
            raise StuckError(_failure(check))
    return any(check["result"] is None for check in checks)


def _whole(client: Client, answers: dict[str, Row], plan: Row | None) -> Answers:
    results = {kind: client.get(f"calculations/{answers[kind]['calculation']}/")["result"] for kind in KINDS}
    return Answers(
        levels=results["levels"],
        flatness=results["flatness"],
        lift=results["lift"],
        straps_as_found=results["straps"],
        plan=plan,
    )


def _failure(row: Row) -> str:
    error = row["error"] or {}
    return str(error.get("message", row["state"]))
