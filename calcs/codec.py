"""JSON to and from the engine's dataclasses, strictly: what is unknown, mistyped or not finite is refused.

msgspec builds the objects and writes results and schemas; it lets unknown fields of a dataclass pass and its
messages don't say what is allowed, so the data is first walked here beside its type.
"""

import contextlib
import dataclasses
import inspect
import json
import math
import re
import types
import typing
from collections.abc import Callable
from functools import cache
from typing import Any, Literal, NoReturn, TypeVar

import msgspec

from calcs.engine.errors import InvalidInput, NoConvergence
from calcs.engine.kinds import Kind

T = TypeVar("T")

JSON_SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_SHOWN_CHARS = 40
# Control characters, line breaks and lone surrogates: none belongs in a name; PostgreSQL takes no NUL
# and UTF-8 no surrogate.
_UNFIT_TEXT = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")


def decode(data: bytes | dict[str, Any], kind_type: type[T]) -> T:
    """Turn a JSON document, as bytes or already parsed, into the dataclass ``kind_type``.

    Raises
    ------
    InvalidInput
        Naming the field by its path, such as ``readings[3].value_in``, and what is allowed there.
    """
    document = parse(data) if isinstance(data, bytes) else data
    try:
        _check_of(typing.cast(Any, kind_type)).check(document)
    except _RefusedError as refused:
        raise InvalidInput(refused.message, field="".join(refused.path).removeprefix(".")) from None
    return msgspec.convert(document, kind_type)


def parse(data: bytes) -> object:
    """JSON text to plain objects; NaN, Infinity and names given twice in one object are refused."""
    try:
        return json.loads(data.decode("utf-8-sig"), object_pairs_hook=_unique_names, parse_constant=_refuse_constant)
    except UnicodeDecodeError as error:
        raise InvalidInput(f"the document is not UTF-8 text (byte {error.start})") from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise InvalidInput(f"the document is not JSON ({where}: {error.msg})") from None
    except RecursionError:
        raise InvalidInput("the document is nested too deeply") from None
    except _RefusedError as refused:
        raise InvalidInput(refused.message) from None
    except ValueError:  # Python's limit on the digits of an integer
        raise InvalidInput("the document holds a whole number too long to read") from None


def encode(result: object) -> dict[str, Any]:
    """Turn a result (or an input) into plain dicts, lists, numbers and strings, ready for JSON.

    Raises
    ------
    TypeError
        When a value is not a plain Python one, a numpy scalar for instance: a fault in the engine.
    NoConvergence
        When a number is not finite, naming the field: there is no usable answer then.
    """
    plain = msgspec.to_builtins(result)
    try:
        document: dict[str, Any] = json.loads(json.dumps(plain, allow_nan=False))
    except ValueError:
        field = "".join(_path_to_non_finite(plain) or ()).removeprefix(".")
        raise NoConvergence("the result is not a finite number", field=field) from None
    return document


def text(document: dict[str, Any]) -> str:
    """A plain document as indented JSON in ASCII, so that it survives any terminal's encoding."""
    return json.dumps(document, indent=2, allow_nan=False) + "\n"


def schema(kind: Kind) -> dict[str, Any]:
    """JSON Schemas (2020-12) of a kind's ``input`` and ``output``; each stands alone."""
    return {
        "kind": kind.name,
        "description": kind.about,
        "input": _schema_of(kind.input_type),
        "output": _schema_of(kind.result_type),
    }


def _schema_of(kind_type: type[Any]) -> dict[str, Any]:
    (reference,), definitions = msgspec.json.schema_components([kind_type], ref_template="#/$defs/{name}")
    for definition in definitions.values():
        if "properties" in definition:
            definition["additionalProperties"] = False
            _describe_fields(definition)
    return {"$schema": JSON_SCHEMA_DIALECT, **reference, "$defs": definitions}


def _describe_fields(definition: dict[str, Any]) -> None:
    """Move what a numpydoc docstring says of a field to that field; its opening stays the description."""
    opening, *sections = re.split(r"\n *\w+\n *-{3,}\n", inspect.cleandoc(definition.get("description", "")))
    if opening:
        definition["description"] = opening.strip()
    for names, text in re.findall(r"^(\w[\w, ]*) :.*\n((?:[ ]+.*\n?|\n)+)", "\n".join(sections), re.MULTILINE):
        for name in names.split(", "):
            if name in definition["properties"]:
                definition["properties"][name]["description"] = " ".join(text.split())


# -- walking data beside its type ----------------------------------------------------------------------------


class _RefusedError(Exception):
    """A value that its type doesn't allow; the path grows from the value outwards while the walk unwinds."""

    def __init__(self, message: str, *path: str) -> None:
        self.message = message
        self.path = list(path)
        super().__init__(message)


@dataclasses.dataclass(frozen=True, slots=True)
class _Check:
    """How one type is checked, and in words what it allows."""

    allowed: str
    check: Callable[[object], None]


def _refuse(value: object, allowed: str) -> NoReturn:
    raise _RefusedError(f"must be {allowed}, not {_shown(value)}")


@cache
def _check_of(wanted: Any, /) -> _Check:
    """The check of a type as the engine's dataclasses use them, worked out once a type."""
    origin, args = typing.get_origin(wanted), typing.get_args(wanted)
    if wanted in _SCALARS:
        return _SCALARS[wanted]
    if origin is Literal:
        return _literal(args)
    if origin in (typing.Union, types.UnionType) and types.NoneType in args:
        some = [_check_of(arg) for arg in args if arg is not types.NoneType]
        return _optional(some[0] if len(some) == 1 else _any_of(some))
    if origin is tuple:
        return _list_of(_check_of(args[0])) if args[-1] is Ellipsis else _row(tuple(map(_check_of, args)))
    if origin is dict and args[0] is str:
        return _mapping(_check_of(args[1]))
    if dataclasses.is_dataclass(wanted) and isinstance(wanted, type):
        return _object(wanted)
    raise TypeError(f"no JSON form is defined for {wanted!r}")


def _check_float(value: object) -> None:
    if type(value) is float and math.isfinite(value):
        return
    if type(value) is int:
        try:
            float(value)
        except OverflowError:
            raise _RefusedError("must be a finite number; this one is too large") from None
        return
    if type(value) is float:
        raise _RefusedError("must be a finite number, not infinite or NaN")
    _refuse(value, "a number")


def _check_int(value: object) -> None:
    if type(value) is not int:
        _refuse(value, "a whole number")
    if not -(2**63) <= value < 2**63:
        raise _RefusedError("must be a whole number of at most 18 digits")


def _check_str(value: object) -> None:
    if not isinstance(value, str):
        _refuse(value, "text")
    if not value.isprintable() and _UNFIT_TEXT.search(value):  # the first is quick, and true of nearly all
        raise _RefusedError("must be text without line breaks or control characters")


def _check_bool(value: object) -> None:
    if not isinstance(value, bool):
        _refuse(value, "true or false")


def _check_none(value: object) -> None:
    if value is not None:
        _refuse(value, "null")


_SCALARS: dict[Any, _Check] = {
    float: _Check("a number", _check_float),
    int: _Check("a whole number", _check_int),
    str: _Check("text", _check_str),
    bool: _Check("true or false", _check_bool),
    types.NoneType: _Check("null", _check_none),
}


def _literal(words: tuple[object, ...]) -> _Check:
    allowed = "one of " + ", ".join(map(str, words))
    exact = {(type(word), word) for word in words}

    def check(value: object) -> None:
        if isinstance(value, (str, int)) and (type(value), value) in exact:
            return
        _refuse(value, allowed)

    return _Check(allowed, check)


def _optional(inner: _Check) -> _Check:
    allowed = f"{inner.allowed} or null"
    check_value = inner.check

    def check(value: object) -> None:
        if value is not None:
            check_value(value)

    return _Check(allowed, check)


def _any_of(inner: list[_Check]) -> _Check:
    allowed = " or ".join(each.allowed for each in inner)

    def check(value: object) -> None:
        for each in inner:
            with contextlib.suppress(_RefusedError):
                return each.check(value)
        _refuse(value, allowed)

    return _Check(allowed, check)


def _list_of(inner: _Check) -> _Check:
    def check(value: object) -> None:
        if not isinstance(value, (list, tuple)):
            _refuse(value, "a list")
        index = 0
        try:
            for index, item in enumerate(value):  # noqa: B007 - the index is read when an item is refused
                inner.check(item)
        except _RefusedError as refused:
            refused.path.insert(0, f"[{index}]")
            raise

    return _Check("a list", check)


def _row(inner: tuple[_Check, ...]) -> _Check:
    allowed = f"a list of {len(inner)} values"

    def check(value: object) -> None:
        if not isinstance(value, (list, tuple)) or len(value) != len(inner):
            _refuse(value, allowed)
        for index, (item_check, item) in enumerate(zip(inner, value, strict=True)):
            try:
                item_check.check(item)
            except _RefusedError as refused:
                refused.path.insert(0, f"[{index}]")
                raise

    return _Check(allowed, check)


def _mapping(inner: _Check) -> _Check:
    def check(value: object) -> None:
        if not isinstance(value, dict):
            _refuse(value, "an object")
        for name, item in value.items():
            try:
                _check_str(name)
                inner.check(item)
            except _RefusedError as refused:
                refused.path.insert(0, f"[{_shown(name)}]")
                raise

    return _Check("an object", check)


def _object(wanted: type[Any]) -> _Check:
    hints = typing.get_type_hints(wanted)
    fields = dataclasses.fields(wanted)
    allowed = {field.name: _check_of(hints[field.name]).allowed for field in fields}
    checks = {field.name: _check_of(hints[field.name]).check for field in fields}
    required = [
        field.name
        for field in fields
        if field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    ]
    unknown = "unknown field; allowed here: " + ", ".join(checks)

    def check(value: object) -> None:
        if not isinstance(value, dict):
            _refuse(value, "an object")
        name: object = ""
        try:
            for name, item in value.items():
                if name not in checks:
                    raise _RefusedError(unknown)
                checks[name](item)
            for name in required:
                if name not in value:
                    raise _RefusedError(f"missing; it must be {allowed[name]}")
        except _RefusedError as refused:
            refused.path.insert(0, _member(name))
            raise

    return _Check("an object", check)


# -- words ---------------------------------------------------------------------------------------------------


def _shown(value: object) -> str:
    """A value in an error message: short, on one line, whatever it holds."""
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}"
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, str):
        return ascii(value) if len(value) <= _SHOWN_CHARS else ascii(value[:_SHOWN_CHARS]) + "..."
    return ascii(value) if type(value) in (int, float) else type(value).__name__


def _member(name: object) -> str:
    """A member's step in a path: plain where the name is plain, quoted otherwise."""
    plain = isinstance(name, str) and name.isascii() and name.isidentifier() and len(name) <= _SHOWN_CHARS
    return f".{name}" if plain else f"[{_shown(name)}]"


def _unique_names(pairs: list[tuple[str, object]]) -> dict[str, object]:
    made = dict(pairs)
    if len(made) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _RefusedError(f"the name {_shown(twice)} is given twice in one object")
    return made


def _refuse_constant(word: str) -> NoReturn:
    raise _RefusedError(f"the document holds {word}; numbers must be finite")


def _path_to_non_finite(value: object) -> list[str] | None:
    """The path to the first number that is not finite, or None."""
    if isinstance(value, float):
        return None if math.isfinite(value) else []
    items: list[tuple[str, object]] = []
    if isinstance(value, dict):
        items = [(f".{name}", item) for name, item in value.items()]
    elif isinstance(value, (list, tuple)):
        items = [(f"[{index}]", item) for index, item in enumerate(value)]
    for step, item in items:
        below = _path_to_non_finite(item)
        if below is not None:
            return [step, *below]
    return None
