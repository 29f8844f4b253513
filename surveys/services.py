"""Taking readings in, and handing surveys in."""

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection, transaction
from django.db.models import F
from django.utils import timezone

from jobs.errors import DomainError
from jobs.models import Point
from surveys.corrections import Chains, Stored
from surveys.ingest import Batch, Problems, Row, as_json, refuse, rows_of
from surveys.models import Reading, Setup, Survey
from surveys.signals import survey_submitted


@dataclass(frozen=True, slots=True, kw_only=True)
class Received:
    """What became of a batch of readings: how many are new, which corrections are contested."""

    received: int
    repeated: int
    contested: list[UUID]
    revision: int


# The row lock lets one batch at a time into a survey, so that of two corrections one comes first; and it makes a
# submit wait for the batch, so that no reading slips in between the two unseen.
_SURVEY = """
SELECT unit, state, revision,
  ARRAY(SELECT id FROM surveys_setup WHERE survey_id = survey.id),
  ARRAY(SELECT id FROM jobs_point WHERE siting_id = survey.siting_id)
FROM surveys_survey survey WHERE id = %s FOR NO KEY UPDATE
"""
# One JSON text for the batch: quoting seventeen arrays costs the client more than parsing this costs the server.
_INSERT = """
INSERT INTO surveys_reading (id, survey_id, setup_id, point_id, shot, round, value_in, typed, unit,
  reference_value_in, reference_typed, taken_at, sequence, device, author_id, received_at, replaces_id, settles_id,
  is_contested, reason, digest)
SELECT id, %s, setup, point, shot, round, value_in, typed, %s,
  reference_value_in, reference_typed, taken_at, sequence, device, %s, now(), replaces, settles,
  is_contested, reason, decode(digest, 'hex')
FROM json_to_recordset(%s) AS sent (id uuid, setup uuid, point uuid, shot text, round int, value_in numeric,
  typed text, reference_value_in numeric, reference_typed text, taken_at timestamptz, sequence int, device text,
  replaces uuid, settles uuid, is_contested bool, reason text, digest text)
ON CONFLICT (id) DO NOTHING RETURNING id
"""
_STORED = "SELECT id, digest, is_contested FROM surveys_reading WHERE id = ANY(%s)"
_CHAINS = """
SELECT id, survey_id, replaces_id, settles_id, is_contested FROM surveys_reading
WHERE (survey_id = %s AND replaces_id IS NOT NULL) OR id = ANY(%s)
"""
_RAISE = "UPDATE surveys_survey SET revision = revision + 1 WHERE id = %s RETURNING revision"


def add_readings(*, survey_id: UUID, author_id: UUID, batch: Batch) -> Received:
    """Store a batch of readings, all or nothing; what is stored already and says the same is counted as repeated.

    Raises
    ------
    DomainError
        404 without such a survey; 400 naming every field that is wrong; 409 naming every reading whose UUID is
        stored with other content.
    """
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(_SURVEY, [survey_id])
        survey = cursor.fetchone()
        if survey is None:
            raise DomainError("not_found", "There is no such survey.", status=404)
        unit, state, revision, setups, points = survey
        rows = rows_of(batch, survey_id=survey_id, unit=unit)
        _check_places(batch, set(setups), set(points))
        if any(row.sent.replaces is not None for row in rows.values()):
            _correct(cursor, survey_id, rows, batch.problems)
        refuse(batch.problems)
        inserted = _insert(cursor, survey_id, unit, author_id, list(rows.values()))
        contested = {row.sent.id for row in rows.values() if row.is_contested}
        if len(inserted) < len(rows):
            contested = _compare(cursor, rows, inserted) | (contested & inserted)
        if inserted and state == Survey.State.SUBMITTED:
            cursor.execute(_RAISE, [survey_id])
            revision = cursor.fetchone()[0]
            _tell_on_commit(survey_id)
    return Received(
        received=len(inserted),
        repeated=len(batch.readings) - len(inserted),
        contested=[row.sent.id for row in rows.values() if row.sent.id in contested],
        revision=revision,
    )


def _check_places(batch: Batch, setups: set[UUID], points: set[UUID]) -> None:
    """Check that each setup is this survey's and each point this home's; archived points were there once."""
    strange_setups = {sent.setup for sent in batch.readings.values()} - setups
    strange_points = {sent.point for sent in batch.readings.values()} - points
    if not (strange_setups or strange_points):
        return
    other_setups = set(Setup.objects.filter(pk__in=strange_setups).values_list("pk", flat=True))
    other_points = set(Point.objects.filter(pk__in=strange_points).values_list("pk", flat=True))
    for index, sent in batch.readings.items():
        if sent.setup in strange_setups:
            elsewhere = sent.setup in other_setups
            batch.problems[f"readings[{index}].setup"] = (
                "This setup belongs to another survey." if elsewhere else "There is no such setup."
            )
        if sent.point in strange_points:
            elsewhere = sent.point in other_points
            batch.problems[f"readings[{index}].point"] = (
                "This point lies under another siting." if elsewhere else "There is no such point."
            )


def _correct(cursor: Any, survey_id: UUID, rows: Mapping[int, Row], problems: Problems) -> None:
    """Decide which corrections hold; rows that are stored already stay as they were decided."""
    sent = [row.sent for row in rows.values()]
    wanted = {key for one in sent for key in (one.id, one.replaces, one.settles) if key is not None}
    cursor.execute(_CHAINS, [survey_id, list(wanted)])
    stored = {
        key: Stored(survey_id=of, replaces=replaces, settles=settles, is_contested=contested)
        for key, of, replaces, settles, contested in cursor.fetchall()
    }
    new = ((f"readings[{index}]", row) for index, row in rows.items() if row.sent.id not in stored)
    Chains(stored, survey_id=survey_id).add(new, problems)


def _insert(cursor: Any, survey_id: UUID, unit: str, author_id: UUID, rows: Sequence[Row]) -> set[UUID]:
    cursor.execute(_INSERT, [survey_id, unit, author_id, as_json(rows)])
    return {key for (key,) in cursor.fetchall()}


def _compare(cursor: Any, rows: Mapping[int, Row], inserted: set[UUID]) -> set[UUID]:
    """Refuse rows that are stored with other content; return those of the others that are stored as contested."""
    left_out = {index: row for index, row in rows.items() if row.sent.id not in inserted}
    cursor.execute(_STORED, [[row.sent.id for row in left_out.values()]])
    stored = {key: (bytes(digest).hex(), contested) for key, digest, contested in cursor.fetchall()}
    clashing = [index for index, row in left_out.items() if stored[row.sent.id][0] != row.digest]
    if clashing:
        sentence = "This UUID is stored with other content: send a correction under a new one."
        raise DomainError(
            "conflict",
            "Some readings are stored already with other content; nothing was stored.",
            fields={f"readings[{index}].id": sentence for index in clashing},
            status=409,
        )
    return {key for key, (_, contested) in stored.items() if contested}


# -- handing in ----------------------------------------------------------------------------------------------


@transaction.atomic
def submit_survey(*, survey: Survey) -> Survey:
    """Hand a survey in; a second time changes nothing. Not a lock: what comes later raises the revision."""
    now = timezone.now()
    is_first = Survey.objects.filter(pk=survey.pk, state=Survey.State.OPEN).update(
        state=Survey.State.SUBMITTED, submitted_at=now, revision=1
    )
    if is_first:
        if not Reading.objects.standing().filter(survey=survey).exists():
            raise DomainError(
                "no_readings",
                "This survey has no readings yet: read at least one point before handing it in.",
                fields={"readings": "Send readings first."},
            )
        _tell_on_commit(survey.pk)
    survey.refresh_from_db()
    return survey


@transaction.atomic
def note_change(*, survey_id: UUID) -> None:
    """Raise the revision of a submitted survey whose setups or own figures have changed."""
    submitted = Survey.objects.filter(pk=survey_id, state=Survey.State.SUBMITTED)
    if submitted.update(revision=F("revision") + 1):
        _tell_on_commit(survey_id)


def _tell_on_commit(survey_id: UUID) -> None:
    """Tell others once it is stored; whatever they do with it, a dead broker included, can't fail the request."""
    send = functools.partial(survey_submitted.send_robust, sender=Survey, survey_id=survey_id)
    transaction.on_commit(send, robust=True)
