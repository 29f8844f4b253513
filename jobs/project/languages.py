"""Which language an answer is in: the person's own; until somebody has signed in, the one that the browser asks for.

Whoever comes with a device token is known later, and answered in their language from there on:
``jobs.api.authentication``.
"""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import translation


class PersonsLanguage:
    """Speaks the language of whoever has a session, whatever this browser asks for."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer in the person's language."""
        # Without a session's cookie nobody is looked for.
        if settings.SESSION_COOKIE_NAME in request.COOKIES and request.user.is_authenticated:
            translation.activate(request.user.language)
            request.LANGUAGE_CODE = translation.get_language()
        return self.get_response(request)
