"""Answers that are a picture: a photo as it came in, or a small clean one."""

from django.http import Http404, HttpResponse

from jobs.models import Photo
from jobs.photos import small_copy

KEPT_BY_BROWSERS_S = 3600


def original_of(photo: Photo) -> HttpResponse:
    """Answer with a photo as it came in.

    Raises
    ------
    Http404
        When its file is gone from the disk.
    """
    try:
        with photo.file.open("rb") as source:
            return picture(source.read(), photo.media_type)
    except FileNotFoundError:
        raise Http404 from None


def small_of(photo: Photo) -> HttpResponse:
    """Answer with a small clean copy; ``Http404`` when the file is gone from the disk."""
    try:
        return picture(small_copy(photo), "image/jpeg")
    except FileNotFoundError:
        raise Http404 from None


def picture(data: bytes, media_type: str) -> HttpResponse:
    """Answer with a picture: nothing in it runs, and only the one browser keeps it for a while."""
    answer = HttpResponse(data, content_type=media_type)
    answer["Content-Disposition"] = "inline"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    answer["Cache-Control"] = f"private, max-age={KEPT_BY_BROWSERS_S}"
    return answer
