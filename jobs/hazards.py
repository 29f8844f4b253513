"""Hazards of homes: noted by anybody of the company, cleared with a reason by those who lead."""

from django.utils import timezone
from django.utils.translation import gettext as _

from jobs.errors import DomainError
from jobs.field_work import keep_once
from jobs.models import Hazard, User
from jobs.models.base import Act
from jobs.rights import need_on

WHY_AT_MOST = 200
_NOTED = ("home", "kind", "text", "photo", "author")


def note_hazard(hazard: Hazard) -> bool:
    """Keep a hazard that somebody noted; tell whether it is new.

    Raises
    ------
    DomainError
        When its photo is of another home, or its key is stored with other content.
    """
    if hazard.photo is not None and hazard.photo.siting.home_id != hazard.home_id:
        sentence = _("This photo is of another home.")
        raise DomainError("invalid", _("Some fields need another look."), fields={"photo": sentence})
    return keep_once(hazard, compared=_NOTED)


def clear_hazard(*, hazard: Hazard, by: User, why: str) -> None:
    """Take a hazard off what is shown at every visit; it stays kept, with who cleared it, when and why.

    Raises
    ------
    DomainError
        403 when ``by`` may not, 400 without a reason, 409 when it is cleared already.
    """
    need_on(by, Act.CHANGE, hazard)
    why = why.strip()
    if not 0 < len(why) <= WHY_AT_MOST:
        sentence = _("Say why, in at most {count} characters.").format(count=WHY_AT_MOST)
        raise DomainError("invalid", sentence, fields={"why": sentence})
    still_open = Hazard.objects.open().filter(pk=hazard.pk)
    if not still_open.update(cleared_at=timezone.now(), cleared_by=by, cleared_why=why):
        raise DomainError("cleared", _("This hazard is cleared already."), status=409)
