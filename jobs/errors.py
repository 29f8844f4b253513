"""What services raise: one exception, which the API and the pages turn into words at a field."""

from collections.abc import Mapping

from django.utils.translation import gettext as _


class DomainError(Exception):
    """Something that the job's rules don't allow, in a plain sentence.

    ``code`` is stable; ``fields`` names the fields to blame, each with its own sentence; ``status`` is what the API
    answers with (400 wrong, 403 not allowed, 404 unknown, 409 clashes with what is stored).
    """

    def __init__(
        self, code: str, message: str, *, fields: Mapping[str, str] | None = None, status: int = 400
    ) -> None:
        self.code = code
        self.message = message
        self.fields = dict(fields or {})
        self.status = status
        super().__init__(message)


class Stale(DomainError):
    """Somebody else has changed the row since it was read; nothing was written over."""

    def __init__(self) -> None:
        super().__init__(
            "stale",
            _("Somebody else has changed this meanwhile: look at what it says now, and change that."),
            status=412,
        )
