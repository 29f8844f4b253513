"""Signing in with a device token: ``Authorization: Bearer <secret>``."""

import datetime

from django.db.models import Q
from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from jobs.models import DeviceToken, User
from jobs.models.people import digest_of

LAST_USED_EVERY = datetime.timedelta(minutes=1)


class DeviceTokenAuthentication(BaseAuthentication):
    """One query a request, and nothing cached, so that a revoked token stops at once."""

    def authenticate(self, request: Request) -> tuple[User, DeviceToken] | None:
        """Return the person and the token, or None when the request carries no token."""
        scheme, _, secret = get_authorization_header(request).decode("latin-1").partition(" ")
        if scheme.lower() != "bearer":
            return None
        token = DeviceToken.objects.valid().select_related("user").filter(digest=digest_of(secret.strip())).first()
        if token is None or not token.user.is_active:
            raise AuthenticationFailed("This device token is unknown, expired or revoked: sign in again.")
        note_use(token)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        """Return the challenge that a 401 carries."""
        return 'Bearer realm="api"'


def note_use(token: DeviceToken) -> None:
    """Keep when a token was last used, to the minute, so that most requests write nothing."""
    now = timezone.now()
    if token.last_used_at is None or token.last_used_at < now - LAST_USED_EVERY:
        stale = Q(last_used_at__isnull=True) | Q(last_used_at__lt=now - LAST_USED_EVERY)
        DeviceToken.objects.filter(stale, pk=token.pk).update(last_used_at=now)


class DeviceTokenScheme(OpenApiAuthenticationExtension):
    """The token in the OpenAPI document."""

    target_class = "jobs.api.authentication.DeviceTokenAuthentication"
    name = "deviceToken"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        """Return the OpenAPI security scheme."""
        return {"type": "http", "scheme": "bearer", "description": "A device token, shown once when it is issued."}
