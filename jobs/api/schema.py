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


def add_error_responses(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Give every operation its default answer: an error in the one shape."""
    result.setdefault("components", {}).setdefault("schemas", {})["Error"] = ERROR
    answer = {
        "description": "What went wrong",
        "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Error"}}},
    }
    for path in result["paths"].values():
        for operation in path.values():
            operation["responses"].setdefault("default", answer)
    return result
