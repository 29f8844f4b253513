"""The codec refuses by name what is wrong, and its schemas agree with an independent judge (jsonschema)."""

import dataclasses
import json
from dataclasses import dataclass
from typing import Any, Literal

import jsonschema
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import codec
from calcs.engine.errors import InvalidInput, NoConvergence
from calcs.engine.kinds import KINDS, Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Rung:
    """One rung.

    Parameters
    ----------
    height_in : float
        Height above the foot,
        along the rail.
    """

    code: str
    height_in: float
    wood: Literal["ash", "oak"] = "ash"
    worn: bool = False
    nails: int = 2
    sd_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ladder:
    rungs: tuple[Rung, ...]
    range_deg: tuple[float, float] = (60.0, 75.0)
    weights: dict[str, float] | None = None
    reserved: None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plate:
    """What stands on a ladder's plate: a figure, a word, or nothing."""

    says: float | str | None


def ladder_kind() -> Kind:
    return Kind(name="ladder", about="How a ladder stands", input_type=Ladder, result_type=Rung, solve=lambda x: x)


RUNG: dict[str, Any] = {"code": "R1", "height_in": 12}


def test_decode_fills_defaults_and_turns_whole_numbers_into_floats() -> None:
    ladder = codec.decode(b'{"rungs": [{"code": "R1", "height_in": 12}]}', Ladder)

    assert ladder == Ladder(rungs=(Rung(code="R1", height_in=12.0),))
    assert type(ladder.rungs[0].height_in) is float


@pytest.mark.parametrize(
    ("document", "field", "says"),
    [
        ({}, "rungs", "missing; it must be a list"),
        ({"rungs": {}}, "rungs", "must be a list, not an object"),
        ({"rungs": [RUNG, {"code": "R2"}]}, "rungs[1].height_in", "missing; it must be a number"),
        ({"rungs": [RUNG | {"height_in": True}]}, "rungs[0].height_in", "must be a number, not true"),
        ({"rungs": [RUNG | {"height_in": "12"}]}, "rungs[0].height_in", "must be a number, not '12'"),
        ({"rungs": [RUNG | {"height_in": None}]}, "rungs[0].height_in", "must be a number, not null"),
        ({"rungs": [RUNG | {"height_in": float("nan")}]}, "rungs[0].height_in", "finite"),
        ({"rungs": [RUNG | {"height_in": float("-inf")}]}, "rungs[0].height_in", "finite"),
        ({"rungs": [RUNG | {"height_in": 10**400}]}, "rungs[0].height_in", "too large"),
        ({"rungs": [RUNG | {"height_in": np.float32(1)}]}, "rungs[0].height_in", "must be a number"),
        ({"rungs": [RUNG | {"wood": "elm"}]}, "rungs[0].wood", "must be one of ash, oak, not 'elm'"),
        ({"rungs": [RUNG | {"wood": ["ash"]}]}, "rungs[0].wood", "must be one of ash, oak, not a list of 1"),
        ({"rungs": [RUNG | {"worn": 1}]}, "rungs[0].worn", "must be true or false, not 1"),
        ({"rungs": [RUNG | {"nails": 2.5}]}, "rungs[0].nails", "must be a whole number, not 2.5"),
        ({"rungs": [RUNG | {"nails": 2**64}]}, "rungs[0].nails", "at most 18 digits"),
        ({"rungs": [RUNG | {"sd_in": []}]}, "rungs[0].sd_in", "must be a number, not a list of 0"),
        ({"rungs": [RUNG | {"code": 1}]}, "rungs[0].code", "must be text, not 1"),
        ({"rungs": [RUNG | {"code": "R\n1"}]}, "rungs[0].code", "without line breaks"),
        ({"rungs": [RUNG | {"code": "\ud800"}]}, "rungs[0].code", "control characters"),
        ({"rungs": [RUNG | {"hight_in": 1}]}, "rungs[0].hight_in", "unknown field; allowed here: code, h"),
        ({"rungs": [], "a\nb": 1}, "['a\\nb']", "unknown field; allowed here: rungs, range_deg, weights, r"),
        ({"rungs": [None]}, "rungs[0]", "must be an object, not null"),
        ({"rungs": [], "range_deg": [1]}, "range_deg", "must be a list of 2 values, not a list of 1"),
        ({"rungs": [], "range_deg": [1, "x"]}, "range_deg[1]", "must be a number, not 'x'"),
        ({"rungs": [], "weights": []}, "weights", "must be an object"),
        ({"rungs": [], "reserved": 0}, "reserved", "must be null, not 0"),
        ({"rungs": [], "weights": {"A1": "x"}}, "weights['A1']", "must be a number, not 'x'"),
    ],
)
def test_decode_names_the_field_and_what_is_allowed(document: Any, field: str, says: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        codec.decode(document, Ladder)

    assert caught.value.field == field
    assert says in caught.value.message
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"", "not JSON"),
        (b"  \n", "not JSON"),
        (b'{"rungs": [}', "not JSON (line 1, column 12"),
        (b'{"rungs": []} {}', "not JSON"),
        (b'{"rungs": [NaN]}', "NaN"),
        (b'{"rungs": [-Infinity]}', "-Infinity"),
        (b'{"rungs": [{"code": "R", "height_in": 1e999}]}', "must be a finite number"),
        (b'{"rungs": [], "rungs": []}', "'rungs' is given twice"),
        (b"\xff\xfe{", "not UTF-8"),
        (b"[" * 100_000, "nested too deeply"),
        (b"9" * 5_000, "too long to read"),
        (b"[]", "must be an object, not a list of 0"),
        (b"null", "must be an object, not null"),
        (b'"text"', "must be an object, not 'text'"),
    ],
)
def test_decode_refuses_what_is_no_document(data: bytes, says: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        codec.decode(data, Ladder)

    assert says in str(caught.value)
    assert len(str(caught.value).splitlines()) == 1


@pytest.mark.parametrize("says", [3.5, "4A", None])
def test_decode_takes_any_of_a_few_plain_types(says: float | str | None) -> None:
    assert codec.decode(codec.encode(Plate(says=says)), Plate) == Plate(says=says)


@pytest.mark.parametrize("says", [True, [1], {"a": 1}])
def test_decode_refuses_what_is_none_of_them(says: Any) -> None:
    with pytest.raises(InvalidInput) as refused:
        codec.decode({"says": says}, Plate)
    assert refused.value.field == "says"
    assert refused.value.message.startswith("must be a number or text, not ")


def test_decode_takes_a_byte_order_mark() -> None:
    assert codec.decode(b'\xef\xbb\xbf{"rungs": []}', Ladder) == Ladder(rungs=())


def test_encode_refuses_numpy_scalars() -> None:
    with pytest.raises(TypeError, match="float64"):
        codec.encode(Rung(code="R1", height_in=np.float64(12.0)))


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_encode_refuses_numbers_that_are_not_finite_and_names_them(value: float) -> None:
    ladder = Ladder(rungs=(Rung(code="R1", height_in=1.0), Rung(code="R2", height_in=value)))

    with pytest.raises(NoConvergence) as caught:
        codec.encode(ladder)

    assert caught.value.field == "rungs[1].height_in"


NAMES = st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=8)
NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
RUNGS = st.builds(
    Rung,
    code=NAMES,
    height_in=NUMBERS,
    wood=st.sampled_from(["ash", "oak"]),
    worn=st.booleans(),
    nails=st.integers(-(2**63), 2**63 - 1),
    sd_in=st.none() | NUMBERS,
)
LADDERS = st.builds(
    Ladder,
    rungs=st.lists(RUNGS, max_size=4).map(tuple),
    range_deg=st.tuples(NUMBERS, NUMBERS),
    weights=st.none() | st.dictionaries(NAMES, NUMBERS, max_size=3),
)


@given(LADDERS)
def test_what_is_encoded_decodes_to_the_same(ladder: Ladder) -> None:
    assert codec.decode(codec.text(codec.encode(ladder)).encode(), Ladder) == ladder
    assert codec.decode(codec.encode(ladder), Ladder) == ladder


JSON_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 9) | st.sampled_from([0.5, -1.25]) | st.sampled_from("ab"),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.sampled_from("ab"), inner, max_size=2),
    max_leaves=3,
)


@given(LADDERS, st.data())
def test_schema_and_decoder_refuse_the_same_documents(ladder: Ladder, data: st.DataObject) -> None:
    """One member of a valid document is replaced, dropped or added; jsonschema is the independent judge."""
    document = json.loads(codec.text(codec.encode(ladder)).encode())
    target = data.draw(st.sampled_from([document, *document["rungs"]]))
    member = data.draw(st.sampled_from([*target, "surplus"]))
    if data.draw(st.booleans()):
        target.pop(member, None)
    else:
        target[member] = data.draw(JSON_VALUES)
    judge = jsonschema.Draft202012Validator(codec.schema(ladder_kind())["input"])

    try:
        codec.decode(document, Ladder)
    except InvalidInput:
        assert not judge.is_valid(document)
    else:
        judge.validate(document)


def test_schema_describes_fields_shows_defaults_and_allows_nothing_else() -> None:
    rung = codec.schema(ladder_kind())["input"]["$defs"]["Rung"]

    assert rung["additionalProperties"] is False
    assert rung["required"] == ["code", "height_in"]
    assert rung["description"] == "One rung."
    assert rung["properties"]["nails"] == {"type": "integer", "default": 2}
    assert rung["properties"]["height_in"] == {
        "type": "number",
        "description": "Height above the foot, along the rail.",
    }


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
@pytest.mark.parametrize("side", ["input", "output"])
def test_every_kind_has_valid_schemas(kind: Kind, side: str) -> None:
    document = codec.schema(kind)[side]

    jsonschema.Draft202012Validator.check_schema(document)
    assert document["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert all(part["additionalProperties"] is False for part in document["$defs"].values())


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_every_result_carries_version_sources_cautions_and_warnings(kind: Kind) -> None:
    names = {field.name for field in dataclasses.fields(kind.result_type)}

    assert {"engine_version", "sources", "cautions", "warnings"} <= names
