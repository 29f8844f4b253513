"""What drf-spectacular can't see by itself: the error shape that every operation may answer with."""

from typing import Any

ERROR: dict[str, Any] = {
    "type": "object",
    "required": ["code", "message", "fields"],
    "additionalProperties": False,
    "properties": {
        "code": {"type": "string", "description": "stable, for programs"},
        "message": {"type": "string", "description": "a plain sentence, for people"},
        "fields": {
            "type": "object",
            "additionalProperties": {"type": "string"},
            "description": "what is wrong at each field, by its path, such as readings[3].value",
        },
    },
}

STALE: dict[str, Any] = {
    **ERROR,
    "properties": {
        **ERROR["properties"],
        "current": {"type": "object", "description": "the row as it is now, as a single read gives it"},
        "changes": {
            "type": "array",
            "description": "who changed which field since the version that was sent, oldest first, in words",
            "items": {
                "type": "object",
                "required": ["at", "who", "field", "label", "before", "after"],
                "properties": {
                    "at": {"type": "string", "format": "date-time"},
                    "who": {"type": "string"},
                    "field": {"type": "string"},
                    "label": {"type": "string"},
                    "before": {"type": "string"},
                    "after": {"type": "string"},
                },
            },
        },
    },
}


def add_error_responses(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Give every operation its default answer: an error in the one shape."""
    result.setdefault("components", {}).setdefault("schemas", {})["Error"] = ERROR
    result["components"]["schemas"]["Stale"] = STALE
    answer = {
        "description": "What went wrong",
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Error"}}},
    }
    for path in result["paths"].values():
        for operation in path.values():
            operation["responses"].setdefault("default", answer)
    return result
