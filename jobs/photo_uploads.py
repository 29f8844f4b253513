"""Photos that come in piece by piece over a line that breaks: whatever was told to be here is here after a crash.

Each piece is on the disk before the end of it is told. What a process wrote that died before it told so is written
over by the next piece. Pieces lie in hidden files: a backup holds whole photos only, and what lies behind its row
afterwards is asked for again.
"""

import datetime
import hashlib
import os
import time
from collections.abc import Iterator
from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.core.files import File
from django.db import transaction
from django.http import Http404
from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.errors import DomainError
from jobs.field_work import check_same, keep_once
from jobs.models import Photo, PhotoUpload, User
from jobs.models.base import Act
from jobs.photos import MOST_BYTES, see_onto_disk, take
from jobs.rights import need

MOST_PIECE_BYTES = 256 * 1024
KEPT = datetime.timedelta(days=30)
_BESIDE = ("id", "author", "device", "sequence", "noted_at", "siting", "visit", "finding", "caption")
_COMPARED = ("author", "siting", "visit", "finding", "caption", "size_bytes", "sha256")


class OutOfStep(DomainError):
    """What was sent does not follow on what is here, of which ``received_bytes`` says how much that is."""

    def __init__(self, code: str, message: str, *, received_bytes: int) -> None:
        super().__init__(code, message, status=409)
        self.received_bytes = received_bytes


def begin(upload: PhotoUpload) -> bool:
    """Keep what photo is to come, under the key that the photo will have; tell whether that is new.

    Raises
    ------
    DomainError
        413 for a photo that is too large, 409 when the key is known with another photo.
    """
    if upload.size_bytes > MOST_BYTES:
        sentence = _("Give a photo of at most {most} MB.").format(most=MOST_BYTES // 1024**2)
        raise DomainError("too_large", sentence, fields={"size_bytes": sentence}, status=413)
    photo = Photo.objects.filter(pk=upload.pk).first()
    if photo is not None:
        check_same(_of_photo(photo), upload, compared=_COMPARED)
        return False
    return keep_once(upload, compared=_COMPARED)


def upload_of(key: UUID, *, seen_by: User) -> PhotoUpload:
    """Return an upload that somebody may see, with what is surely here of it; of one that is done, all.

    Raises
    ------
    Http404
        When nothing came in under this key, or it is not this person's to see.
    """
    upload = PhotoUpload.objects.visible_to(seen_by).filter(pk=key).first()
    if upload is not None:
        upload.received_bytes = _received_bytes(upload)
        return upload
    photo = Photo.objects.visible_to(seen_by).filter(pk=key).first()
    if photo is None:
        raise Http404
    return _of_photo(photo)


def check_own(upload: PhotoUpload, by: User) -> None:
    """Refuse to go on with what somebody else has begun; under a home that is archived meanwhile one still may."""
    need(by, Act.CHANGE, PhotoUpload)
    if sentence := upload.refusal(by, Act.CHANGE, ()):
        raise DomainError("permission_denied", sentence, status=403)


def own_upload(key: UUID, *, by: User) -> PhotoUpload:
    """Return an upload that one may go on with.

    Raises
    ------
    DomainError
        403 for another person's.
    Http404
        As ``upload_of``.
    """
    upload = upload_of(key, seen_by=by)
    check_own(upload, by)
    return upload


def add_piece(*, key: UUID, offset: int, piece: bytes, by: User) -> PhotoUpload:
    """Add the next bytes of a photo; return how far it is. With the last of them it becomes the photo.

    Raises
    ------
    OutOfStep
        For a piece that does not begin where the last one ended, such as one that came before already; and when the
        bytes of the whole are not those that were announced: it starts anew then.
    DomainError
        403 for another person's, 400 for more bytes than the photo has; as ``jobs.photos.take`` for what is no photo:
        it is given up then.
    Http404
        As ``upload_of``.
    """
    with transaction.atomic():
        found = PhotoUpload.objects.visible_to(by).select_for_update().filter(pk=key).first()
        if found is None:  # done, perhaps a moment ago by the same piece that came twice
            return own_upload(key, by=by)
        check_own(found, by)
        _check_follows(found, offset, piece)
        _write(found, offset, piece)
        found.received_bytes, found.touched_at = offset + len(piece), timezone.now()
        if found.photo_id is None:
            found.save(update_fields=["received_bytes", "touched_at"])
            return found
        refused = _finish(found)
    _path(found.pk).unlink(missing_ok=True)  # only once it is stored what became of it
    if refused is not None:
        raise refused
    return found


def _check_follows(upload: PhotoUpload, offset: int, piece: bytes) -> None:
    received = _received_bytes(upload)
    if offset != received:
        message = _("This piece does not follow on what is here: go on from byte {offset}.").format(offset=received)
        raise OutOfStep("wrong_offset", message, received_bytes=received)
    if offset + len(piece) > upload.size_bytes:
        sentence = _("This is more than the {size} bytes that the photo has.").format(size=upload.size_bytes)
        raise DomainError("invalid", sentence, fields={"size_bytes": sentence})


def _finish(upload: PhotoUpload) -> DomainError | None:
    """Make the photo of an upload that is whole, or return why that is none; what is decided is stored either way."""
    with _path(upload.pk).open("rb") as file:
        if hashlib.file_digest(file, "sha256").hexdigest() != upload.sha256:
            upload.received_bytes = 0
            upload.save(update_fields=["received_bytes", "touched_at"])
            sentence = _("What came in is not the photo that was announced: send it again from its beginning.")
            return OutOfStep("wrong_sha256", sentence, received_bytes=0)
        photo = Photo(**{name: getattr(upload, name) for name in _BESIDE})
        try:
            take(photo, File(file))
        except DomainError as error:
            refused: DomainError | None = error
        else:
            refused = None
    PhotoUpload.objects.filter(pk=upload.pk).delete()
    return refused


def _of_photo(photo: Photo) -> PhotoUpload:
    """Return a photo as the upload that is done with it."""
    known = {name: getattr(photo, name) for name in (*_BESIDE, "received_at", "size_bytes", "sha256")}
    return PhotoUpload(received_bytes=photo.size_bytes, **known)


# -- files -------------------------------------------------------------------------------------------------------


def _folder() -> Path:
    return Path(settings.MEDIA_ROOT, "uploads")


def _path(key: UUID) -> Path:
    return _folder() / f".{key}.part"


def _received_bytes(upload: PhotoUpload) -> int:
    """Return how much of it is here for sure: as much as was told, and no more than lies there."""
    try:
        return min(upload.received_bytes, _path(upload.pk).stat().st_size)
    except FileNotFoundError:
        return 0


def _write(upload: PhotoUpload, offset: int, piece: bytes) -> None:
    """Put a piece behind what is here, over what nobody was told of, and see it onto the disk."""
    path = _path(upload.pk)
    path.parent.mkdir(parents=True, exist_ok=True)
    is_new = not path.exists()
    with os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT, 0o600), "r+b") as file:
        file.truncate(offset)
        file.seek(offset)
        file.write(piece)
        file.flush()
        os.fsync(file.fileno())
    if is_new:
        for folder in path.parents[:2]:
            see_onto_disk(folder)


# -- what nobody goes on with ------------------------------------------------------------------------------------


@transaction.atomic
def clear_abandoned() -> None:
    """Forget uploads that nobody has gone on with for long, and pieces that belong to none."""
    long_ago = timezone.now() - KEPT
    abandoned = PhotoUpload.objects.filter(touched_at__lt=long_ago).select_for_update(skip_locked=True)
    PhotoUpload.objects.filter(pk__in=[upload.pk for upload in abandoned]).delete()
    known = {_path(key) for key in PhotoUpload.objects.values_list("pk", flat=True)}
    for path in _pieces_since_before(time.time() - KEPT.total_seconds()):
        if path not in known:
            path.unlink(missing_ok=True)


def _pieces_since_before(moment_s: float) -> Iterator[Path]:
    for path in _folder().glob(".*.part"):
        if path.stat().st_mtime < moment_s:
            yield path
