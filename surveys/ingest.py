"""Readings as they come in over the wire: from JSON to checked rows, with everything that is wrong told at once."""

import datetime
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import lru_cache
from typing import Annotated, Any, Literal
from uuid import UUID

import msgspec
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from msgspec import Meta

from calcs.engine.errors import InvalidInput
from calcs.engine.units import LengthUnit, parse_length
from jobs.errors import DomainError
from jobs.spoken import retold

MOST_READINGS = 2000
LONGEST_TYPED_CHARS = 40
MOST_IN = 1200  # no level line is 100 ft away from a home: a slip of the keys (common practice, no source)
_TEXT = "^[^\x00-\x1f\x7f]*$"

Length = str | float | int | None
Problems = dict[str, str]  # what is wrong, by field path such as readings[3].value


class ReadingIn(msgspec.Struct, forbid_unknown_fields=True, gc=False):
    """One reading as a client sends it."""

    id: UUID
    setup: UUID
    point: UUID
    shot: Literal["point", "reference", "closing"] = "point"
    round: Annotated[int, Meta(ge=1, le=9)] = 1
    value: Length = None
    reference_value: Length = None
    taken_at: Annotated[datetime.datetime, Meta(tz=True)] | None = None
    sequence: Annotated[int, Meta(ge=0, le=2_147_483_647)] = 0
    device: Annotated[str, Meta(max_length=80, pattern=_TEXT)] = ""
    replaces: UUID | None = None
    settles: UUID | None = None
    reason: Annotated[str, Meta(max_length=200, pattern=_TEXT)] = ""


class _Body(msgspec.Struct, forbid_unknown_fields=True):
    readings: list[ReadingIn]


@dataclass(frozen=True, slots=True)
class Batch:
    """The readings of one request by their place in it; those that can't be read are left out, and said why."""

    readings: dict[int, ReadingIn]
    problems: Problems = field(default_factory=dict)


class Row(msgspec.Struct, gc=False):
    """A reading ready to be stored: lengths in inches beside what was typed, and the hash of its content."""

    sent: ReadingIn
    typed: str
    value_in: Decimal | None
    reference_typed: str
    reference_value_in: Decimal
    digest: str
    is_contested: bool = False


NOT_READABLE = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)

_body_decoder = msgspec.json.Decoder(_Body)
_encoder = msgspec.json.Encoder()

_ALLOWED: dict[str, Promise] = {
    "id": gettext_lazy("Give the reading's own UUID."),
    "setup": gettext_lazy("Give the UUID of a setup of this survey."),
    "point": gettext_lazy("Give the UUID of a point of this home."),
    "shot": gettext_lazy("Give point, reference or closing."),
    "round": gettext_lazy("Give a round from 1 to 9."),
    "value": gettext_lazy("Give a number, or a length as text such as 3 5/8."),
    "reference_value": gettext_lazy("Give a number, or a length as text such as 3 5/8."),
    "taken_at": gettext_lazy("Give a time with its zone, such as 2026-03-03T12:00:00Z."),
    "sequence": gettext_lazy("Give the device's own count: a whole number from 0 to 2147483647."),
    "device": gettext_lazy("Give a text of at most 80 characters, on one line."),
    "replaces": gettext_lazy("Give the UUID of the reading that this one corrects."),
    "settles": gettext_lazy("Give the UUID of the contested correction that this one settles."),
    "reason": gettext_lazy("Give a text of at most 200 characters, on one line."),
}
_FIELDS = {known.name: known for known in msgspec.structs.fields(ReadingIn)}


def decode(body: bytes) -> Batch:
    """Return the readings in a request's body, with what is wrong in each field of each row.

    Raises
    ------
    DomainError
        When the body as a whole is not what it should be.
    """
    try:
        readings = _body_decoder.decode(body).readings
    except NOT_READABLE:
        return _decode_field_by_field(body)
    _check_count(readings)
    return Batch(dict(enumerate(readings)))


def _check_count(readings: list[Any]) -> None:
    if not readings:
        raise _refused({"readings": _("Give 1 to {most} readings.").format(most=f"{MOST_READINGS:,}")})
    if len(readings) > MOST_READINGS:
        message = _("Send at most {most} readings at once; this is {count}.").format(
            most=f"{MOST_READINGS:,}", count=f"{len(readings):,}"
        )
        raise DomainError("too_many", message, fields={"readings": message}, status=413)


def _refused(problems: Problems) -> DomainError:
    return DomainError("invalid", _("Some fields need another look; nothing was stored."), fields=problems)


def refuse(problems: Problems) -> None:
    """Raise what is wrong, when anything is."""
    if problems:
        raise _refused(problems)


def _decode_field_by_field(body: bytes) -> Batch:
    """Go through a refused body slowly, for the sake of whoever has to correct it."""
    try:
        document = msgspec.json.decode(body)
    except NOT_READABLE as error:
        raise DomainError("parse_error", _("The request is not JSON: {error}").format(error=error)) from None
    rows = document.get("readings") if isinstance(document, dict) else None
    if not isinstance(rows, list):
        raise _refused({"readings": _("Give an object with a list of readings.")})
    _check_count(rows)
    batch = Batch({}, {name: _("There is no such field.") for name in document if name != "readings"})
    for index, row in enumerate(rows):
        if found := problems_of_row(f"readings[{index}]", row):
            batch.problems.update(found)
        else:
            batch.readings[index] = msgspec.convert(row, ReadingIn)
    return batch


def problems_of_row(path: str, row: object) -> Problems:
    """Return what is wrong with each field of a reading that can't be read, by its path under ``path``."""
    if not isinstance(row, dict):
        return {path: _("Give an object for each reading.")}
    problems = {f"{path}.{name}": _("There is no such field.") for name in row if name not in _FIELDS}
    for name, known in _FIELDS.items():
        if name not in row:
            if known.required:
                problems[f"{path}.{name}"] = _("This field is required.")
            continue
        try:
            msgspec.convert(row[name], known.type)
        except msgspec.ValidationError:
            problems[f"{path}.{name}"] = str(_ALLOWED[name])
    return problems


# -- from what was sent to what is stored ---------------------------------------------------------------------


def rows_of(batch: Batch, *, survey_id: UUID, unit: LengthUnit) -> dict[int, Row]:
    """Return one row a reading, by its first place in the request; what is wrong is added to the batch's problems."""
    rows: dict[int, Row] = {}
    first_of: dict[UUID, Row] = {}
    survey = str(survey_id)
    for index, sent in batch.readings.items():
        path = f"readings[{index}]"
        row = _row_of(sent, path, survey, unit, batch.problems)
        first = first_of.setdefault(sent.id, row)
        if first is row:
            rows[index] = row
        elif first.digest != row.digest:
            batch.problems[f"{path}.id"] = _("Another reading in this request has the same UUID and other content.")
    return rows


def _row_of(sent: ReadingIn, path: str, survey: str, unit: LengthUnit, problems: Problems) -> Row:
    typed = _as_typed(sent.value)
    reference_typed = _as_typed(sent.reference_value)
    value_in = _inches(typed, unit, f"{path}.value", problems) if typed else None
    reference_value_in = _inches(reference_typed, unit, f"{path}.reference_value", problems)
    if sent.replaces is None:
        if not typed:
            problems[f"{path}.value"] = _("Give a value; only a correction may be empty, and withdraws.")
        if sent.settles is not None:
            problems[f"{path}.replaces"] = _("To settle, name the reading that holds now as the one replaced.")
    elif not sent.reason.strip():
        problems[f"{path}.reason"] = _("Say why the reading is corrected.")
    return Row(
        sent=sent,
        typed=typed,
        value_in=value_in,
        reference_typed=reference_typed,
        reference_value_in=reference_value_in or Decimal(0),
        digest=_digest(sent, typed, reference_typed, survey),
    )


def _as_typed(length: Length) -> str:
    """What was typed, kept; a number becomes the text that says the same."""
    if isinstance(length, str):
        return length.strip()
    if length is None:
        return ""
    return f"{round(Decimal(repr(length)), 9).normalize():f}" if abs(length) < 1e9 else repr(length)


def _inches(typed: str, unit: LengthUnit, path: str, problems: Problems) -> Decimal | None:
    if not typed:
        return None
    if len(typed) > LONGEST_TYPED_CHARS:
        problems[path] = _("Give a length of at most {count} characters.").format(count=LONGEST_TYPED_CHARS)
        return None
    value = _parsed(typed, unit)
    if isinstance(value, str):
        problems[path] = retold(value)
        return None
    if abs(value) > MOST_IN:
        problems[path] = _("Give a reading of at most 100 ft, up or down.")
        return None
    return value


@lru_cache(maxsize=4096)
def _parsed(typed: str, unit: LengthUnit) -> Decimal | str:
    """A length [in], or the English sentence that says why it is none; crews read the same few hundred lengths."""
    try:
        return parse_length(typed, unit=unit)
    except InvalidInput as error:
        return error.message


def _digest(sent: ReadingIn, typed: str, reference_typed: str, survey: str) -> str:
    """Hash what a reading says and where it belongs, so that a repeat is told from a clash."""
    taken_at = sent.taken_at and sent.taken_at.astimezone(datetime.UTC)
    content = (
        survey,
        sent.setup,
        sent.point,
        sent.shot,
        sent.round,
        typed,
        reference_typed,
        taken_at,
        sent.sequence,
        sent.device,
        sent.replaces,
        sent.settles,
        sent.reason,
    )
    return hashlib.sha256(_encoder.encode(content)).hexdigest()


def as_json(rows: Sequence[Row]) -> str:
    """Return rows as a JSON list of flat objects, named as the columns that take them."""
    flat = [
        {
            "id": row.sent.id,
            "setup": row.sent.setup,
            "point": row.sent.point,
            "shot": row.sent.shot,
            "round": row.sent.round,
            "value_in": row.value_in,
            "typed": row.typed,
            "reference_value_in": row.reference_value_in,
            "reference_typed": row.reference_typed,
            "taken_at": row.sent.taken_at,
            "sequence": row.sent.sequence,
            "device": row.sent.device,
            "replaces": row.sent.replaces,
            "settles": row.sent.settles,
            "is_contested": row.is_contested,
            "reason": row.sent.reason,
            "digest": row.digest,
        }
        for row in rows
    ]
    return _encoder.encode(flat).decode()
