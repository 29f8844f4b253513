"""Signing in with a device token: ``Authorization: Bearer <secret>``."""

import datetime
from uuid import UUID

from django.db import DEFAULT_DB_ALIAS
from django.db.models import Model, Q
from django.utils import timezone, translation
from django.utils.translation import gettext_lazy
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from jobs.models import DeviceToken, User
from jobs.models.people import digest_of
from jobs.prepared import prepared_cursor

LAST_USED_EVERY = datetime.timedelta(minutes=1)
CHALLENGE = 'Bearer realm="api"'
REFUSED = gettext_lazy("This device token is unknown, expired or revoked: sign in again.")


class DeviceTokenAuthentication(BaseAuthentication):
    """One query a request, and nothing cached, so that a revoked token stops at once. It sets the language.

    ``is_forgiving`` takes a token that no longer holds for none, where a name and a password may stand in for it.
    """

    def __init__(self, *, is_forgiving: bool = False) -> None:
        self.is_forgiving = is_forgiving

    def authenticate(self, request: Request) -> tuple[User, DeviceToken] | None:
        """Return the person and the token, or None when the request carries no token."""
        scheme, _, secret = get_authorization_header(request).decode("latin-1").partition(" ")
        if scheme.lower() != "bearer":
            return None
        token = _find(secret.strip())
        if token is None and self.is_forgiving:
            return None
        if token is None:
            raise AuthenticationFailed(REFUSED)
        _note_use(token.pk, token.last_used_at)
        translation.activate(token.user.language)
        return token.user, token

    def authenticate_header(self, request: Request) -> str:
        """Return the challenge that a 401 carries."""
        return CHALLENGE


_VALID = """
FROM jobs_devicetoken token JOIN jobs_user person ON person.id = token.user_id
WHERE token.digest = %s AND token.revoked_at IS NULL AND token.expires_at > clock_timestamp() AND person.is_active
"""
HOLDER_SQL = (
    f"SELECT token.id, token.last_used_at, token.user_id, person.roles, person.is_superuser, person.language {_VALID}"
)


def _columns_of(model: type[Model], called: str) -> tuple[list[str], str]:
    """Return the names of all fields of a model, and what selects them from a table that is ``called`` so."""
    fields = model._meta.concrete_fields
    return [field.attname for field in fields], ", ".join(f'{called}."{field.column}"' for field in fields)


_OF_TOKEN, _TOKEN_COLUMNS = _columns_of(DeviceToken, "token")
_OF_PERSON, _PERSON_COLUMNS = _columns_of(User, "person")
WHOLE_HOLDER_SQL = f"SELECT {_TOKEN_COLUMNS}, {_PERSON_COLUMNS} {_VALID}"


def _find(secret: str) -> DeviceToken | None:
    """Return a token that holds, with its person. Building this query took longer than asking it."""
    with prepared_cursor() as cursor:
        cursor.execute(WHOLE_HOLDER_SQL, [digest_of(secret)])
        row = cursor.fetchone()
    if row is None:
        return None
    token = DeviceToken.from_db(DEFAULT_DB_ALIAS, _OF_TOKEN, row[: len(_OF_TOKEN)])
    token.user = User.from_db(DEFAULT_DB_ALIAS, _OF_PERSON, row[len(_OF_TOKEN) :])
    return token


def holder_of(row: tuple[UUID, datetime.datetime | None, UUID, list[str], bool, str] | None) -> User:
    """Return whose device token ``HOLDER_SQL`` found, by the same rules as above, with roles and language only.

    Raises
    ------
    AuthenticationFailed
        When it found none: the token is unknown, expired or revoked, or its person is not active.
    """
    if row is None:
        refusal = AuthenticationFailed(REFUSED)
        refusal.auth_header = CHALLENGE  # type: ignore[attr-defined]  # set by the framework's views in the same way
        raise refusal
    token_id, last_used_at, user_id, roles, is_superuser, language = row
    _note_use(token_id, last_used_at)
    translation.activate(language)
    return User(id=user_id, roles=roles, is_superuser=is_superuser, language=language)


def _note_use(token_id: UUID, last_used_at: datetime.datetime | None) -> None:
    """Keep when a token was last used, to the minute, so that most requests write nothing."""
    now = timezone.now()
    if last_used_at is None or last_used_at < now - LAST_USED_EVERY:
        stale = Q(last_used_at__isnull=True) | Q(last_used_at__lt=now - LAST_USED_EVERY)
        DeviceToken.objects.filter(stale, pk=token_id).update(last_used_at=now)


class DeviceTokenScheme(OpenApiAuthenticationExtension):
    """The token in the OpenAPI document."""

    target_class = "jobs.api.authentication.DeviceTokenAuthentication"
    name = "deviceToken"

    def get_security_definition(self, auto_schema: object) -> dict[str, str]:
        """Return the OpenAPI security scheme."""
        return {"type": "http", "scheme": "bearer", "description": "A device token, shown once when it is issued."}
