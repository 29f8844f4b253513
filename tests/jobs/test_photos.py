"""Photos: what may come in, what is kept, who sees it, and that copies for outsiders tell only what is seen."""

import io
import struct
import threading
import uuid
import zlib
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from jobs.errors import DomainError
from jobs.models import Finding, Photo, Siting, User
from jobs.photos import MOST_BYTES, clean_copy, small_copy, take
from tests.calcs.api.syncing import outdoors
from tests.factories import SitingFactory, UserFactory
from tests.jobs.pictures import OWNER, picture

pytestmark = pytest.mark.django_db
API = "/api/v1/photos/"


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
def phone(crew: User, api_for: Any) -> Any:
    return api_for(crew)


def upload(data: bytes, name: str = "IMG 1.jpg", kind: str = "image/jpeg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, kind)


def send(client: Any, siting: Siting, data: bytes, **fields: Any) -> Any:
    return client.post(API, {"siting": str(siting.pk), "file": upload(data), **fields}, format="multipart")


def kept(siting: Siting, data: bytes) -> Photo:
    photo = Photo(siting=siting, author=UserFactory(), noted_at=timezone.now())
    take(photo, upload(data))
    return photo


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


# -- what comes in -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "media_type"), [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/webp")]
)
def test_a_photo_is_kept_as_it_came_under_a_name_of_our_own(
    kind: str, media_type: str, siting: Siting, phone: Any, files: Path
) -> None:
    sent, key, client = picture(kind), str(uuid.uuid4()), phone
    answer = send(client, siting, sent, id=key, caption="wedge at A1", device="truck 2 phone", sequence="7")
    assert answer.status_code == 201, answer.content
    told = answer.json()
    assert (told["id"], told["media_type"], told["width_px"], told["height_px"]) == (key, media_type, 64, 48)
    assert (told["size_bytes"], told["caption"], told["sequence"]) == (len(sent), "wedge at A1", 7)
    (file,) = (path for path in files.rglob("*") if path.is_file())
    assert file.read_bytes() == sent
    assert "IMG" not in file.name
    got = client.get(f"{API}{key}/file/")
    assert (got.content, got["Content-Type"], got["X-Content-Type-Options"]) == (sent, media_type, "nosniff")


def test_sent_again_it_is_kept_once_and_another_under_its_key_is_a_conflict(
    siting: Siting, crew: User, api_for: Any, files: Path
) -> None:
    client, key = api_for(crew), str(uuid.uuid4())
    assert send(client, siting, picture(), id=key).status_code == 201
    assert send(client, siting, picture(), id=key).status_code == 200
    answer = send(client, siting, picture(colour="green"), id=key)
    assert (answer.status_code, answer.json()["code"], list(answer.json()["fields"])) == (409, "conflict", ["id"])
    assert Photo.objects.count() == 1
    assert len([path for path in files.rglob("*") if path.is_file()]) == 1


HEIC = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + bytes(200)


def bomb() -> bytes:
    """A PNG of 70 million points that is a few hundred bytes long; its size stands in its head."""
    head = b"IHDR" + struct.pack(">IIBBBBB", 10_000, 7_000, 8, 0, 0, 0, 0)
    data = b"IDAT" + zlib.compress(b"\x00")
    parts = (struct.pack(">I", len(part) - 4) + part + struct.pack(">I", zlib.crc32(part)) for part in (head, data))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


WRONG = {
    "empty": (b"", "empty"),
    "no picture": (b"just words" * 100, "give a JPEG, PNG or WebP"),
    "a page": (b"<html><script>alert(1)</script></html>", "give a JPEG, PNG or WebP"),
    "a drawing": (b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>', "give a JPEG, PNG or WebP"),
    "another type": (HEIC, "give a JPEG, PNG or WebP"),
    "a GIF": (b"GIF89a\x01\x00\x01\x00\x00\x00\x00;", "give a JPEG, PNG or WebP"),
    "cut off": (picture(size=(640, 480))[:-2000], "damaged or cut off"),
    "too many points": (bomb(), "more than 60 million points"),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_what_is_no_photo_is_refused_in_words_and_leaves_nothing(
    wrong: str, siting: Siting, crew: User, api_for: Any, files: Path
) -> None:
    data, said = WRONG[wrong]
    answer = send(api_for(crew), siting, data)
    assert answer.status_code == 400
    assert said in answer.json()["fields"]["file"]
    assert not Photo.objects.exists()
    assert not [path for path in files.rglob("*") if path.is_file()]


def test_what_is_too_large_is_turned_away_before_it_is_read(siting: Siting, crew: User, api_for: Any) -> None:
    answer = send(api_for(crew), siting, bytes(MOST_BYTES + 200_000))
    assert (answer.status_code, answer.json()["code"]) == (413, "too_large")
    with pytest.raises(DomainError, match="at most 12 MB"):
        kept(siting, bytes(MOST_BYTES + 1))


def test_a_finding_of_another_home_is_refused(siting: Siting, lead: User, api_for: Any) -> None:
    elsewhere = Finding.objects.create(
        siting=SitingFactory(), grade="fix", text="cap cracked", author=lead, noted_at=timezone.now()
    )
    answer = send(api_for(lead), siting, picture(), finding=str(elsewhere.pk))
    assert (answer.status_code, list(answer.json()["fields"])) == (400, ["finding"])


@pytest.mark.django_db(transaction=True)
def test_twice_at_once_it_is_kept_once(siting: Siting, files: Path) -> None:
    author, key, said = UserFactory(), uuid.uuid4(), []

    def send_one() -> None:
        photo = Photo(pk=key, siting=siting, author=author, noted_at=timezone.now())
        said.append(take(photo, upload(picture())))
        connection.close()

    threads = [threading.Thread(target=send_one) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(said) == [False, False, False, True]
    (file,) = (path for path in files.rglob("*") if path.is_file())
    assert Photo.objects.get().file.path == str(file)


# -- copies that tell nothing else ---------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize("copy", [clean_copy, small_copy])
def test_a_copy_holds_what_is_seen_and_nothing_else(kind: str, copy: Any, siting: Siting) -> None:
    sent = picture(kind)
    assert OWNER.encode() in sent, "the sample tells whose camera it was, or this proves nothing"
    made = copy(kept(siting, sent))
    found = opened(made)
    assert found.format == "JPEG"
    assert not dict(found.getexif())
    assert set(found.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for mark in (OWNER.encode(), b"Exif", b"http://ns.adobe.com", b"ICC_PROFILE", b"Photoshop"):
        assert mark not in made
    assert found.getpixel((60, 44))[0] > 150, "the red corner is red"


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_copy_stands_upright(orientation: int, siting: Siting) -> None:
    photo = kept(siting, picture(orientation=orientation))
    upright = (48, 64) if orientation in (6, 8) else (64, 48)
    found = opened(clean_copy(photo))
    assert found.size == (photo.width_px, photo.height_px) == upright
    # EXIF 2.3, Orientation: where the stored upper left quarter is shown.
    corners = {1: (4, 4), 3: (60, 44), 6: (44, 4), 8: (4, 60)}
    red, _, blue = found.getpixel(corners[orientation])
    assert blue > red


def test_what_is_seen_through_becomes_white_and_large_becomes_small(siting: Siting) -> None:
    out = io.BytesIO()
    Image.new("RGBA", (1600, 400), (0, 0, 0, 0)).save(out, "PNG")
    photo = kept(siting, out.getvalue())
    small = opened(small_copy(photo))
    assert small.size == (480, 120)
    assert small.getpixel((5, 5)) == (255, 255, 255)
    assert small_copy(photo) == small_copy(photo)


# -- who sees them -------------------------------------------------------------------------------------------


def test_another_crew_has_no_such_photo_and_a_stranger_signs_in_first(
    siting: Siting, api_for: Any, client_for: Any
) -> None:
    photo = kept(siting, picture())
    other = UserFactory(roles=["crew"])
    for address in (f"{API}{photo.pk}/", f"{API}{photo.pk}/file/", f"{API}{photo.pk}/thumbnail/"):
        assert api_for(other).get(address).status_code == 404
        assert Client().get(address).status_code == 401
    assert send(api_for(other), siting, picture()).status_code == 400  # there is no such siting
    for name in ("photo-file", "photo-thumbnail"):
        address = reverse(name, args=[photo.pk])
        assert client_for(other).get(address).status_code == 404
        assert Client().get(address).status_code == 302
    assert client_for(other).get(reverse("photos", args=[siting.pk])).status_code == 404


def test_a_lead_archives_and_crew_and_office_do_not(
    siting: Siting, lead: User, api_for: Any, client_for: Any
) -> None:
    photo = kept(siting, picture())
    for person in (User.objects.get(username="crew"), UserFactory(roles=["office"])):
        assert api_for(person).delete(f"{API}{photo.pk}/").status_code == 403
        assert client_for(person).post(reverse("photo-archive", args=[photo.pk])).status_code == 403
    client = client_for(lead)
    assert "Archive" in client.get(reverse("photos", args=[siting.pk])).content.decode()
    assert client.post(reverse("photo-archive", args=[photo.pk])).status_code == 302
    photo.refresh_from_db()
    assert photo.archived_at is not None
    assert api_for(lead).get(f"{API}?archived=true").json()["results"][0]["id"] == str(photo.pk)


# -- pages ---------------------------------------------------------------------------------------------------


def test_a_photo_is_added_on_the_page_once_however_often_the_button_is_pressed(
    siting: Siting, crew: User, client_for: Any
) -> None:
    client, address = client_for(crew), reverse("photos", args=[siting.pk])
    key = client.get(address).context["form"]["id"].value()
    for _ in range(2):
        typed = {"id": key, "file": upload(picture()), "caption": "the hatch"}
        assert client.post(address, typed).status_code == 302
    assert Photo.objects.get().author == crew
    for page in (address, reverse("home", args=[siting.home_id])):
        text = client.get(page).content.decode()
        assert "the hatch" in text
        assert reverse("photo-thumbnail", args=[key]) in text
    small = client.get(reverse("photo-thumbnail", args=[key]))
    assert (small["Content-Type"], small["Cache-Control"]) == ("image/jpeg", "private, max-age=3600")
    wrong = client.post(address, {"id": str(uuid.uuid4()), "file": upload(b"words", "x.jpg"), "caption": "the gate"})
    assert wrong.status_code == 400
    assert "give a JPEG, PNG or WebP" in wrong.content.decode()
    assert 'value="the gate"' in wrong.content.decode()


def test_a_photo_has_a_page_with_its_finding(siting: Siting, crew: User, client_for: Any) -> None:
    found = Finding.objects.create(
        siting=siting, grade="fix", text="cap cracked", author=crew, noted_at=timezone.now()
    )
    client, key = client_for(crew), uuid.uuid4()
    typed = {"id": key, "file": upload(picture()), "caption": "the cap", "finding": found.pk}
    assert client.post(reverse("photos", args=[siting.pk]), typed).status_code == 302
    text = client.get(reverse("photo", args=[key])).content.decode()
    assert "the cap" in text
    assert "cap cracked" in text
    assert reverse("photo-file", args=[key]) in text
    assert client_for(UserFactory(roles=["crew"])).get(reverse("photo", args=[key])).status_code == 404
    assert Client().get(reverse("photo", args=[key])).status_code == 302


def test_under_an_archived_home_the_page_takes_none(siting: Siting, crew: User, client_for: Any) -> None:
    type(siting.home).objects.filter(pk=siting.home_id).archive()
    client, address = client_for(crew), reverse("photos", args=[siting.pk])
    assert "multipart" not in client.get(address).content.decode()
    assert client.post(address, {"id": uuid.uuid4(), "file": upload(picture())}).status_code == 403
    assert not Photo.objects.exists()


def test_a_file_that_is_gone_is_not_there(siting: Siting, crew: User, client_for: Any) -> None:
    photo = kept(siting, picture())
    Path(photo.file.path).unlink()
    for name in ("photo-file", "photo-thumbnail"):
        assert client_for(crew).get(reverse(name, args=[photo.pk])).status_code == 404


@pytest.mark.parametrize("address", ["list", "photos", "home"])
def test_as_many_queries_for_three_photos_as_for_one(
    address: str, siting: Siting, crew: User, api_for: Any, client_for: Any
) -> None:
    client = api_for(crew) if address == "list" else client_for(crew)
    place = {
        "list": API,
        "photos": reverse("photos", args=[siting.pk]),
        "home": reverse("home", args=[siting.home_id]),
    }
    counts = []
    for more in (1, 2):
        for _ in range(more):
            kept(siting, picture())
        client.get(place[address])
        with CaptureQueriesContext(connection) as queries:
            assert client.get(place[address]).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
