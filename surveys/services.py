"""Taking readings in, and handing surveys in."""

import contextlib
import datetime
import functools
from collections.abc import Mapping
from dataclasses import dataclass, replace
from uuid import UUID

from django.db import IntegrityError, connection, transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from calcs.engine.units import LengthUnit
from jobs.errors import DomainError
from jobs.models import Point, User
from jobs.prepared import prepared_cursor
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What a survey's readings are checked against: its unit, its setups, the home's points, and who visits it."""

    unit: LengthUnit
    setups: set[UUID]
    points: set[UUID]
    visitors: set[UUID]

    def check_visible_to(self, user: User) -> None:
        """Refuse the survey of another crew's home by the same rule as ``visible_to``: it is not there."""
        if not user.sees_all and user.pk not in self.visitors:
            raise DomainError("not_found", _("There is no such survey."), status=404)


PLACE_SQL = """
SELECT unit,
  ARRAY(SELECT id FROM surveys_setup WHERE survey_id = survey.id),
  ARRAY(SELECT id FROM jobs_point WHERE siting_id = survey.siting_id),
  ARRAY(SELECT lead_id FROM jobs_visit WHERE siting_id = survey.siting_id AND state <> 'cancelled'
    UNION SELECT on_crew.user_id FROM jobs_visit visit JOIN jobs_visit_crew on_crew ON on_crew.visit_id = visit.id
    WHERE visit.siting_id = survey.siting_id AND visit.state <> 'cancelled')
FROM surveys_survey survey WHERE id = %s
"""
_PLACE_OF_SETUP = f"""
SELECT setup.survey_id, CASE WHEN setup.has_drift THEN setup.device ELSE '' END, place.*
FROM surveys_setup setup, LATERAL ({PLACE_SQL.replace("%s", "setup.survey_id")}) place
WHERE setup.id = %s
"""  # noqa: S608 - nothing but constants
# One statement, and so all or nothing by itself:
# - The survey's row is locked first. Of two batches one comes first, and a submit waits, so that no reading slips in
#   between the two unseen; a batch that comes after the submit raises the revision.
# - A reading that is stored already with the same content is left alone. With other content the statement tries to
#   change it, which the table's own trigger refuses, and with it everything else in the batch.
# - The batch is one JSON text: quoting seventeen arrays costs the client more than parsing this costs the server.
_INSERT = """
WITH survey AS (SELECT id, unit, state, revision FROM surveys_survey WHERE id = %s FOR NO KEY UPDATE),
stored AS (
  INSERT INTO surveys_reading AS reading (id, survey_id, setup_id, point_id, shot, round, value_in, typed, unit,
    reference_value_in, reference_typed, taken_at, sequence, device, author_id, received_at, replaces_id, settles_id,
    is_contested, reason, digest)
  SELECT sent.id, survey.id, setup, point, shot, round, value_in, typed, survey.unit,
    reference_value_in, reference_typed, taken_at, sequence, device, %s, now(), replaces, settles,
    is_contested, reason, decode(digest, 'hex')
  FROM survey, json_to_recordset(%s) AS sent (id uuid, setup uuid, point uuid, shot text, round int,
    value_in numeric, typed text, reference_value_in numeric, reference_typed text, taken_at timestamptz,
    sequence int, device text, replaces uuid, settles uuid, is_contested bool, reason text, digest text)
  ON CONFLICT (id) DO UPDATE SET digest = excluded.digest WHERE reading.digest <> excluded.digest
  RETURNING 1
),
raised AS (
  UPDATE surveys_survey SET revision = surveys_survey.revision + 1 FROM survey
  WHERE surveys_survey.id = survey.id AND survey.state = 'submitted' AND EXISTS (SELECT FROM stored)
  RETURNING surveys_survey.revision
)
SELECT (SELECT count(*) FROM stored), (SELECT revision FROM raised), revision FROM survey
"""
_LOCK = "SELECT FROM surveys_survey WHERE id = %s FOR NO KEY UPDATE"
_CHAINS = """
SELECT id, survey_id, replaces_id, settles_id, is_contested, author_id FROM surveys_reading
WHERE (survey_id = %s AND replaces_id IS NOT NULL) OR id = ANY(%s)
"""


def place_of(row: tuple[LengthUnit, list[UUID], list[UUID], list[UUID]] | None) -> Place:
    """Return what ``PLACE_SQL`` found, or raise that there is no such survey."""
    if row is None:
        raise DomainError("not_found", _("There is no such survey."), status=404)
    unit, setups, points, visitors = row
    return Place(unit=unit, setups=set(setups), points=set(points), visitors=set(visitors))


def find_place(survey_id: UUID) -> Place:
    """Return what a survey's readings are checked against."""
    with prepared_cursor() as cursor:
        cursor.execute(PLACE_SQL, [survey_id])
        return place_of(cursor.fetchone())


def find_place_of_setup(setup_id: UUID) -> tuple[UUID, str, Place]:
    """Return the survey of a setup, the one device that reads from it, and what its readings are checked against.

    The device is empty where any may read: a line that drifts is followed by when each reading was made, so that all
    of them go by one clock.
    """
    with prepared_cursor() as cursor:
        cursor.execute(_PLACE_OF_SETUP, [setup_id])
        found = cursor.fetchone()
    if found is None:
        raise DomainError("not_found", _("There is no such setup."), status=404)
    return found[0], found[1], place_of(found[2:])


def add_readings(
    *, survey_id: UUID, author_id: UUID, batch: Batch, place: Place | None = None, only_own: bool = False
) -> Received:
    """Store a batch of readings, all or nothing; what is stored already and says the same is counted as repeated.

    ``place`` spares a query where it is known already. With ``only_own`` the author corrects no one else's readings.

    Raises
    ------
    DomainError
        404 without such a survey; 400 naming every field that is wrong; 409 naming every reading whose UUID is
        stored with other content.
    """
    place = place or find_place(survey_id)
    rows = rows_of(batch, survey_id=survey_id, unit=place.unit)
    _check_places(batch, place.setups, place.points)
    if all(row.sent.replaces is None for row in rows.values()):
        refuse(batch.problems)
        return _store(survey_id, author_id, batch, rows)
    with transaction.atomic():  # which correction holds is decided under the survey's lock
        contested = _correct(survey_id, rows, batch.problems, owner=author_id if only_own else None)
        refuse(batch.problems)
        return replace(_store(survey_id, author_id, batch, rows), contested=contested)


def _store(survey_id: UUID, author_id: UUID, batch: Batch, rows: Mapping[int, Row]) -> Received:
    # Outside a transaction the statement is one of its own.
    whole = transaction.atomic() if connection.in_atomic_block else contextlib.nullcontext()
    try:
        with whole, prepared_cursor() as cursor:
            cursor.execute(_INSERT, [survey_id, author_id, as_json(list(rows.values()))])
            stored, raised, revision = cursor.fetchone()
    except IntegrityError:
        _tell_clashes(rows)
        raise
    if raised is not None:
        _tell_on_commit(survey_id)
    repeated = len(batch.readings) - stored
    return Received(received=stored, repeated=repeated, contested=[], revision=raised or revision)


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
                _("This setup belongs to another survey.") if elsewhere else _("There is no such setup.")
            )
        if sent.point in strange_points:
            elsewhere = sent.point in other_points
            batch.problems[f"readings[{index}].point"] = (
                _("This point lies under another siting.") if elsewhere else _("There is no such point.")
            )


def _correct(survey_id: UUID, rows: Mapping[int, Row], problems: Problems, *, owner: UUID | None) -> list[UUID]:
    """Decide which corrections hold, and return those that don't; what is stored already stays as it was decided."""
    sent = [row.sent for row in rows.values()]
    wanted = {key for one in sent for key in (one.id, one.replaces, one.settles) if key is not None}
    with connection.cursor() as cursor:
        cursor.execute(_LOCK, [survey_id])
        cursor.execute(_CHAINS, [survey_id, list(wanted)])
        stored = {
            key: Stored(survey_id=of, replaces=replaces, settles=settles, is_contested=contested, author_id=author)
            for key, of, replaces, settles, contested, author in cursor.fetchall()
        }
    if owner is not None:
        _check_own(rows, stored, owner, problems)
    new = ((f"readings[{index}]", row) for index, row in rows.items() if row.sent.id not in stored)
    chains = Chains(stored, survey_id=survey_id)
    chains.add(new, problems)
    return [one.id for one in sent if one.id in chains.contested]


def _check_own(rows: Mapping[int, Row], stored: Mapping[UUID, Stored], owner: UUID, problems: Problems) -> None:
    """Leave to a crew lead what somebody else read."""
    for index, row in rows.items():
        for field, key in (("replaces", row.sent.replaces), ("settles", row.sent.settles)):
            if key is None or key not in stored or row.sent.id in stored:
                continue
            if stored[key].author_id != owner:
                sentence = _("Only a crew lead corrects what somebody else has read.")
                problems[f"readings[{index}].{field}"] = sentence


def _tell_clashes(rows: Mapping[int, Row]) -> None:
    """Name the rows that are stored with other content, when that is why the database refused the batch."""
    wanted = {row.sent.id: (index, row.digest) for index, row in rows.items()}
    stored = Reading.objects.filter(pk__in=wanted).values_list("pk", "digest")
    clashing = sorted(wanted[key][0] for key, digest in stored if bytes(digest).hex() != wanted[key][1])
    if clashing:
        sentence = _("This UUID is stored with other content: send a correction under a new one.")
        raise DomainError(
            "conflict",
            _("Some readings are stored already with other content; nothing was stored."),
            fields={f"readings[{index}].id": sentence for index in clashing},
            status=409,
        )


# -- handing in ----------------------------------------------------------------------------------------------


@transaction.atomic
def submit_survey(*, survey: Survey, at: datetime.datetime | None = None) -> Survey:
    """Hand a survey in, ``at`` another time than now when it is an old one; a second time changes nothing.

    Not a lock: what comes later raises the revision.
    """
    is_first = Survey.objects.filter(pk=survey.pk, state=Survey.State.OPEN).update(
        state=Survey.State.SUBMITTED, submitted_at=at or timezone.now(), revision=1
    )
    if is_first:
        if not Reading.objects.standing().filter(survey=survey).exists():
            raise DomainError(
                "no_readings",
                _("This survey has no readings yet: read at least one point before handing it in."),
                fields={"readings": _("Send readings first.")},
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
