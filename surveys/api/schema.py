"""The readings' own endpoint in the OpenAPI document: it is read by msgspec, not by serializers."""

from typing import Any

from surveys.ingest import MOST_READINGS

_LENGTH: dict[str, Any] = {
    "type": ["string", "number", "null"],
    "description": "a number in the survey's unit, or a length as typed: 3 5/8, 3-5/8\", -1/2, 2' 3 1/4\", 3.625",
}
_UUID = {"type": "string", "format": "uuid"}
_UUID_OR_NULL = {"type": ["string", "null"], "format": "uuid"}

READINGS: dict[str, Any] = {
    "type": "object",
    "required": ["readings"],
    "additionalProperties": False,
    "properties": {
        "readings": {
            "type": "array",
            "minItems": 1,
            "maxItems": MOST_READINGS,
            "items": {
                "type": "object",
                "required": ["id", "setup", "point"],
                "additionalProperties": False,
                "properties": {
                    "id": _UUID,
                    "setup": _UUID,
                    "point": _UUID,
                    "shot": {"type": "string", "enum": ["point", "reference", "closing"], "default": "point"},
                    "round": {"type": "integer", "minimum": 1, "maximum": 9, "default": 1},
                    "value": _LENGTH | {"description": f"{_LENGTH['description']}; empty in a correction: withdrawn"},
                    "reference_value": _LENGTH,
                    "taken_at": {"type": ["string", "null"], "format": "date-time"},
                    "sequence": {"type": "integer", "minimum": 0, "maximum": 2_147_483_647, "default": 0},
                    "device": {"type": "string", "maxLength": 80, "default": ""},
                    "replaces": _UUID_OR_NULL | {"description": "the reading that this one corrects"},
                    "settles": _UUID_OR_NULL | {"description": "the contested correction that this one settles"},
                    "reason": {"type": "string", "maxLength": 200, "default": ""},
                },
            },
        }
    },
}
RECEIVED: dict[str, Any] = {
    "type": "object",
    "required": ["received", "repeated", "contested", "revision"],
    "properties": {
        "received": {"type": "integer", "description": "how many are new"},
        "repeated": {"type": "integer", "description": "how many were stored already, with the same content"},
        "contested": {"type": "array", "items": _UUID, "description": "corrections that came second"},
        "revision": {"type": "integer", "description": "of the survey, 0 until it is submitted"},
    },
}
