"""Parts of stored documents: a result holds thousands of numbers, and most readers want few of them."""

import json
from typing import Any

import msgspec
from django.db import models
from django.db.models import F, Func, Value


class _Quick(json.JSONDecoder):
    """Parses what the database itself wrote, in a third of the time."""

    def decode(self, s: str, _w: Any = None) -> Any:
        """Return the document."""
        return msgspec.json.decode(s)


class Without(Func):
    """A JSON document less some of its members; unpacked once however much is left of it."""

    arg_joiner = " - "
    template = "(%(expressions)s)"
    output_field = models.JSONField(decoder=_Quick)

    def __init__(self, document: str, *names: str) -> None:
        template, text = "ARRAY[%(expressions)s]::text[]", models.TextField()
        listed: Any = Func(*map(Value, names), template=template, output_field=text)
        super().__init__(F(document), listed)
