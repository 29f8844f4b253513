"""What is known of a request's entries, and keeping what became of them."""

import uuid
from dataclasses import dataclass, field
from typing import Any, Self

import msgspec
from django.db import connection
from django.utils import timezone

from calcs.api.sync.wire import Entry, Parcel
from jobs.models import User
from jobs.models.base import new_key
from jobs.prepared import prepared_cursor
from surveys.models import SyncEntry
from surveys.set_aside import Reason

State = SyncEntry.State
_json = msgspec.json.Encoder()

# A phone that lost patience sends again while its first request is still at work: the second one waits.
_FIND = """
SELECT pg_advisory_xact_lock(hashtextextended(%s, 0));
SELECT id, entry, digest, state, reason FROM surveys_syncentry WHERE entry = ANY(%s) FOR UPDATE
"""
_INSERT = """
INSERT INTO surveys_syncentry (id, entry, kind, body, digest, author_id, sent_by_id, device, sequence, noted_at,
  clock_offset_s, received_at, state, taken_at, reason)
SELECT id, entry, kind, body, decode(digest, 'hex'), author, %s, %s, sequence, noted_at,
  %s, %s, state, taken_at, reason
FROM json_to_recordset(%s) AS new (id uuid, entry uuid, kind text, body jsonb, digest text, author uuid, sequence int,
  noted_at timestamptz, state text, taken_at timestamptz, reason jsonb)
ORDER BY entry
"""


@dataclass(slots=True, kw_only=True)
class Row:
    """One content of an entry, as it is stored or will be."""

    key: uuid.UUID
    state: str
    reason: Reason | None
    new: Entry | None = None  # None: it is stored already
    is_changed: bool = False


@dataclass(slots=True)
class Known:
    """The entries of a request as they are stored, and what is added to them."""

    parcel: Parcel
    sender: User
    contents: dict[uuid.UUID, dict[bytes, Row]] = field(default_factory=dict)
    mended: dict[uuid.UUID, uuid.UUID] = field(default_factory=dict)  # whose entry it stands in for -> whose it is

    @classmethod
    def of(cls, parcel: Parcel, *, sender: User) -> Self:
        """Read what is stored under the keys of these entries."""
        known = cls(parcel, sender)
        with connection.cursor() as cursor:
            cursor.execute(_FIND, [f"sync {sender.pk}", [entry.key for entry in parcel.entries]])
            cursor.nextset()
            for key, entry, digest, state, reason in cursor.fetchall():
                row = Row(key=key, state=state, reason=_decoded(reason))
                known.contents.setdefault(entry, {})[bytes(digest)] = row
        return known

    def state_of(self, entry: Entry) -> str | None:
        """Return what became of this content; None when it is new."""
        row = self.contents.get(entry.key, {}).get(entry.digest)
        return row.state if row else None

    def is_taken(self, key: uuid.UUID) -> bool:
        """Tell whether some content of an entry was taken."""
        return any(row.state == State.TAKEN for row in self.contents.get(key, {}).values())

    def waits(self, entry: Entry) -> bool:
        """Tell whether an entry names one of this request that was set aside."""
        if not isinstance(entry.body, dict):
            return False
        return any(self._is_set_aside(value) for value in entry.body.values() if isinstance(value, str))

    def _is_set_aside(self, value: str) -> bool:
        try:
            rows = self.contents.get(uuid.UUID(value), {}).values()
        except ValueError:
            return False
        return bool(rows) and not any(row.state == State.TAKEN for row in rows)

    def note_taken(self, entry: Entry) -> None:
        """Note that this content was taken, and with it what it mends."""
        others = self.contents.setdefault(entry.key, {})
        for row in others.values():
            if row.state in SyncEntry.OPEN:
                row.state, row.is_changed = State.MENDED, True
        self._note(others, entry, State.TAKEN, None)
        if entry.mends is not None:
            self.mended[entry.mends] = entry.author_id

    def note_set_aside(self, entry: Entry, reason: Reason) -> None:
        """Note that this content was set aside, again or for the first time."""
        self._note(self.contents.setdefault(entry.key, {}), entry, State.SET_ASIDE, reason)

    def _note(self, rows: dict[bytes, Row], entry: Entry, state: str, reason: Reason | None) -> None:
        row = rows.get(entry.digest)
        if row is None:
            rows[entry.digest] = Row(key=new_key(), state=state, reason=reason, new=entry)
            return
        if row.state == State.LEFT_OUT and state == State.SET_ASIDE:
            return  # somebody saw it and decided; it comes back to nobody's list
        row.is_changed |= row.state != state or (reason is not None and reason != row.reason)
        row.state, row.reason = state, reason or row.reason

    # -- writing -------------------------------------------------------------------------------------------------

    def write(self) -> None:
        """Keep everything that is new, and what became of the rest."""
        rows = [row for contents in self.contents.values() for row in contents.values()]
        now = timezone.now()
        for row in rows:
            if row.new is None and row.is_changed:
                taken_at = now if row.state == State.TAKEN else None
                SyncEntry.objects.filter(pk=row.key).update(state=row.state, reason=row.reason, taken_at=taken_at)
        new = [_flat(row, row.new, now) for row in rows if row.new is not None]
        if new:
            offset = self.parcel.clock_offset
            offset_s = None if offset is None else offset.total_seconds()
            common: list[Any] = [self.sender.pk, self.parcel.device, offset_s, self.parcel.received_at]
            with prepared_cursor() as cursor:
                cursor.execute(_INSERT, [*common, _json.encode(new).decode()])
        for entry, author_id in self.mended.items():
            aside = SyncEntry.objects.filter(
                entry=entry, state__in=SyncEntry.OPEN, author__in=[author_id, self.sender.pk]
            )
            aside.update(state=State.MENDED)


def _flat(row: Row, entry: Entry, now: Any) -> dict[str, Any]:
    return {
        "id": row.key,
        "entry": entry.key,
        "kind": entry.kind,
        "body": entry.body,
        "digest": entry.digest.hex(),
        "author": entry.author_id,
        "sequence": entry.sequence,
        "noted_at": entry.noted_at,
        "state": row.state,
        "taken_at": now if row.state == State.TAKEN else None,
        "reason": row.reason,
    }


def _decoded(reason: Any) -> Reason | None:
    decoded: Reason | None = msgspec.json.decode(reason) if isinstance(reason, str | bytes) else reason
    return decoded
