"""After a soak test: is every acknowledged entry stored once as it was sent, and every survey answered?"""

import time
from collections import Counter
from typing import Any

from django.db import connection
from django.db.models import Count, F, Model

from calcs.engine.units import parse_length
from calcs.models import Answer, Calculation, Plan
from calcs.soak.ledger import Entry, Ledger
from jobs.models import Finding, HeadCount, VisitReport
from surveys.models import Reading, Setup, Survey, SyncEntry

MODELS: dict[str, type[Model]] = {
    "survey": Survey,
    "setup": Setup,
    "reading": Reading,
    "finding": Finding,
    "head_count": HeadCount,
    "visit_report": VisitReport,
}
FOLLOW = ("levels", "flatness", "lift", "straps")
State = Calculation.State
BAD = (State.FAILED, State.TIMED_OUT)
MOST_NAMED = 5


def wait_until_at_rest(within_s: float) -> bool:
    """Wait until nothing is queued or running and every survey's newest revision was asked about."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        busy = Calculation.objects.filter(state__in=[State.QUEUED, State.RUNNING]).exists()
        asked = Answer.objects.filter(kind="levels", revision=F("survey__revision")).values("survey")
        unasked = Survey.objects.filter(state="submitted").exclude(pk__in=asked).exists()
        if not busy and not unasked:
            return True
        time.sleep(0.5)
    return False


def compare(ledger: Ledger) -> dict[str, Any]:
    """Return counts, and in ``off`` a sentence for everything that is not as it should be."""
    off = [*_wrong_settings(), *ledger.refused[:MOST_NAMED]]
    stored = {kind: {str(row.pk): row for row in model._default_manager.all()} for kind, model in MODELS.items()}
    entries = list(ledger.entries.values())
    lost = [e for e in entries if e.acknowledged and e.key not in stored[e.kind]]
    wrong = [e for e in entries if e.key in stored[e.kind] and not _is_as_sent(e, stored[e.kind][e.key])]
    doubled = _doubled() + sum(
        key not in ledger.entries
        for kind in MODELS
        for key in stored[kind]  # under a key that nobody sent
    )
    unkept = _not_kept_once([e for e in entries if e.by_sync])
    unanswered, reasons = _unanswered(ledger)
    for words, found in (
        ("acknowledged and lost", [f"{e.kind} {e.key}" for e in lost]),
        ("stored otherwise than sent", [f"{e.kind} {e.key}" for e in wrong]),
        ("taken by sync, and not kept there once", unkept),
        ("submitted and without an answer", unanswered),
    ):
        off += [f"{words}: {one}" for one in found[:MOST_NAMED]]
    if doubled:
        off.append(f"{doubled} entries are stored more than once")
    if not ledger.submitted:
        off.append("no survey was handed in: nothing was tried")
    counts = {
        "requests": ledger.requests,
        "retries": ledger.retries,
        "replies that a phone lost": ledger.replies_dropped,
        "longest wait for an answer [s]": round(ledger.longest_wait_s, 1),
        "entries acknowledged": sum(e.acknowledged for e in entries),
        "entries stored": sum(map(len, stored.values())),
        "entries not acknowledged": sum(not e.acknowledged for e in entries),
        "entries doubled": doubled,
        "entries lost": len(lost),
        "entries stored otherwise": len(wrong),
        "surveys handed in": len(ledger.submitted),
        "surveys answered": len(ledger.submitted) - len(unanswered),
        "calculations done": Calculation.objects.filter(state=State.DONE).count(),
        "calculations run more than once": Calculation.objects.filter(attempt__gt=1).count(),
        **{f"calculations ended: {code}": count for code, count in sorted(reasons.items())},
    }
    return {"counts": counts, "off": off}


def _wrong_settings() -> list[str]:
    """Tell when the database was not told to wait for the disk: then nothing was tried."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_setting('fsync'), current_setting('synchronous_commit')")
        found = cursor.fetchone()
    return [] if found == ("on", "on") else [f"fsync and synchronous_commit are {found}"]


def _is_as_sent(entry: Entry, row: Any) -> bool:
    said = {name: value for name, value in entry.body.items() if name not in ("value", "started_at")}
    column = {field.name: field.attname for field in row._meta.concrete_fields}
    same = all(str(getattr(row, column[name])) == str(value) for name, value in said.items())
    if entry.kind == "reading":
        typed = entry.body["value"]
        as_typed = (row.typed, row.value_in) == (typed, parse_length(typed, unit="in"))
        same = same and as_typed and row.sequence == entry.sequence
    return same


def _doubled() -> int:
    """Count what one phone noted under one of its numbers and is there twice."""
    again = [
        model._default_manager.values("device", "sequence").annotate(count=Count("pk")).filter(count__gt=1)
        for model in (Reading, Finding, HeadCount, VisitReport)
    ]
    return sum(row["count"] - 1 for rows in again for row in rows)


def _not_kept_once(entries: list[Entry]) -> list[str]:
    taken = SyncEntry.objects.filter(state=SyncEntry.State.TAKEN).values_list("entry", flat=True)
    times = Counter(map(str, taken))
    return [f"{e.kind} {e.key}" for e in entries if times[e.key] != 1]


def _unanswered(ledger: Ledger) -> tuple[list[str], Counter[str]]:
    """Return the handed-in surveys that lack an answer, and how often a stored reason stands for one."""
    answers: dict[str, dict[str, Answer]] = {}
    for answer in Answer.objects.select_related("calculation", "survey").defer("calculation__input"):
        if answer.revision == answer.survey.revision:
            answers.setdefault(str(answer.survey_id), {})[answer.kind] = answer
    submitted = {str(key) for key in Survey.objects.filter(state="submitted").values_list("pk", flat=True)}
    missing = [key for key in ledger.submitted if key not in submitted or not _is_answered(answers.get(key, {}))]
    ended = [row.error or {} for row in Calculation.objects.filter(state__in=BAD)]
    return missing, Counter(str(error.get("code")) for error in ended)


def _is_answered(found: dict[str, Answer]) -> bool:
    """Tell whether each kind is done, or ended with a reason, or hangs on one that did."""
    for kind in FOLLOW:
        if kind not in found:
            return any(found[before].calculation.state in BAD for before in ("levels", "lift") if before in found)
        calculation = found[kind].calculation
        if calculation.state != State.DONE and not (calculation.state in BAD and calculation.error):
            return False
    plans = Plan.objects.filter(lift=found["lift"].calculation).prefetch_related("checks__calculation")
    checks = [check.calculation for plan in plans for check in plan.checks.all()]
    moving = [option for option in (found["lift"].calculation.result or {}).get("options", []) if option["moves"]]
    return len(plans) == len(moving) and all(check.state in (State.DONE, *BAD) for check in checks)
