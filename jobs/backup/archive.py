"""The one file of a backup: a tar of parts, each with its hash in the manifest, which comes last.

A part is written as it comes, so nothing is stored twice on the way; a file that was cut off has no manifest.
"""

import contextlib
import hashlib
import io
import json
import os
import tarfile
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path, PurePosixPath
from typing import IO, Any

from jobs.backup import BackupError

FORMAT = 1
MANIFEST = "manifest.json"
DATABASE, FILES = "database/", "files/"
PIECE_BYTES = 16 * 1024 * 1024
LARGEST_MANIFEST_BYTES = 256 * 1024 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup says of itself."""

    made_at: str
    version: str
    migrations: list[str]  # "app.name" of each that was applied
    extensions: list[str]
    rows: dict[str, int]  # by table
    sha256: dict[str, str] = field(default_factory=dict)  # by part
    format: int = FORMAT


class Writer:
    """Writes parts into a new file, which has its name only once all of it is on the disk."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._half = path.with_name(f"{path.name}.part")
        self.sha256: dict[str, str] = {}

    def __enter__(self) -> "Writer":
        """Open the file, for its owner only."""
        if self._path.exists():
            raise BackupError(f"{self._path} exists already; give another name.")
        try:
            number = os.open(self._half, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600)
        except OSError as error:
            raise BackupError(f"{self._half} cannot be written: {error.strerror}.") from error
        self._file = os.fdopen(number, "wb")
        os.fchmod(number, 0o600)
        self._tar = tarfile.open(fileobj=self._file, mode="w|", format=tarfile.PAX_FORMAT)
        return self

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        """Give the file its name, or leave nothing behind."""
        with contextlib.suppress(OSError):
            self._tar.close()
        if kind is None:
            self._file.flush()
            os.fsync(self._file.fileno())
        self._file.close()
        if kind is None:
            self._half.replace(self._path)
        else:
            self._half.unlink(missing_ok=True)

    def add_stream(self, prefix: str, source: IO[bytes]) -> None:
        """Add what a pipe gives, in pieces, as nobody knows its size before."""
        number = 0
        while piece := source.read(PIECE_BYTES):
            self.add(f"{prefix}{number:06d}", io.BytesIO(piece), size=len(piece))
            number += 1

    def add(self, name: str, source: IO[bytes], *, size: int, mode: int = 0o600) -> None:
        """Add one part."""
        info = tarfile.TarInfo(name)
        info.size, info.mode, info.mtime = size, mode, int(time.time())
        hashed = _Hashed(source)
        self._tar.addfile(info, hashed)
        self.sha256[name] = hashed.sha256.hexdigest()

    def finish(self, manifest: Manifest) -> None:
        """Add the manifest."""
        text = json.dumps({**asdict(manifest), "sha256": self.sha256}, indent=1).encode()
        info = tarfile.TarInfo(MANIFEST)
        info.size, info.mode, info.mtime = len(text), 0o600, int(time.time())
        self._tar.addfile(info, io.BytesIO(text))


class _Hashed(io.RawIOBase):
    """Hashes what is read through it."""

    def __init__(self, source: IO[bytes]) -> None:
        self._source = source
        self.sha256 = hashlib.sha256()

    def read(self, size: int = -1) -> bytes:
        """Read on."""
        read = self._source.read(size)
        self.sha256.update(read)
        return read


def check(path: Path) -> Manifest:
    """Read all of a backup, compare every hash, and return its manifest; write nothing.

    Raises
    ------
    BackupError
        When it is no backup, or not all of one, or any of it was changed.
    """
    try:
        found, manifest = _read(path)
    except (tarfile.TarError, EOFError) as error:
        raise BackupError(f"{path} cannot be read to its end as a backup: {error}.") from error
    except OSError as error:
        raise BackupError(f"{path} cannot be read: {error.strerror or error}.") from error
    if manifest is None:
        raise BackupError(f"{path} is cut off: its manifest is missing.")
    for name in sorted(found.keys() | manifest.sha256.keys()):
        if found.get(name) != manifest.sha256.get(name):
            why = "is missing" if name not in found else "is not what was written"
            raise BackupError(f"{path} is damaged: {name} {why}.")
    if not any(name.startswith(DATABASE) for name in found):
        raise BackupError(f"{path} holds no database.")
    return manifest


def _read(path: Path) -> tuple[dict[str, str], Manifest | None]:
    """Return the hash of every part, and the manifest if there is one."""
    found: dict[str, str] = {}
    manifest: Manifest | None = None
    for info, source in parts(path):
        if manifest:
            raise BackupError(f"{path} goes on after its end: {info.name}.")
        if info.name == MANIFEST:
            manifest = _manifest(path, info, source)
        elif info.name in found:
            raise BackupError(f"{path} holds {info.name} twice.")
        else:
            found[info.name] = hashlib.file_digest(source, "sha256").hexdigest()  # type: ignore[arg-type]  # it reads
    return found, manifest


def parts(path: Path) -> Iterator[tuple[tarfile.TarInfo, IO[bytes]]]:
    """Go through the parts of a backup in order; refuse what could not have been written by one."""
    with tarfile.open(path, mode="r:") as tar:
        for info in tar:
            source = tar.extractfile(info) if info.isreg() else None
            if source is None or not _is_ours(info.name):
                raise BackupError(f"{path} is no backup of this service: it holds {info.name[:80]!r}.")
            yield info, source


def _is_ours(name: str) -> bool:
    if name == MANIFEST:
        return True
    path = PurePosixPath(name)
    is_plain = str(path) == name and not path.is_absolute() and ".." not in path.parts and "\0" not in name
    return is_plain and name.startswith((DATABASE, FILES))


def _manifest(path: Path, info: tarfile.TarInfo, source: IO[bytes]) -> Manifest:
    if info.size > LARGEST_MANIFEST_BYTES:
        raise BackupError(f"{path} is no backup of this service: its manifest is too large.")
    try:
        said: dict[str, Any] = json.loads(source.read())
        found_format = said["format"]
        if found_format != FORMAT:
            raise BackupError(f"{path} has format {found_format}; this program reads {FORMAT}.")
        manifest = Manifest(**said)
        is_whole = (
            all(isinstance(one, str) for one in [*manifest.migrations, *manifest.extensions])
            and all(isinstance(name, str) and isinstance(count, int) for name, count in manifest.rows.items())
            and isinstance(manifest.sha256, dict)
        )
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise BackupError(f"{path} is no backup of this service: its manifest is unreadable.") from error
    if not is_whole:
        raise BackupError(f"{path} is no backup of this service: its manifest is unreadable.")
    return manifest
