"""Entries as they come in over the wire: from JSON to entries of which each is readable or says why it is not."""

import datetime
import hashlib
import uuid
from dataclasses import dataclass, field
from typing import Annotated, Any, Literal, get_args

import msgspec
from django.utils import translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from msgspec import Meta

from jobs.errors import DomainError
from surveys.ingest import NOT_READABLE

MOST_ENTRIES = 2000
Kind = Literal[
    "survey",
    "setup",
    "reading",
    "submit",
    "finding",
    "strap",
    "pass",
    "time",
    "hazard",
    "caution",
    "head_count",
    "visit_report",
    "handover",
    "takeover",
    "closing",
]
KINDS: tuple[str, ...] = get_args(Kind)

_LINE = "^[^\x00-\x1f\x7f]*$"
_Time = Annotated[datetime.datetime, Meta(tz=True)]
_NUL, _NUL_ESCAPED, _NUL_SHOWN = "\x00", b"\\u0000", "\u2400"  # the database keeps no NUL in a text


class _EntryIn(msgspec.Struct, forbid_unknown_fields=True, gc=False):
    """One entry as a phone sends it."""

    id: uuid.UUID
    kind: Kind
    sequence: Annotated[int, Meta(ge=0, le=2_147_483_647)]
    noted_at: _Time
    body: dict[str, Any]
    author: uuid.UUID | None = None
    mends: uuid.UUID | None = None


class _ParcelIn(msgspec.Struct, forbid_unknown_fields=True):
    """What comes in one request."""

    device: Annotated[str, Meta(min_length=1, max_length=80, pattern=_LINE)]
    entries: list[Any]
    device_time: _Time | None = None


_ALLOWED = {
    "id": gettext_lazy("Give the entry's own UUID."),
    "kind": gettext_lazy("Give one of: {kinds}."),
    "sequence": gettext_lazy("Give the device's own count: a whole number from 0 to 2147483647."),
    "noted_at": gettext_lazy("Give the time on the device with its zone, such as 2026-03-03T12:00:00Z."),
    "body": gettext_lazy("Give an object with the entry's fields."),
    "author": gettext_lazy("Give the UUID of a person of the company."),
    "mends": gettext_lazy("Give the UUID of an entry that was set aside."),
    "device": gettext_lazy("Name the device in 1 to 80 characters, on one line."),
    "device_time": gettext_lazy("Give the time on the device with its zone, such as 2026-03-03T12:00:00Z."),
    "entries": gettext_lazy("Give a list of entries."),
}
_ENTRY_FIELDS = {known.name: known for known in msgspec.structs.fields(_EntryIn)}
_PARCEL_FIELDS = {known.name: known for known in msgspec.structs.fields(_ParcelIn)}
_sorted = msgspec.json.Encoder(order="sorted")


@dataclass(slots=True, kw_only=True)
class Entry:
    """One entry: who noted it and when, and what it says; ``problem`` when it can't be read."""

    told_id: Any  # as it was sent, for the answer
    key: uuid.UUID
    kind: str
    body: Any
    author_id: uuid.UUID
    sequence: int = 0
    noted_at: datetime.datetime | None = None
    mends: uuid.UUID | None = None
    digest: bytes = b""
    problem: DomainError | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Parcel:
    """The entries of one request, in order, and how far the device's clock is off."""

    device: str
    received_at: datetime.datetime
    clock_offset: datetime.timedelta | None
    entries: list[Entry] = field(default_factory=list)

    def right(self, time: datetime.datetime) -> datetime.datetime:
        """Put a time by the device's clock right."""
        try:
            return time - (self.clock_offset or datetime.timedelta())
        except OverflowError:
            return time


def decode(body: bytes, *, sender_id: uuid.UUID, received_at: datetime.datetime) -> Parcel:
    """Return the entries in a request's body.

    Raises
    ------
    DomainError
        When the body as a whole is not what it should be; nothing of it is kept then.
    """
    try:
        document = msgspec.json.decode(body)
        if _NUL_ESCAPED in body:  # the one way that JSON has to say it
            document = _storable(document)
    except NOT_READABLE as error:
        raise DomainError("parse_error", _("The request is not JSON: {error}").format(error=error)) from None
    try:
        parcel = msgspec.convert(document, _ParcelIn)
    except msgspec.ValidationError:
        raise _refused(_problems(document, _PARCEL_FIELDS)) from None
    if len(parcel.entries) > MOST_ENTRIES:
        message = _("Send at most {most} entries at once; this is {count}.").format(
            most=f"{MOST_ENTRIES:,}", count=f"{len(parcel.entries):,}"
        )
        raise DomainError("too_many", message, fields={"entries": message}, status=413)
    return Parcel(
        device=parcel.device,
        received_at=received_at,
        clock_offset=parcel.device_time - received_at if parcel.device_time else None,
        entries=[_entry(raw, sender_id) for raw in parcel.entries],
    )


def _refused(problems: dict[str, str]) -> DomainError:
    return DomainError("invalid", _("Some fields need another look; nothing was taken."), fields=problems)


def _problems(document: object, fields: dict[str, Any]) -> dict[str, str]:
    """Go through what was refused slowly, for the sake of whoever has to correct it."""
    if not isinstance(document, dict):
        return {"body": _("Give an object.")}
    problems = {name: _("There is no such field.") for name in document if name not in fields}
    for name, known in fields.items():
        if name not in document:
            if known.required:
                problems[name] = _("This field is required.")
            continue
        try:
            msgspec.convert(document[name], known.type)
        except msgspec.ValidationError:
            problems[name] = str(_ALLOWED[name]).format(kinds=", ".join(KINDS))
    return problems


def _entry(raw: Any, sender_id: uuid.UUID) -> Entry:
    try:
        sent = msgspec.convert(raw, _EntryIn)
        noted_at = sent.noted_at.astimezone(datetime.UTC)
    except (msgspec.ValidationError, OverflowError):
        return _unreadable(raw, sender_id)
    author_id = sent.author or sender_id
    content = (sent.kind, author_id, sent.sequence, noted_at, sent.mends, sent.body)
    return Entry(
        told_id=raw["id"],
        key=sent.id,
        kind=sent.kind,
        body=sent.body,
        author_id=author_id,
        sequence=sent.sequence,
        noted_at=noted_at,
        mends=sent.mends,
        digest=_hash(content),
    )


def _unreadable(raw: Any, sender_id: uuid.UUID) -> Entry:
    """Keep what can't be read too, whole; without a key of its own, under one made from what it says."""
    digest = _hash(raw)
    told_id = raw.get("id") if isinstance(raw, dict) else None
    try:
        key = msgspec.convert(told_id, uuid.UUID)
    except msgspec.ValidationError:
        key = uuid.uuid5(sender_id, digest.hex())
    with translation.override("en"):  # it is kept, for readers of any language
        # What is left without a problem is a time at the end of time, in a zone that leads beyond it.
        problems = _problems(raw, _ENTRY_FIELDS) or {"noted_at": str(_ALLOWED["noted_at"])}
        problem = DomainError("invalid", _("This entry can't be read."), fields=problems)
    return Entry(
        told_id=told_id,
        key=key,
        kind="",
        body=raw if isinstance(raw, dict) else [raw],
        author_id=sender_id,
        digest=digest,
        problem=problem,
    )


def _hash(content: object) -> bytes:
    return hashlib.sha256(_sorted.encode(content)).digest()


def _storable(content: Any) -> Any:
    """Return what was sent as the database can keep it: a NUL in a text shows as its sign."""
    if isinstance(content, str):
        return content.replace(_NUL, _NUL_SHOWN)
    if isinstance(content, list):
        return [_storable(item) for item in content]
    if isinstance(content, dict):
        return {_storable(name): _storable(item) for name, item in content.items()}
    return content
