"""The sync endpoint in the OpenAPI document: it is read by msgspec, not by serializers."""

from typing import Any

from calcs.api.sync.wire import MOST_ENTRIES
from calcs.models import Closing
from jobs.caution_reads import LANGUAGES
from jobs.cautions import Moment
from jobs.inspection import ITEMS
from jobs.models import DoorsWindows, Hazard, VisitReport
from jobs.models.safety import MOST_NAME

_UUID = {"type": "string", "format": "uuid"}
_TIME = {"type": "string", "format": "date-time"}
_LENGTH = {
    "type": ["string", "number", "null"],
    "description": 'a number in the unit, or a length as typed: 3 5/8, 3-5/8", 2\' 3 1/4"',
}
_DECIMAL = {"type": ["string", "number"]}
_DECIMAL_OR_NULL: dict[str, Any] = {"type": ["string", "number", "null"]}
_TEXT = {"type": "string"}


def _or_null(schema: dict[str, Any], about: str = "") -> dict[str, Any]:
    return {**schema, "type": [schema["type"], "null"], **({"description": about} if about else {})}


def _words(*words: str) -> dict[str, Any]:
    return {"type": "string", "enum": list(words)}


def _line(most: int) -> dict[str, Any]:
    return {"type": "string", "maxLength": most}


_GRADE = _words("ok", "note", "fix", "stop")

# kind: (what it is, the fields that its body needs, all fields of its body)
_BODIES: dict[str, tuple[str, list[str], dict[str, Any]]] = {
    "survey": (
        "starts a survey; the entry's id becomes the survey's",
        ["siting", "stage", "method"],
        {
            "siting": _UUID,
            "visit": _or_null(_UUID),
            "stage": _words("as_found", "during", "as_left", "check"),
            "method": _words("water_level", "plain_tube", "hydrostatic", "laser"),
            "unit": _words("in", "mm"),
            "reading_sd_in": _DECIMAL_OR_NULL,
            "started_at": _TIME | {"description": "without it: when the entry was noted"},
            "note": _TEXT,
        },
    ),
    "setup": (
        "starts a setup of the level; the entry's id becomes the setup's",
        ["survey", "code", "sense"],
        {
            "survey": _UUID,
            "code": _line(8),
            "sense": _words("up", "down"),
            "sense_trial": _words("not_made", "grew", "shrank"),
            "reading_sd_in": _DECIMAL_OR_NULL,
            "has_drift": {"type": "boolean"},
            "device": _line(80),
            "note": _TEXT,
        },
    ),
    "reading": (
        "a reading, or with replaces a correction; the entry's id becomes the reading's",
        ["setup", "point"],
        {
            "setup": _UUID,
            "point": _UUID,
            "shot": _words("point", "reference", "closing"),
            "round": {"type": "integer", "minimum": 1, "maximum": 9, "default": 1},
            "value": _LENGTH,
            "reference_value": _LENGTH,
            "replaces": _or_null(_UUID, "the reading that this one corrects"),
            "settles": _or_null(_UUID, "the contested correction that this one settles"),
            "reason": _line(200) | {"description": "why it is corrected"},
        },
    ),
    "submit": ("hands a survey in", ["survey"], {"survey": _UUID}),
    "finding": (
        "what somebody saw, on one thing or on the home as a whole",
        ["siting", "grade"],
        {
            "siting": _UUID,
            "visit": _or_null(_UUID),
            "point": _or_null(_UUID),
            "connection": _or_null(_UUID),
            "strap": _or_null(_UUID),
            "drain_run": _or_null(_UUID),
            "item": _words("", *ITEMS) | {"description": "of the home as a whole"},
            "grade": _GRADE,
            "text": _line(2000),
            "figures": {
                "type": "object",
                "additionalProperties": _line(400),
                "description": "what was measured at a support or a connection, by field, as typed",
            },
        },
    ),
    "strap": (
        "a check of an anchor strap; the newest by noted_at says what the strap is taken to be",
        ["strap", "grade"],
        {
            "strap": _UUID,
            "visit": _or_null(_UUID),
            "grade": _GRADE,
            "slack_in": _DECIMAL,
            "tension_lb": _DECIMAL_OR_NULL | {"description": "as a gauge shows it; none with a pluck"},
            "method": _words("look", "pluck", "gauge") | {"default": "look"},
            "frequency_hz": _DECIMAL_OR_NULL | {"description": "of a pluck: the pitch heard"},
            "mode": {"type": "integer", "minimum": 1, "maximum": 10, "default": 1},
            "free_length_in": _DECIMAL_OR_NULL | {"description": "of a pluck: the length that swings"},
            "text": _line(200),
        },
    ),
    "pass": (
        "one step of a plan's work at one support",
        ["plan", "point", "pass_number"],
        {
            "plan": _UUID,
            "point": _UUID,
            "pass_number": {"type": "integer", "minimum": 1, "maximum": 200},
            "is_done": {"type": "boolean", "default": True},
            "value": _LENGTH,
            "unit": _words("in", "mm"),
            "note": _line(200),
        },
    ),
    "time": (
        "time that somebody worked at a visit",
        ["visit", "started_at", "ended_at"],
        {
            "visit": _UUID,
            "person": _UUID | {"description": "without it: whoever made the entry"},
            "started_at": _TIME,
            "ended_at": _TIME,
            "note": _line(200),
        },
    ),
    "hazard": (
        "something at a home that may hurt somebody; shown at every visit until it is cleared",
        ["home", "kind"],
        {"home": _UUID, "kind": _words(*Hazard.Kind.values), "text": _line(500), "photo": _or_null(_UUID)},
    ),
    "caution": (
        "somebody has read a caution; the same text is kept once for a person and visit",
        ["visit", "code", "moment", "reader_name", "language", "text_sha256"],
        {
            "visit": _UUID,
            "code": _line(20),
            "moment": _words(*Moment.values),
            "reader_name": _line(80),
            "language": _words(*LANGUAGES),
            "text_sha256": _line(64) | {"description": "as it came with the text"},
        },
    ),
    "head_count": (
        "somebody went in under the home, or came out",
        ["visit", "person_name", "is_in"],
        {"visit": _UUID, "person_name": _line(MOST_NAME), "is_in": {"type": "boolean"}},
    ),
    "visit_report": (
        "how the visit stands; sets its state, unless it is over",
        ["visit", "state"],
        {
            "visit": _UUID,
            "state": _words(*VisitReport.State.values),
            "reason": _line(500) | {"description": "why nobody was let in; needed where entry was refused"},
        },
    ),
    "handover": (
        "what a crew that leaves tells the crew that comes",
        ["visit", "are_straps_slack", "are_jacks_in", "is_blocked"],
        {
            "visit": _UUID,
            "are_straps_slack": {"type": "boolean", "description": "some strap is loose"},
            "are_jacks_in": {"type": "boolean", "description": "some jack still stands under the home"},
            "is_blocked": {"type": "boolean", "description": "the home stands on its supports, wedges driven"},
            "text": _TEXT,
        },
    ),
    "takeover": (
        "whoever made the entry has read a handover; the first to do so is kept",
        ["handover"],
        {"handover": _UUID},
    ),
    "closing": (
        "what was checked at the end of approved work; sets only what it names, and closes nothing",
        ["approval"],
        {
            "approval": _UUID,
            "as_left": _or_null(_UUID, "survey as left"),
            "are_wedges_tapped": {"type": "boolean"},
            "doors_windows": _words(*DoorsWindows.values),
            "are_straps_tight": {"type": "boolean"},
            "is_leak_checked": {"type": "boolean"},
            "are_drains_checked": {"type": "boolean"},
            "gas": _words(*Closing.Gas.values),
            "gas_checked_by": _line(120) | {"description": "fitter and licence"},
            "is_everybody_out": {"type": "boolean", "description": "counted out by name"},
            "exceptions": _TEXT,
        },
    ),
}


def _entry(kind: str) -> dict[str, Any]:
    about, required, fields = _BODIES[kind]
    return {
        "title": f"{kind} entry",
        "type": "object",
        "description": about,
        "required": ["id", "kind", "sequence", "noted_at", "body"],
        "additionalProperties": False,
        "properties": {
            "id": _UUID | {"description": "made by the phone"},
            "kind": {"type": "string", "const": kind},
            "sequence": {"type": "integer", "minimum": 0, "maximum": 2_147_483_647},
            "noted_at": _TIME | {"description": "by the device's clock"},
            "author": _or_null(_UUID, "whose entry it is, where that is not who sends it"),
            "mends": _or_null(_UUID, "the entry under another id that this one stands in for, once it is taken"),
            "body": {
                "type": "object",
                "required": required,
                "additionalProperties": False,
                "properties": fields,
            },
        },
    }


PARCEL: dict[str, Any] = {
    "type": "object",
    "required": ["device", "entries"],
    "additionalProperties": False,
    "properties": {
        "device": {"type": "string", "minLength": 1, "maxLength": 80, "description": "what the phone is called"},
        "device_time": _or_null(_TIME, "the phone's clock now: times are put right by how far it is off"),
        "entries": {
            "type": "array",
            "maxItems": MOST_ENTRIES,
            "description": "in order of sequence; an entry may need earlier ones",
            "items": {"oneOf": [_entry(kind) for kind in _BODIES], "discriminator": {"propertyName": "kind"}},
        },
    },
}
_FIELDS = {"type": "object", "additionalProperties": {"type": "string"}}
_CODE = {
    "type": "string",
    "description": "empty, or: invalid, waits (needs an entry that was set aside), conflict (other content was taken "
    "under this id), other_device (this drifting setup is read from another one), permission_denied, not_found, "
    "withdrawn, fault; contested with a correction that came second; "
    "not_approved with a step of a plan that is not approved, taken all the same; both also with a repeat; "
    "mended with a repeat of what was mended since",
}
RESULTS: dict[str, Any] = {
    "type": "object",
    "required": ["server_time", "results"],
    "properties": {
        "server_time": _TIME,
        "results": {
            "type": "array",
            "description": "one an entry, in the same order",
            "items": {
                "type": "object",
                "required": ["id", "state", "code", "message", "fields"],
                "properties": {
                    "id": {"description": "as it was sent"},
                    "state": _words("taken", "repeated", "set_aside"),
                    "code": _CODE,
                    "message": {"type": "string", "description": "a plain sentence, for people"},
                    "fields": _FIELDS | {"description": "what is wrong at each field, such as body.value"},
                },
            },
        },
    },
}
REASON: dict[str, Any] = {
    "type": ["object", "null"],
    "properties": {"code": _TEXT, "message": _TEXT, "fields": _FIELDS},
}
