"""What every answer and request is held to: headers for browsers, and how much a request may bring."""

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.utils.translation import gettext as _

from jobs.api.errors import is_api

# Nothing here needs a sensor, a payment or another window; the camera is the file picker's business. A view that does
# need one sets the header itself, as the field page does, which listens to straps.
_FEATURES = (
    *("accelerometer", "autoplay", "camera", "display-capture", "encrypted-media", "fullscreen", "geolocation"),
    *("gyroscope", "magnetometer", "microphone", "midi", "payment", "publickey-credentials-get", "usb"),
)


def permissions(**allowed: str) -> str:
    """Return a Permissions-Policy that allows nothing but what is named, to the origin that it is allowed to."""
    return ", ".join(f"{feature}=({allowed.get(feature, '')})" for feature in _FEATURES)


HEADERS = {"Permissions-Policy": permissions(), "Cross-Origin-Resource-Policy": "same-origin"}
MOST_BYTES = 1024 * 1024  # of a request's body, for views that don't say ``most_bytes`` themselves


class Guards:
    """Adds the headers that Django's own middleware does not; turns away bodies larger than their view takes."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer with the headers."""
        answer = self.get_response(request)
        for name, value in HEADERS.items():
            answer.headers.setdefault(name, value)
        return answer

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        """Answer 413 before anything of a body that is too large has been read."""
        brought = request.META.get("CONTENT_LENGTH") or "0"
        if brought.isascii() and brought.isdigit() and int(brought) <= most_bytes(view):
            return None
        return too_large(request, most_bytes(view))


def most_bytes(view: Any) -> int:
    """Return how large a body a view takes: its own ``most_bytes``, or what is enough for any form and any row."""
    holder = getattr(view, "cls", None) or getattr(view, "view_class", None) or view
    return int(getattr(holder, "most_bytes", MOST_BYTES))


def too_large(request: HttpRequest, most: int) -> HttpResponse:
    """Return the answer to a body that is too large."""
    size = f"{most // 1024**2} MB" if most >= 1024**2 else f"{most // 1024} kB"
    message = _("The request is too large: at most %(most)s are taken here.") % {"most": size}
    if is_api(request):
        return JsonResponse({"code": "too_large", "message": message, "fields": {}}, status=413)
    return render(request, "413.html", {"message": message}, status=413)
