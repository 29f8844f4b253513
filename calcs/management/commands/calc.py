"""``manage.py calc``: the engine on the command line, JSON in and JSON out, without a database."""

import argparse
import errno
import os
import sys
import warnings
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from calcs import codec
from calcs.engine.errors import EngineError
from calcs.engine.kinds import KINDS, Kind

LARGEST_DOCUMENT_BYTES = 64 * 2**20
WRONG_INPUT = 2


class Command(BaseCommand):
    help = (
        "Answers one physical question. 'calc' lists the kinds; 'calc KIND [FILE]' reads a JSON document from "
        "FILE or standard input and writes the result as JSON; 'calc KIND --schema' writes the JSON Schemas."
    )
    requires_system_checks = []

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        # Without a usage text argparse reports a wrong option in one line, as every other wrong input is.
        return super().create_parser(prog_name, subcommand, usage=argparse.SUPPRESS, **kwargs)

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("kind", metavar="KIND", nargs="?", help="the kind of question")
        parser.add_argument("file", metavar="FILE", nargs="?", help="JSON document (default: standard input)")
        parser.add_argument("--schema", action="store_true", help="write the JSON Schemas and compute nothing")

    def handle(self, *, kind: str | None, file: str | None, schema: bool, **options: Any) -> None:
        if kind is None:
            if schema:
                raise _wrong(f"KIND: missing; --schema needs one of {', '.join(KINDS)}")
            self._write("".join(f"{each.name:<15}{each.about}\n" for each in KINDS.values()))
            return
        if kind not in KINDS:
            raise _wrong(f"KIND: unknown kind {kind!a}; allowed: {', '.join(KINDS)}")
        if schema and file is not None:
            raise _wrong("FILE: not allowed together with --schema")
        document = codec.schema(KINDS[kind]) if schema else _answer(KINDS[kind], _read(file))
        self._write(codec.text(document))

    def _write(self, text: str) -> None:
        if sys.stdout is None:
            raise CommandError("standard output: closed")
        try:
            self.stdout.write(text, ending="")
            self.stdout.flush()
        except OSError as error:
            # What is still buffered must not fail once more while Python shuts down.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            if error.errno == errno.EPIPE:
                sys.exit(1)
            raise CommandError(f"standard output: cannot be written ({error.strerror})") from None


def _wrong(message: str) -> CommandError:
    return CommandError(" ".join(message.split()), returncode=WRONG_INPUT)


def _read(file: str | None) -> bytes:
    """The document's bytes; a bound keeps an endless file from filling the memory."""
    name = "standard input" if file in (None, "-") else f"FILE: {file!a}"
    try:
        if file is None or file == "-":
            if sys.stdin is None:
                raise _wrong("standard input: closed; it must be a JSON object")
            data = sys.stdin.buffer.read(LARGEST_DOCUMENT_BYTES + 1)
        else:
            with Path(file).open("rb") as opened:
                data = opened.read(LARGEST_DOCUMENT_BYTES + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        raise _wrong(f"{name}: cannot be read ({getattr(error, 'strerror', None) or error})") from None
    if len(data) > LARGEST_DOCUMENT_BYTES:
        raise _wrong(f"{name}: larger than {LARGEST_DOCUMENT_BYTES // 2**20} MB, the largest document allowed")
    if not data.strip():
        raise _wrong(f"{name}: empty; it must be a JSON object")
    return data


def _answer(kind: Kind, data: bytes) -> dict[str, Any]:
    try:
        with warnings.catch_warnings():
            # An overflow on its way to an error below must not add lines of its own to standard error.
            warnings.simplefilter("ignore", RuntimeWarning)
            return codec.encode(kind.solve(codec.decode(data, kind.input_type)))
    except EngineError as error:
        raise _wrong(str(error)) from None
    except ArithmeticError:
        raise _wrong("the document holds numbers too large or too small to compute with") from None
