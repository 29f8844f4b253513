"""Photos: small and upright on the phone, kept through kills, sent last, in pieces that go on where they ended."""

import base64
import hashlib
import io
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image, ImageOps
from playwright.sync_api import Page, Route, expect

from jobs import photo_uploads
from jobs.api import photo_upload_views
from jobs.models import Finding, Photo, PhotoUpload, Point
from tests.surveys.field.conftest import OpenPhone, UseModule
from tests.surveys.field.phones import Phone
from tests.surveys.field.world import FieldWorld

World = Callable[..., FieldWorld]
PIECE_BYTES = 192 * 1024
ORIENTATION = 0x0112


def noise(size: tuple[int, int] = (2000, 1500)) -> bytes:
    """A picture that hardly gets smaller as a JPEG: it takes several pieces."""
    out = io.BytesIO()
    Image.effect_noise(size, 120).convert("RGB").save(out, "JPEG", quality=90)
    return out.getvalue()


def corners(size: tuple[int, int], orientation: int) -> bytes:
    """A picture whose quarters differ in colour, lying as the camera was held."""
    picture = Image.new("RGB", size, "blue")
    half = (size[0] // 2, size[1] // 2)
    picture.paste("red", (0, 0, *half))
    picture.paste("lime", (half[0], 0, size[0], half[1]))
    picture.paste("white", (0, half[1], half[0], size[1]))
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    exif[0x010F] = "a camera"  # what else it wrote is not kept
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=95, exif=exif)
    return out.getvalue()


SHRINK = """async ({ shrink }, files) => {
  const written = (bytes) => btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join(""));
  const textOf = async (blob) => written(new Uint8Array(await blob.arrayBuffer()));
  const read = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
  const fileOf = (text) => new Blob([read(text)], { type: "image/jpeg" });
  const told = [];
  for (const file of files) {
    const { blob, thumb } = await shrink(fileOf(file));
    told.push([await textOf(blob), await textOf(thumb), blob.type]);
  }
  return told;
}"""


def test_a_photo_is_made_small_and_upright(module: UseModule) -> None:
    files = [corners((3200, 2000), orientation) for orientation in range(1, 9)] + [corners((300, 200), 1)]
    told = module("screens/photo_shrink", SHRINK, [base64.b64encode(file).decode() for file in files])
    for file, (blob, thumb, media_type) in zip(files, told, strict=True):
        # Pillow turns it by EXIF 2.3 as every viewer does.
        upright = ImageOps.exif_transpose(Image.open(io.BytesIO(file)))
        kept, small = (Image.open(io.BytesIO(base64.b64decode(each))) for each in (blob, thumb))
        assert media_type == "image/jpeg"
        assert max(kept.size) == min(1600, max(upright.size))
        assert max(small.size) == 240
        assert dict(kept.getexif()) == {}
        for across in (0.25, 0.75):
            for down in (0.25, 0.75):
                seen, wanted = (
                    each.convert("RGB").getpixel((int(each.width * across), int(each.height * down)))
                    for each in (kept, upright)
                )
                assert seen == pytest.approx(wanted, abs=12), (across, down)


def test_what_is_no_picture_is_told_and_broken_exif_harms_nothing(module: UseModule) -> None:
    cut = corners((64, 48), 6)
    use = """async ({ shrink, layUpright, NoPicture }, [text, whole]) => {
      const bytes = Uint8Array.from(atob(whole), (sign) => sign.charCodeAt(0));
      const lies = Array.from({ length: bytes.length }, (_, end) => layUpright(bytes.slice(0, end)));
      const refused = await shrink(new Blob([text])).catch((error) => error instanceof NoPicture);
      return [refused, [...new Set(lies)].sort(), layUpright(bytes), layUpright(bytes)];
    }"""
    refused, lies, first, second = module("screens/photo_shrink", use, ["no picture", base64.b64encode(cut).decode()])
    assert refused is True
    assert lies == [1, 6]
    assert (first, second) == (6, 1)  # once read, it says that it is upright


# -- on a phone ----------------------------------------------------------------------------------------------------


@pytest.fixture
def pieces(monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, int]]:
    """What the service was sent: where each piece begins, and how many bytes it has."""
    seen: list[tuple[int, int]] = []

    def add(**piece: Any) -> PhotoUpload:
        seen.append((piece["offset"], len(piece["piece"])))
        return photo_uploads.add_piece(**piece)

    monkeypatch.setattr(photo_upload_views, "add_piece", add)
    return seen


def at_support(open_phone: OpenPhone, world: FieldWorld, *, has_own_disk: bool = False) -> Phone:
    a1 = Point.objects.get(siting=world.siting, label="A1")
    phone = open_phone(world.crew, f"visit/{world.visit.pk}/inspect", has_own_disk=has_own_disk)
    phone.keep()
    expect(phone.page.get_by_role("link", name="Next: A1")).to_be_visible(timeout=20_000)
    phone.go(f"visit/{world.visit.pk}/inspect/support/{a1.pk}")
    expect(phone.page.locator("#grade-ok")).to_be_visible()
    return phone


def take(page: Page, data: bytes) -> None:
    file: Any = {"name": "photo.jpg", "mimeType": "image/jpeg", "buffer": data}
    page.locator("#take-photo").set_input_files(file)
    expect(page.locator("canvas.thumb").last).to_be_visible(timeout=20_000)


def kept_of(phone: Phone) -> dict[str, Any]:
    """The one photo on the phone, without its picture."""
    use = """async (store) => {
      const photos = await store.all("photos");
      return photos.map(({ blob, thumb, ...photo }) => ({ ...photo, whole: blob?.size ?? 0 }));
    }"""
    (photo,) = phone.module("store", use)
    told: dict[str, Any] = photo
    return told


def whole_and_once(phone: Phone, world: FieldWorld, kept: dict[str, Any]) -> Photo:
    """The service has the photo, byte by byte, once, with its finding; the phone has its thumbnail."""
    photo = Photo.objects.get()
    with photo.file.open("rb") as file:
        assert hashlib.sha256(file.read()).hexdigest() == kept["sha256"] == photo.sha256
    assert str(photo.pk) == kept["id"]
    assert (photo.siting, photo.visit, photo.author) == (world.siting, world.visit, world.crew)
    assert kept_of(phone)["state"] == "taken"
    assert not PhotoUpload.objects.exists()
    return photo


def test_a_photo_killed_in_a_piece_goes_on_where_it_ended(
    open_phone: OpenPhone, field_world: World, pieces: list[tuple[int, int]]
) -> None:
    world = field_world()
    phone = at_support(open_phone, world, has_own_disk=True)
    phone.cut()
    take(phone.page, noise())
    kept = kept_of(phone)
    assert kept["size_bytes"] > 4 * PIECE_BYTES
    phone.page.locator("#grade-ok").click()
    expect(phone.page.locator("#title")).to_have_text("strap T1")
    phone.kill()
    phone.reopen()
    phone.sign_in(world.crew)  # the browser forgets a session of its own when it ends
    assert kept_of(phone) == kept  # the photo was on the disk, whole

    sent: list[int] = []

    def third_hangs(route: Route) -> None:
        if "upload-offset" in route.request.headers:
            sent.append(int(route.request.headers["upload-offset"]))
        if len(sent) < 3:
            route.continue_()  # the third is on its way when the page dies

    phone.context.route("**/photo-uploads/**", third_hangs)
    phone.mend()
    until(phone.page, lambda: len(sent) == 3)
    assert Finding.objects.filter(visit=world.visit).count() == 1  # entries first
    phone.kill()
    assert not Photo.objects.exists()

    phone.reopen()
    phone.sign_in(world.crew)
    phone.module("sync", "(sync) => sync.now()")
    phone.expect_outbox("All sent", within_s=30)
    photo = whole_and_once(phone, world, kept)
    assert photo.finding == Finding.objects.get(visit=world.visit)
    assert [offset for offset, _ in pieces] == [number * PIECE_BYTES for number in range(len(pieces))]
    assert sum(length for _, length in pieces) == kept["size_bytes"]  # no byte came twice
    assert sent == [0, PIECE_BYTES, 2 * PIECE_BYTES]


def until(page: Page, is_so: Callable[[], bool]) -> None:
    """Wait until something is so that the page does not show."""
    for _ in range(400):
        if is_so():
            return
        page.wait_for_timeout(50)
    pytest.fail("it never came to that")


def test_a_lost_reply_costs_no_piece_twice_and_an_ungraded_thing_keeps_its_photo(
    open_phone: OpenPhone, field_world: World, pieces: list[tuple[int, int]]
) -> None:
    world = field_world()
    phone = at_support(open_phone, world)
    page = phone.page
    take(page, noise())
    kept = kept_of(phone)
    phone.go(f"visit/{world.visit.pk}/photos")
    expect(page.get_by_text("waits: A1 has no grade yet")).to_be_visible()
    page.reload()
    phone.shown()
    expect(page.get_by_text("waits: A1 has no grade yet")).to_be_visible()
    assert pieces == []
    phone.go("sync")
    page.get_by_role("link", name="1 photo waits: A1 has no grade yet").click()

    lost: list[Route] = []

    def second_is_lost(route: Route) -> None:
        if route.request.method == "PATCH" and len(pieces) == 1:
            route.fetch()  # the service hears it, the phone does not learn of it
            route.abort()
            lost.append(route)
        else:
            route.continue_()

    phone.context.route("**/photo-uploads/**", second_is_lost)
    page.get_by_role("link", name="Grade it").click()
    page.locator("#grade-note").click()
    page.locator("#words").fill("a crack")
    page.locator("#grade-note").click()
    until(page, lambda: bool(lost))
    phone.context.unroute_all(behavior="ignoreErrors")
    phone.module("sync", "(sync) => sync.now()")
    phone.expect_outbox("All sent", within_s=30)
    photo = whole_and_once(phone, world, kept)
    assert photo.finding is not None
    assert (photo.finding.grade, photo.finding.text) == ("note", "a crack")
    assert sum(length for _, length in pieces) == kept["size_bytes"], pieces


def test_another_person_s_photo_and_one_that_a_signed_out_phone_holds_wait(
    open_phone: OpenPhone, field_world: World
) -> None:
    world = field_world()
    phone = at_support(open_phone, world)
    page = phone.page
    phone.sign_out()
    take(page, noise((400, 300)))
    page.locator("#grade-ok").click()
    expect(page.locator("#title")).to_have_text("strap T1")
    kept = kept_of(phone)
    phone.sign_in(world.lead)
    page.reload()
    phone.go(f"visit/{world.visit.pk}/photos")
    expect(page.get_by_text("waits until Ana Ruelas signs in here")).to_be_visible()
    phone.expect_outbox("1 photo")
    assert Finding.objects.get().author == world.crew
    phone.sign_out()
    phone.sign_in(world.crew)
    page.reload()
    phone.expect_outbox("All sent", within_s=30)
    assert whole_and_once(phone, world, kept).finding == Finding.objects.get()


# The browser says that the disk is full, at whatever is stored of a photo.
FULL = """() => {
  const put = IDBObjectStore.prototype.put;
  IDBObjectStore.prototype.put = function (...given) {
    if (this.name === "photos") throw new DOMException("no room", "QuotaExceededError");
    return put.apply(this, given);
  };
  globalThis.makeRoom = () => void (IDBObjectStore.prototype.put = put);
}"""


def test_a_full_phone_says_that_a_photo_is_not_kept(open_phone: OpenPhone, field_world: World) -> None:
    world = field_world()
    phone = at_support(open_phone, world)
    page = phone.page
    page.evaluate(FULL)
    file: Any = {"name": "photo.jpg", "mimeType": "image/jpeg", "buffer": noise((400, 300))}
    page.locator("#take-photo").set_input_files(file)
    expect(page.get_by_text("This phone is full: the photo is not kept.")).to_be_visible()
    assert phone.module("store", "(store) => store.all('photos')") == []
    page.evaluate("makeRoom()")
    page.locator("#take-photo").set_input_files({**file, "buffer": b"no picture"})
    expect(page.get_by_text("This phone can't read that picture")).to_be_visible()
    take(page, noise((400, 300)))
    expect(page.get_by_text("This phone can't read that picture")).not_to_be_visible()
    assert kept_of(phone)["state"] == "unsent"
