"""The drill: dump a record with rows in every table, wipe it, bring it back, compare row by row."""

import io
import json
import os
import re
import stat
import tarfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction

from jobs.backup import archive, programs
from jobs.backup import restore as restoring
from surveys.models import Reading
from tests.jobs.backup.record import fill, photo_bytes

pytestmark = pytest.mark.django_db(transaction=True)
SHAPES = {
    "triggers": "SELECT tgrelid::regclass::text, pg_get_triggerdef(oid) FROM pg_trigger WHERE NOT tgisinternal",
    "functions": "SELECT proname, prosrc FROM pg_proc WHERE pronamespace = 'public'::regnamespace",
    "constraints": "SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint "
    "WHERE connamespace = 'public'::regnamespace",
    "indexes": "SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'",
    "sequences": "SELECT sequencename, last_value FROM pg_sequences WHERE schemaname = 'public'",
    "columns": "SELECT table_name, column_name, data_type, column_default, is_nullable "
    "FROM information_schema.columns WHERE table_schema = 'public'",
}
PUNCTUATION = re.compile(r"::[a-z ]+(\[\])?|[() ]")
BEATS, THE_BEAT = "calcs_workerbeat", "one@here"
Everything = dict[str, list[Any]]


def ask(statement: str) -> list[Any]:
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return sorted(map(repr, cursor.fetchall()))


def tables() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")
        return sorted(name for (name,) in cursor.fetchall())


def everything() -> Everything:
    """Return every row of every table as text, and how the tables are made.

    A worker of other tests may be alive beside: its own signs of life are left out.
    """
    rows = {name: ask(f'SELECT t::text FROM public."{name}" t') for name in tables()}  # noqa: S608 - our own names
    rows[BEATS] = [row for row in rows[BEATS] if THE_BEAT in row]
    # A condition that is read in again may say the same with other casts and brackets.
    shapes = {name: [PUNCTUATION.sub("", row) for row in ask(statement)] for name, statement in SHAPES.items()}
    return rows | shapes


def wipe(files: Path) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DROP SCHEMA public CASCADE; CREATE SCHEMA public")
    for path in files.rglob("*.jpg"):
        path.unlink()


@pytest.fixture
def files(tmp_path: Path, settings: Any) -> Path:
    root = tmp_path / "files with spaces"
    settings.MEDIA_ROOT = str(root)
    return root


@pytest.fixture
def backup(files: Path, tmp_path: Path) -> Path:
    """A backup of a record with rows in every table."""
    fill()
    path = tmp_path / "a backup, with spaces.tar"
    call_command("backup", path)
    return path


def test_what_was_wiped_comes_back_row_by_row(backup: Path, files: Path) -> None:
    before = everything()
    assert [name for name in tables() if not before[name]] == []
    assert stat.S_IMODE(backup.stat().st_mode) == 0o600
    assert not list(backup.parent.glob("*.part"))
    wipe(files)
    call_command("restore", backup)  # nothing is there: nobody has to say yes
    after = everything()
    assert after.keys() == before.keys()
    for name, rows in before.items():
        assert after[name] == rows, name
    (photo,) = files.rglob("*.jpg")
    assert photo.read_bytes() == photo_bytes()
    assert [path.name for path in files.iterdir() if path.name.startswith(".")] == []
    with pytest.raises(IntegrityError, match="never changed"), transaction.atomic():
        Reading.objects.update(typed="1")
    told = archive.check(backup)
    assert told.rows | {BEATS: 1} == {name: len(before[name]) for name in tables()}


def test_data_that_is_there_is_replaced_only_when_told_so(backup: Path, files: Path) -> None:
    before = everything()
    with pytest.raises(CommandError, match=r"There is data here: .* --yes replaces it"):
        call_command("restore", backup)
    assert everything() == before
    with connection.cursor() as cursor:
        cursor.execute("UPDATE jobs_company SET name = 'Somebody else'")
        cursor.execute("CREATE TABLE of_later_times (customer uuid REFERENCES jobs_customer)")
    call_command("restore", backup, yes=True)
    assert everything() == before
    # A backup of what was restored can be restored in its turn.
    again = backup.with_name("again.tar")
    call_command("backup", again)
    call_command("restore", again, yes=True)
    assert everything() == before


def cut_off(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


def cut_within_a_part(path: Path) -> None:
    os.truncate(path, 700)


def without_an_end(path: Path) -> None:
    rewrite(path, lambda name, data: None if name == archive.MANIFEST else data)


def one_bit_of_the_database(path: Path) -> None:
    rewrite(path, lambda name, data: flipped(data) if name.startswith(archive.DATABASE) else data)


def one_bit_of_a_file(path: Path) -> None:
    rewrite(path, lambda name, data: flipped(data) if name.startswith(archive.FILES) else data)


def a_file_is_missing(path: Path) -> None:
    rewrite(path, lambda name, data: None if name.startswith(archive.FILES) else data)


def foreign(path: Path) -> None:
    path.write_bytes(b"PK\x03\x04 this is something else" * 100)


def empty(path: Path) -> None:
    path.write_bytes(b"")


def foreign_tar(path: Path) -> None:
    with tarfile.open(path, "w") as tar:
        add(tar, "holiday.jpg", b"sea")


def leads_elsewhere(path: Path) -> None:
    rewrite(path, lambda name, data: data, rename=lambda name: name.replace("files/photos", "files/../../photos"))


def of_another_format(path: Path) -> None:
    change_manifest(path, format=2)


def of_a_newer_program(path: Path) -> None:
    change_manifest(path, migrations=["jobs.9999_later"])


def miscounted(path: Path) -> None:
    change_manifest(path, rows={"jobs_company": 5})


@pytest.mark.parametrize(
    ("harm", "sentence"),
    [
        (cut_off, "cut off|cannot be read"),
        (cut_within_a_part, "cannot be read to its end|cut off"),
        (without_an_end, "is cut off: its manifest is missing"),
        (one_bit_of_the_database, "is damaged: database/000000 is not what was written"),
        (one_bit_of_a_file, r"is damaged: files/photos/\S+ is not what was written"),
        (a_file_is_missing, r"is damaged: files/photos/\S+ is missing"),
        (foreign, "cannot be read to its end as a backup"),
        (empty, "cannot be read to its end as a backup|cut off"),
        (foreign_tar, "is no backup of this service: it holds 'holiday.jpg'"),
        (leads_elsewhere, "is no backup of this service"),
        (of_another_format, "has format 2; this program reads 1"),
        (of_a_newer_program, r"was made by a newer version \(\S+\), with jobs.9999_later"),
        (miscounted, "rows are missing in jobs_company"),
        (Path.unlink, "cannot be read: No such file or directory"),
    ],
)
def test_a_harmed_or_foreign_file_is_refused_and_changes_nothing(
    small_backup: Path, files: Path, harm: Callable[[Path], None], sentence: str
) -> None:
    before = everything()
    harm(small_backup)
    with pytest.raises(CommandError, match=sentence):
        call_command("restore", small_backup, yes=True)
    assert everything() == before
    assert sorted(path.name for path in files.rglob("*") if path.is_file()) == ["1.jpg"]


@pytest.fixture
def small_backup(files: Path, tmp_path: Path, transactional_db: None) -> Path:
    """A backup of next to nothing, with one file."""
    (files / "photos").mkdir(parents=True)
    (files / "photos" / "1.jpg").write_bytes(photo_bytes())
    path = tmp_path / "small.tar"
    call_command("backup", path)
    return path


def test_a_disk_that_fails_half_way_changes_nothing(
    small_backup: Path, files: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = everything()
    monkeypatch.setattr(restoring, "_pour", lambda path, into: into.close())  # the dump ends before it has begun
    with pytest.raises(CommandError, match="pg_restore failed, nothing was restored"):
        call_command("restore", small_backup, yes=True)
    assert everything() == before


def test_folders_keep_the_newest(small_backup: Path, tmp_path: Path) -> None:
    folder = tmp_path / "nightly"
    folder.mkdir()
    old = [folder / f"releveling-2026030{day}-010000Z.tar" for day in (1, 2, 3)]
    for path in [*old, folder / "notes.txt"]:
        path.write_text("-")
    call_command("backup", folder, keep=2)
    kept = sorted(path.name for path in folder.iterdir())
    assert kept[:2] == ["notes.txt", old[2].name]
    assert len(kept) == 3
    archive.check(folder / kept[2])


def test_awkward_targets_are_refused_and_leave_nothing(small_backup: Path, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="exists already"):
        call_command("backup", small_backup)
    with pytest.raises(CommandError, match="cannot be written: No such file"):
        call_command("backup", tmp_path / "nowhere" / "b.tar")
    with pytest.raises(CommandError, match="give 1 or more"):
        call_command("backup", tmp_path, keep=0)
    with pytest.raises(CommandError, match="is no folder"):
        call_command("backup", tmp_path / "nowhere", keep=3)


def test_a_machine_without_postgresqls_programs_is_told_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(programs, "_candidates", lambda name: iter(()))
    with pytest.raises(CommandError, match=r"No backup was made. This needs pg_dump of PostgreSQL \d+ or newer"):
        call_command("backup", tmp_path / "b.tar")
    monkeypatch.setattr(programs, "_candidates", lambda name: iter(["/bin/true"]))
    monkeypatch.setattr(programs, "_major", lambda path: 9)
    with pytest.raises(CommandError, match="/bin/true is of 9"):
        call_command("backup", tmp_path / "b.tar")
    assert list(tmp_path.glob("*.tar*")) == []


def flipped(data: bytes) -> bytes:
    middle = len(data) // 2
    return data[:middle] + bytes([data[middle] ^ 1]) + data[middle + 1 :]


def change_manifest(path: Path, **fields: Any) -> None:
    def change(name: str, data: bytes) -> bytes:
        return json.dumps(json.loads(data) | fields).encode() if name == archive.MANIFEST else data

    rewrite(path, change)


def rewrite(
    path: Path, change: Callable[[str, bytes], bytes | None], rename: Callable[[str], str] = lambda name: name
) -> None:
    """Write the archive once more, with parts changed or left out."""
    with tarfile.open(path) as tar:
        parts = [(info.name, source.read()) for info in tar if (source := tar.extractfile(info))]
    with tarfile.open(path, "w") as tar:
        for name, data in parts:
            changed = change(name, data)
            if changed is not None:
                add(tar, rename(name), changed)


def add(tar: tarfile.TarFile, name: str, data: bytes) -> None:
    info = tarfile.TarInfo(name)
    info.size = len(data)
    tar.addfile(info, io.BytesIO(data))
