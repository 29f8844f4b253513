"""Slowing down those who guess passwords."""

from rest_framework.request import Request
from rest_framework.throttling import SimpleRateThrottle
from rest_framework.views import APIView


class PasswordGuesses(SimpleRateThrottle):
    """Ten attempts a minute from one address by people who are not signed in."""

    scope = "password"
    rate = "10/min"

    def get_cache_key(self, request: Request, view: APIView) -> str | None:
        """Count by address; people who are signed in are not counted."""
        if request.user.is_authenticated:
            return None
        return str(self.cache_format % {"scope": self.scope, "ident": self.get_ident(request)})
