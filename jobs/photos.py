"""Photos: what may come in, where it lies, and copies that tell nothing but what is seen in them.

The original is kept as it came, with what the camera wrote into it: where and when a photo was taken is part of the
record. It is shown to people of the company only. Whoever else sees a photo gets a ``clean_copy``.

A file is there before its row and stays when nobody knows whether the row was stored: at worst one lies there for
nothing, never the other way round. Copies are hidden files beside the original, made anew whenever they are missing.
"""

import hashlib
import io
import os
import struct
import warnings
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from django.core.files.base import File
from django.core.files.storage import default_storage
from django.db import InterfaceError, OperationalError
from django.utils import timezone
from django.utils.translation import gettext as _
from PIL import Image, UnidentifiedImageError

from jobs.errors import DomainError
from jobs.field_work import keep_once
from jobs.models import Photo
from jobs.models.base import new_key

if TYPE_CHECKING:
    Upload = File[bytes]  # generic to the type checker only
else:
    Upload = File

MOST_BYTES = 12 * 1024 * 1024
MOST_BODY_BYTES = MOST_BYTES + 64 * 1024  # of a form around such a file
MOST_PIXELS = 60_000_000
SMALL_PX = 480
TYPES = {"JPEG": ("image/jpeg", "jpg"), "PNG": ("image/png", "png"), "WEBP": ("image/webp", "webp")}
_JPEG_WITH_MORE = "MPO"  # what phones write with a second picture for depth behind the first: a JPEG to everybody
_COMPARED = ("siting", "visit", "finding", "caption", "author", "sha256")
_QUALITY = 88


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What a file turned out to be, by decoding all of it; sizes as it is shown, upright."""

    media_type: str
    ending: str
    width_px: int
    height_px: int
    size_bytes: int
    sha256: str


def take(photo: Photo, upload: Upload) -> bool:
    """Keep a photo under the key that it brings; tell whether it is new.

    The file is on the disk before its row is there, so that no row speaks of a file that was never stored.

    Raises
    ------
    DomainError
        400 or 413 for a file that is not taken, 409 when the key is stored with another photo.
    """
    found = check(upload)
    for name in ("media_type", "width_px", "height_px", "size_bytes", "sha256"):
        setattr(photo, name, getattr(found, name))
    photo.file.name = _store(upload, found.ending)
    try:
        is_new = keep_once(photo, compared=_COMPARED)
    except (OperationalError, InterfaceError):
        raise  # the database went away, perhaps after it had stored the row: the file stays
    except BaseException:
        default_storage.delete(photo.file.name)
        raise
    if not is_new:
        default_storage.delete(photo.file.name)
    return is_new


def check(upload: Upload) -> Checked:
    """Decode a whole file; return what it is.

    Raises
    ------
    DomainError
        400 at ``file`` when it is no whole photo of a type that is taken, or has too many points; 413 when it is
        too large.
    """
    size = upload.size or 0
    if not size:
        raise _refused(_("This file is empty."))
    if size > MOST_BYTES:
        sentence = _("Give a photo of at most {most} MB.").format(most=MOST_BYTES // 1024**2)
        raise DomainError("too_large", sentence, fields={"file": sentence}, status=413)
    try:
        image = _opened(upload)
        kind, width, height = image.format or "", *_upright_size(image)
        image.draft("RGB", (width // 8, height // 8))  # a JPEG is read to its end all the same
        image.load()
    except UnidentifiedImageError:
        raise _refused(_("This is no photo that can be taken: give a JPEG, PNG or WebP file.")) from None
    except _TOO_MANY:
        most = MOST_PIXELS // 10**6
        raise _refused(_("This photo has more than {most} million points.").format(most=most)) from None
    except _UNREADABLE:
        raise _refused(_("This photo is damaged or cut off.")) from None
    upload.seek(0)
    media_type, ending = TYPES["JPEG" if kind == _JPEG_WITH_MORE else kind]
    return Checked(
        media_type=media_type,
        ending=ending,
        width_px=width,
        height_px=height,
        size_bytes=size,
        sha256=hashlib.file_digest(upload, "sha256").hexdigest(),
    )


def clean_copy(photo: Photo) -> bytes:
    """Return a JPEG of what is seen in a photo, upright: no place, time, camera, name or other word is in it."""
    return _copy(photo, "clean", most_px=None)


def small_copy(photo: Photo) -> bytes:
    """Return a clean JPEG of at most 480 points a side."""
    return _copy(photo, "small", most_px=SMALL_PX)


def _copy(photo: Photo, kind: str, *, most_px: int | None) -> bytes:
    """Return a copy that was made before, or make it and keep it beside the original."""
    original = Path(photo.file.path)
    path = original.with_name(f".{original.name}.{kind}.jpg")
    with suppress(FileNotFoundError):
        return path.read_bytes()
    made = _clean(photo, most_px=most_px)
    with suppress(OSError):  # a disk that is full or read-only: it is made again next time
        _put(path, made)
    return made


# -- files -----------------------------------------------------------------------------------------------------


def _store(upload: Upload, ending: str) -> str:
    """Write a file under a name of our own and see it onto the disk, with the folders on its way; return the name."""
    upload.seek(0)
    name = default_storage.save(f"photos/{timezone.now():%Y/%m}/{new_key()}.{ending}", upload)
    path = Path(default_storage.path(name))
    for place in (path, *path.parents[: name.count("/") + 1]):
        see_onto_disk(place)
    return name


def see_onto_disk(place: Path) -> None:
    """Wait until a file or folder is on the disk."""
    handle = os.open(place, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _put(path: Path, data: bytes) -> None:
    """Write a file whole or not at all, also where two do so at once."""
    half = path.with_name(f".{new_key()}.half")
    try:
        half.write_bytes(data)
        half.replace(path)
    finally:
        half.unlink(missing_ok=True)


# -- pictures --------------------------------------------------------------------------------------------------


class _TooManyPointsError(Exception):
    """A small file can unfold to more than the memory holds."""


_TOO_MANY = (_TooManyPointsError, Image.DecompressionBombError, Image.DecompressionBombWarning)
# What decoders raise over bytes that make no sense to them.
_UNREADABLE = (OSError, SyntaxError, ValueError, EOFError, TypeError, ArithmeticError, LookupError, struct.error)
# EXIF 2.3, Orientation: how the picture is turned to stand upright, by how it lies.
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_ON_ITS_SIDE = (5, 6, 7, 8)


def _opened(source: Upload) -> Image.Image:
    source.seek(0)
    with warnings.catch_warnings():
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        image = Image.open(source, formats=list(TYPES))
    if image.width * image.height > MOST_PIXELS:
        raise _TooManyPointsError
    return image


def _orientation(image: Image.Image) -> int:
    """Return how a picture lies; upright where what the camera wrote makes no sense: that spoils no photo."""
    try:
        found = image.getexif().get(0x0112, 1)
    except _UNREADABLE:
        return 1
    return found if isinstance(found, int) else 1


def _upright_size(image: Image.Image) -> tuple[int, int]:
    return (image.height, image.width) if _orientation(image) in _ON_ITS_SIDE else (image.width, image.height)


def _clean(photo: Photo, *, most_px: int | None) -> bytes:
    """Paint what is seen onto a new picture, so that nothing else comes along."""
    with photo.file.open("rb") as source, _opened(source) as image:
        turn = _TURNS.get(_orientation(image))
        if most_px is not None:
            image.draft("RGB", (most_px, most_px))
        seen = _in_colours(image)
        if most_px is not None:
            seen.thumbnail((most_px, most_px))
    painted = Image.new("RGB", seen.size, "white")
    painted.paste(seen, mask=seen if seen.mode == "RGBA" else None)
    out = io.BytesIO()
    (painted if turn is None else painted.transpose(turn)).save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()


def _in_colours(image: Image.Image) -> Image.Image:
    if image.mode.startswith("I;16"):  # grey in 16 bits, which a plain conversion cuts off at 8
        return image.convert("I").point(lambda value: value * (1 / 256)).convert("RGB")
    return image.convert("RGBA" if image.has_transparency_data else "RGB")


def _refused(sentence: str) -> DomainError:
    return DomainError("invalid", sentence, fields={"file": sentence})
