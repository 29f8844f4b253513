"""What phones sent and could not be taken: why, in the reader's language; and leaving out what will not be mended."""

import uuid
from typing import TypedDict

from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.errors import DomainError
from jobs.models import User
from jobs.models.base import Act
from jobs.rights import need
from jobs.spoken import retold
from surveys.models import SyncEntry

WHY_AT_MOST = 200


class Reason(TypedDict):
    """Why an entry was set aside."""

    code: str
    message: str
    fields: dict[str, str]


def reason_told(reason: Reason | None) -> Reason | None:
    """Return why an entry was set aside in the language that is active; English is kept, for readers of any."""
    if reason is None:
        return None
    fields = {path: retold(sentence) for path, sentence in reason.get("fields", {}).items()}
    return {"code": reason.get("code", ""), "message": retold(reason.get("message", "")), "fields": fields}


def leave_out(*, entry: uuid.UUID, by: User, why: str) -> None:
    """Take an entry off the list of what was set aside; it stays kept, with who left it out, when and why.

    A phone that sends it again is answered as before, and where it can be taken by then, it is.

    Raises
    ------
    DomainError
        404 when ``by`` sees no such entry, 409 when it doesn't wait any more, 400 without a reason.
    """
    need(by, Act.CHANGE, SyncEntry)
    why = why.strip()
    if not 0 < len(why) <= WHY_AT_MOST:
        message = _("Say why, in at most {count} characters.").format(count=WHY_AT_MOST)
        raise DomainError("invalid", message, fields={"why": message})
    rows = SyncEntry.objects.visible_to(by).filter(entry=entry)
    if rows.filter(state=SyncEntry.State.SET_ASIDE).update(
        state=SyncEntry.State.LEFT_OUT, left_out_by=by, left_out_at=timezone.now(), left_out_why=why
    ):
        return
    if rows.exists():
        raise DomainError("not_waiting", _("This entry doesn't wait any more."), status=409)
    raise DomainError("not_found", _("There is no such entry."), status=404)
