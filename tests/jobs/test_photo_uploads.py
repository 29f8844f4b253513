"""Photos that come in piece by piece: whatever breaks, is repeated or sent twice at once, each is kept once."""

import datetime
import hashlib
import os
import threading
import uuid
from pathlib import Path
from typing import Any
from unittest import mock

import pytest
from django.db import connection
from django.utils import timezone
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from rest_framework.test import APIClient

from jobs import photo_uploads
from jobs.models import Finding, Photo, PhotoUpload, Role, Siting, User, Visit
from jobs.photo_uploads import MOST_PIECE_BYTES, OutOfStep, add_piece, begin, upload_of
from jobs.photos import MOST_BYTES
from jobs.tasks import clear_expired
from tests.calcs.api.syncing import outdoors
from tests.factories import NOON, PhotoUploadFactory, SitingFactory, UserFactory
from tests.jobs.pictures import picture

pytestmark = pytest.mark.django_db
API = "/api/v1/photo-uploads/"
PHOTO = picture(size=(320, 240))
HALF = len(PHOTO) // 2


class Cut(Exception):
    """The process is gone."""


@pytest.fixture(autouse=True)
def files(tmp_path: Path, settings: Any) -> Path:
    settings.MEDIA_ROOT = str(tmp_path / "files")
    return Path(settings.MEDIA_ROOT)


@pytest.fixture
def siting(crew: User) -> Siting:
    siting = SitingFactory()
    outdoors(crew, siting)
    return siting


@pytest.fixture
def phone(crew: User, api_for: Any) -> APIClient:
    client: APIClient = api_for(crew)
    return client


def announced(place: Siting, data: bytes = PHOTO, **fields: Any) -> dict[str, Any]:
    usual = {"id": str(uuid.uuid4()), "noted_at": NOON.isoformat(), "device": "truck 2 phone", "sequence": 7}
    return {
        **usual,
        "siting": str(place.pk),
        "size_bytes": len(data),
        "sha256": hashlib.sha256(data).hexdigest(),
        **fields,
    }


def send(client: APIClient, key: str, offset: object, piece: bytes) -> Any:
    return client.generic(
        "PATCH",
        f"{API}{key}/",
        piece,
        content_type="application/octet-stream",
        headers={"Upload-Offset": str(offset)} if offset is not None else {},
    )


def told(answer: Any, status: int = 200) -> tuple[int, str | None]:
    assert answer.status_code == status, answer.content
    body = answer.json()
    return body["received_bytes"], body.get("photo")


def kept(key: object = None) -> bytes:
    """Return the bytes of a photo, or of the only one."""
    photo = Photo.objects.get(pk=key) if key else Photo.objects.get()
    return Path(photo.file.path).read_bytes()


# -- the way it goes -----------------------------------------------------------------------------------------------


def test_piece_by_piece_it_becomes_the_photo_with_the_same_key(
    phone: APIClient, siting: Siting, crew: User, files: Path
) -> None:
    finding = Finding.objects.create(siting=siting, grade="ok", author=crew, noted_at=NOON)
    visit = Visit.objects.get(siting=siting)
    beside = {"finding": str(finding.pk), "visit": str(visit.pk), "caption": "wedge at A1"}
    body = announced(siting, **beside)
    key = body["id"]
    assert told(phone.post(API, body), 201) == (0, None)
    assert told(send(phone, key, 0, PHOTO[:HALF])) == (HALF, None)
    assert told(phone.get(f"{API}{key}/")) == (HALF, None)
    assert not Photo.objects.exists()
    assert told(send(phone, key, HALF, PHOTO[HALF:])) == (len(PHOTO), key)
    photo = Photo.objects.get(pk=key)
    assert kept(key) == PHOTO
    assert (photo.author, photo.finding, photo.visit, photo.caption) == (crew, finding, visit, "wedge at A1")
    assert (photo.noted_at, photo.device, photo.sequence) == (NOON, "truck 2 phone", 7)
    assert (photo.width_px, photo.sha256) == (320, body["sha256"])
    assert not PhotoUpload.objects.exists()
    assert list((files / "uploads").iterdir()) == []


def test_a_repeat_afterwards_is_answered_as_done(phone: APIClient, siting: Siting) -> None:
    body = announced(siting)
    key = body["id"]
    phone.post(API, body)
    send(phone, key, 0, PHOTO)
    done = (len(PHOTO), key)
    assert told(phone.post(API, body)) == done
    assert told(phone.get(f"{API}{key}/")) == done
    assert told(send(phone, key, 0, PHOTO)) == done  # its answer was lost
    assert told(send(phone, key, HALF, PHOTO[HALF:])) == done
    assert Photo.objects.count() == 1
    assert not PhotoUpload.objects.exists()


def test_announcing_twice_is_harmless_and_another_photo_under_the_key_is_refused(
    phone: APIClient, siting: Siting
) -> None:
    body = announced(siting)
    assert [phone.post(API, body).status_code for _twice in range(2)] == [201, 200]
    send(phone, body["id"], 0, PHOTO[:HALF])
    assert told(phone.post(API, body)) == (HALF, None)
    other = body | {"caption": "another"}
    assert phone.post(API, other).status_code == 409
    send(phone, body["id"], HALF, PHOTO[HALF:])
    assert phone.post(API, other).status_code == 409


def test_a_piece_that_does_not_follow_is_told_where_to_go_on(phone: APIClient, siting: Siting) -> None:
    body = announced(siting)
    key = body["id"]
    phone.post(API, body)
    send(phone, key, 0, PHOTO[:HALF])
    for offset in (0, HALF - 1, HALF + 1, len(PHOTO)):
        answer = send(phone, key, offset, b"some bytes")
        assert (answer.json()["code"], told(answer, 409)[0]) == ("wrong_offset", HALF)
    assert f"byte {HALF}" in answer.json()["message"]
    assert told(send(phone, key, HALF, PHOTO[HALF:])) == (len(PHOTO), key)


# -- what breaks ---------------------------------------------------------------------------------------------------


def test_an_end_is_told_only_once_it_is_on_the_disk(phone: APIClient, siting: Siting) -> None:
    body = announced(siting)
    key = body["id"]
    phone.post(API, body)
    send(phone, key, 0, PHOTO[:10])
    with mock.patch.object(os, "fsync", side_effect=Cut), pytest.raises(Cut):
        send(phone, key, 10, b"\0" * 99)  # written, and gone before it was there for sure
    assert told(phone.get(f"{API}{key}/")) == (10, None)
    assert told(send(phone, key, 10, PHOTO[10:])) == (len(PHOTO), key)
    assert kept() == PHOTO


def test_a_process_that_dies_over_the_last_piece_loses_and_doubles_nothing(phone: APIClient, siting: Siting) -> None:
    body = announced(siting)
    key = body["id"]
    phone.post(API, body)
    send(phone, key, 0, PHOTO[:HALF])
    with mock.patch.object(photo_uploads, "take", side_effect=Cut), pytest.raises(Cut):
        send(phone, key, HALF, PHOTO[HALF:])
    assert told(phone.get(f"{API}{key}/")) == (HALF, None)
    with mock.patch.object(Path, "unlink", side_effect=Cut), pytest.raises(Cut):
        send(phone, key, HALF, PHOTO[HALF:])  # the photo is stored, its pieces are still there
    assert told(send(phone, key, HALF, PHOTO[HALF:])) == (len(PHOTO), key)
    assert kept() == PHOTO


def test_after_a_backup_is_restored_the_bytes_are_asked_for_again(
    phone: APIClient, siting: Siting, files: Path
) -> None:
    body = announced(siting)
    key = body["id"]
    phone.post(API, body)
    send(phone, key, 0, PHOTO[:HALF])
    (piece,) = (files / "uploads").iterdir()
    assert piece.name.startswith(".")  # hidden: no backup holds it
    piece.write_bytes(PHOTO[:9])
    assert told(phone.get(f"{API}{key}/")) == (9, None)
    piece.unlink()
    assert told(send(phone, key, HALF, PHOTO[HALF:]), 409) == (0, None)
    assert told(send(phone, key, 0, PHOTO)) == (len(PHOTO), key)


def test_bytes_that_are_not_those_that_were_announced_start_anew(phone: APIClient, siting: Siting) -> None:
    body = announced(siting)
    key = body["id"]
    phone.post(API, body)
    send(phone, key, 0, PHOTO[:HALF])
    answer = send(phone, key, HALF, bytes(len(PHOTO) - HALF))
    assert (answer.json()["code"], told(answer, 409)[0]) == ("wrong_sha256", 0)
    assert told(phone.get(f"{API}{key}/")) == (0, None)
    assert told(send(phone, key, 0, PHOTO)) == (len(PHOTO), key)
    assert kept() == PHOTO


def test_what_is_no_photo_is_given_up(phone: APIClient, siting: Siting, files: Path) -> None:
    junk = b"no picture at all"
    body = announced(siting, junk)
    phone.post(API, body)
    answer = send(phone, body["id"], 0, junk)
    assert (answer.status_code, list(answer.json()["fields"])) == (400, ["file"])
    assert phone.get(f"{API}{body['id']}/").status_code == 404
    assert not PhotoUpload.objects.exists()
    assert [path for path in files.rglob("*") if path.is_file()] == []


@given(
    cuts=st.lists(st.integers(1, len(PHOTO) - 1), max_size=5, unique=True),
    fates=st.lists(st.sampled_from(["told", "lost", "dies", "late"]), min_size=30, max_size=30),
)
@examples(max_examples=40, deadline=None)
def test_whatever_becomes_of_its_pieces_the_photo_is_whole(cuts: list[int], fates: list[str]) -> None:
    """A phone that goes on from where it is told, over a line and a server that break at every piece."""
    author = UserFactory(roles=[Role.CREW_LEAD])
    key = uuid.uuid4()
    begin(
        PhotoUpload(
            pk=key,
            siting=SitingFactory(),
            author=author,
            noted_at=NOON,
            size_bytes=len(PHOTO),
            sha256=hashlib.sha256(PHOTO).hexdigest(),
        )
    )
    ends = [*sorted(cuts), len(PHOTO)]
    offset = 0
    for fate in [*fates, *["told"] * (len(ends) + 2)]:
        end = next((end for end in ends if end > offset), len(PHOTO))
        piece = PHOTO[offset:end]
        try:
            if fate == "dies":
                with mock.patch.object(os, "fsync", side_effect=Cut):
                    add_piece(key=key, offset=offset, piece=piece, by=author)
            answer = add_piece(
                key=key, offset=max(offset - 1, 0) if fate == "late" else offset, piece=piece, by=author
            )
        except Cut:
            continue
        except OutOfStep as step:
            offset = step.received_bytes
            continue
        if fate != "lost":
            offset = answer.received_bytes
    assert upload_of(key, seen_by=author).photo_id == key
    assert kept(key) == PHOTO
    assert not PhotoUpload.objects.filter(pk=key).exists()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("start", [0, HALF])
def test_the_same_piece_twice_at_once_is_one(start: int) -> None:
    author, siting = UserFactory(roles=[Role.CREW_LEAD]), SitingFactory()
    end = HALF if start == 0 else len(PHOTO)
    for _try in range(3):
        key = uuid.uuid4()
        body = {"size_bytes": len(PHOTO), "sha256": hashlib.sha256(PHOTO).hexdigest(), "noted_at": NOON}
        begin(PhotoUpload(pk=key, siting=siting, author=author, **body))
        if start:
            add_piece(key=key, offset=0, piece=PHOTO[:start], by=author)
        answers: list[int] = []
        gate = threading.Barrier(3)

        def go(key: uuid.UUID = key, answers: list[int] = answers, gate: threading.Barrier = gate) -> None:
            gate.wait()
            try:
                upload = add_piece(key=key, offset=start, piece=PHOTO[start:end], by=author)
                answers.append(upload.received_bytes)
            except OutOfStep as step:
                answers.append(step.received_bytes)
            finally:
                connection.close()

        threads = [threading.Thread(target=go) for _three in range(3)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert answers == [end] * 3
        if end < len(PHOTO):
            add_piece(key=key, offset=end, piece=PHOTO[end:], by=author)
        assert kept(key) == PHOTO
    assert Photo.objects.count() == 3


# -- what may come in, and from whom -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wrong", "status", "field"),
    [
        ({"size_bytes": 0}, 400, "size_bytes"),
        ({"size_bytes": MOST_BYTES + 1}, 413, "size_bytes"),
        ({"sha256": "A" * 64}, 400, "sha256"),
        ({"sha256": "a" * 63}, 400, "sha256"),
        ({"siting": str(uuid.uuid4())}, 400, "siting"),
        ({"id": "photo 1"}, 400, "id"),
        ({"noted_at": "noon"}, 400, "noted_at"),
    ],
)
def test_what_is_wrong_is_told_at_its_field(
    phone: APIClient, siting: Siting, wrong: dict[str, Any], status: int, field: str
) -> None:
    answer = phone.post(API, announced(siting, **wrong))
    assert (answer.status_code, list(answer.json()["fields"])) == (status, [field])
    assert not PhotoUpload.objects.exists()


def test_pieces_are_bytes_of_a_bounded_size_with_their_place(phone: APIClient, siting: Siting) -> None:
    body = announced(siting)
    key = body["id"]
    phone.post(API, body)
    for offset in (None, "", "-1", "x", "1" * 20, "\N{ARABIC-INDIC DIGIT ONE}".encode().decode("latin-1")):
        assert list(send(phone, key, offset, b"x").json()["fields"]) == ["Upload-Offset"], offset
    assert send(phone, key, 0, bytes(MOST_PIECE_BYTES + 1)).status_code == 413
    longer = send(phone, key, 0, PHOTO + b"x")
    assert (longer.status_code, list(longer.json()["fields"])) == (400, ["size_bytes"])
    answer = phone.patch(f"{API}{key}/", {"piece": "x"}, headers={"Upload-Offset": "0"})
    assert answer.status_code == 415
    assert told(phone.get(f"{API}{key}/")) == (0, None)


def test_somebody_else_goes_on_with_nothing(phone: APIClient, siting: Siting, lead: User, api_for: Any) -> None:
    body = announced(siting)
    key = body["id"]
    phone.post(API, body)
    other, stranger = api_for(lead), api_for(UserFactory(roles=[Role.CREW]))
    assert told(other.get(f"{API}{key}/")) == (0, None)  # a lead sees it, as a photo
    assert (send(other, key, 0, PHOTO).status_code, stranger.get(f"{API}{key}/").status_code) == (403, 404)
    assert send(stranger, key, 0, PHOTO).status_code == 404
    send(phone, key, 0, PHOTO)
    assert (send(other, key, 0, PHOTO).status_code, stranger.get(f"{API}{key}/").status_code) == (403, 404)
    assert other.post(API, body).status_code == 409
    assert stranger.post(API, announced(siting)).json()["fields"].keys() == {"siting"}


@pytest.mark.usefixtures("one_minute")
def test_many_pieces_hinder_no_entries_and_are_counted_apart(phone: APIClient, siting: Siting, settings: Any) -> None:
    settings.REQUESTS_A_MINUTE = {"person": 0, "sync": 5, "upload": 2, "stranger": 1}
    body = announced(siting)
    statuses = [phone.post(API, body).status_code, send(phone, body["id"], 0, PHOTO[:9]).status_code]
    third = send(phone, body["id"], 9, PHOTO[9:])
    assert (statuses, third.status_code) == ([201, 200], 429)
    assert int(third.headers["Retry-After"]) >= 1
    assert phone.post("/api/v1/sync/", {"device": "phone", "entries": []}).status_code == 200


# -- what nobody goes on with --------------------------------------------------------------------------------------


def test_what_nobody_went_on_with_for_long_is_forgotten_with_its_bytes(files: Path, crew: User) -> None:
    now, folder = timezone.now(), files / "uploads"
    folder.mkdir(parents=True)
    old, young = (
        PhotoUploadFactory(touched_at=now - datetime.timedelta(days=days), size_bytes=99) for days in (31, 29)
    )
    long_ago = (now - datetime.timedelta(days=31)).timestamp()
    for name, is_old in ((old.pk, True), (young.pk, True), (uuid.uuid4(), True), (uuid.uuid4(), False)):
        path = folder / f".{name}.part"
        path.write_bytes(b"x")
        if is_old:
            os.utime(path, (long_ago, long_ago))
    clear_expired()
    assert list(PhotoUpload.objects.all()) == [young]
    left = {path.name for path in folder.iterdir()}
    assert len(left) == 2  # the young one's, and the one that belongs to none yet is not old
    assert f".{young.pk}.part" in left
    clear_expired()
    assert len(list(folder.iterdir())) == 2
