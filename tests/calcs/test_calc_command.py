"""The engine on the command line: JSON on standard output, or one line on standard error and exit 2."""

import dataclasses
import io
import json
import os
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from calcs.engine.kinds import KINDS

CHECKOUT = Path(__file__).resolve().parents[2]
STACKS: dict[str, Any] = {"supports": [{"code": "A1", "height_in": 26.0}]}
STRAPS: dict[str, Any] = {"straps": [{"code": "N1", "run_in": 30, "rise_in": 30, "raise_in": 0.5}]}


def written(folder: Path, content: bytes | dict[str, Any]) -> str:
    path = folder / "document.json"
    path.write_bytes(content if isinstance(content, bytes) else json.dumps(content).encode())
    return str(path)


def calc(*arguments: str, **options: Any) -> str:
    output = io.StringIO()
    call_command("calc", *arguments, stdout=output, **options)
    return output.getvalue()


def refusal(*arguments: str) -> str:
    with pytest.raises(CommandError) as caught:
        calc(*arguments)
    assert caught.value.returncode == 2
    message = str(caught.value)
    assert len(message.splitlines()) == 1
    return message


def run(*arguments: str, data: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    """The command as people start it, with a database address where nothing answers."""
    environment = os.environ | {
        "DATABASE_URL": "postgres://nobody@127.0.0.1:1/nothing",
        "BROKER_URL": "redis://127.0.0.1:1/0",
    }
    return subprocess.run(
        [sys.executable, "manage.py", "calc", *arguments],
        cwd=CHECKOUT,
        env=environment,
        input=data,
        capture_output=True,
        check=False,
        timeout=60,
    )


def test_without_arguments_the_kinds_are_listed_one_a_line() -> None:
    lines = calc().splitlines()

    assert [line.split()[0] for line in lines] == list(KINDS)
    assert all(len(line.split()) > 1 for line in lines)


@pytest.mark.parametrize("kind", KINDS)
def test_schema_of_every_kind_is_a_json_schema(kind: str) -> None:
    document = json.loads(calc(kind, "--schema"))

    for side in ("input", "output"):
        jsonschema.Draft202012Validator.check_schema(document[side])


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_names_the_first_field_it_misses(kind: str, tmp_path: Path) -> None:
    missing = next(iter(KINDS[kind].input_type.__dataclass_fields__))

    assert refusal(kind, written(tmp_path, {})).startswith(f"{missing}: missing")


@pytest.mark.parametrize(("kind", "document"), [("stacks", STACKS), ("straps", STRAPS)])
def test_results_fit_the_schema_of_the_output(kind: str, document: dict[str, Any], tmp_path: Path) -> None:
    output = json.loads(calc(kind, "--schema"))["output"]

    jsonschema.Draft202012Validator(output).validate(json.loads(calc(kind, written(tmp_path, document))))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "FILE: '"),
        (b" \n", "empty; it must be a JSON object"),
        (b"{", "the document is not JSON (line 1, column 2"),
        (b"\xff\xfe", "the document is not UTF-8 text (byte 0)"),
        (b"[" * 100_000, "the document is nested too deeply"),
        (b"[]", "must be an object, not a list of 0"),
        ({"supports": [{"code": "A1"}]}, "supports[0].height_in: missing; it must be a number"),
        ({"supports": [{"code": "A1", "height_in": 0}]}, "height_in: must be above 0 and at most 240, not 0"),
        ({"supports": [{"code": "A1", "height_in": "26"}]}, "height_in: must be a number, not '26'"),
        (
            {"supports": [{"code": "A1", "height_in": 26, "kind": "roof"}]},
            "kind: must be one of frame, perimeter, mate_line, opening, not 'roof'",
        ),
        ({"supports": [], "suports": []}, "suports: unknown field; allowed here: supports, parts, rules"),
        ({"supports": [{"code": "A\nB", "height_in": 26}]}, "supports[0].code: must be text without line breaks"),
    ],
)
def test_wrong_documents_are_refused_in_one_line(content: bytes | dict[str, Any], says: str, tmp_path: Path) -> None:
    assert says in refusal("stacks", written(tmp_path, content))


def test_wrong_arguments_are_refused_in_one_line(tmp_path: Path) -> None:
    assert refusal("roofs").startswith("KIND: unknown kind 'roofs'; allowed: ")
    assert refusal("--schema").startswith("KIND: missing; --schema needs one of ")
    assert refusal("stacks", "document.json", "--schema") == "FILE: not allowed together with --schema"
    assert "No such file" in refusal("stacks", str(tmp_path / "nothing.json"))
    assert "cannot be read" in refusal("stacks", str(tmp_path))
    assert "cannot be read" in refusal("stacks", "nul\0.json")


def test_a_file_without_an_end_is_refused() -> None:
    assert "larger than 64 MB" in refusal("stacks", "/dev/zero")


def test_numbers_that_overflow_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def overflow(_: object) -> object:
        return 1e200**2

    monkeypatch.setitem(KINDS, "stacks", dataclasses.replace(KINDS["stacks"], solve=overflow))

    assert "too large or too small" in refusal("stacks", written(tmp_path, STACKS))


def test_as_started_by_people_it_needs_no_database() -> None:
    done = run("stacks", data=json.dumps(STACKS).encode())

    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout)["supports"][0]["status"] == "ok"


@pytest.mark.parametrize(
    ("arguments", "data"),
    [(("stacks", "-"), b"{}"), (("stacks", "--shema"), b"")],
)
def test_as_started_by_people_wrong_input_is_exit_2_and_one_line(arguments: tuple[str, ...], data: bytes) -> None:
    done = run(*arguments, data=data)

    assert (done.returncode, done.stdout) == (2, b"")
    assert len(done.stderr.splitlines()) == 1


def test_a_reader_that_goes_away_leaves_no_traceback() -> None:
    command = f"{shlex.quote(sys.executable)} manage.py calc stacks --schema | true"
    done = subprocess.run(["sh", "-c", command], cwd=CHECKOUT, capture_output=True, check=False, timeout=60)

    assert done.stderr == b""
