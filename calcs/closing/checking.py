"""Noting what was checked at the end of the work, a little at a time and perhaps from several phones."""

from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from calcs.models import Approval, Closing
from jobs.errors import DomainError
from jobs.models import User
from jobs.models.base import Act
from jobs.rights import need_on


@transaction.atomic
def note_checked(*, approval: Approval, by: User, fields: Mapping[str, Any]) -> Closing:
    """Set the fields of an approval's closing that are named, and leave the others as they are.

    Raises
    ------
    DomainError
        403 for whom the roles don't allow it and once it is closed, 409 under an archived home and when the approval
        is withdrawn.
    """
    kept = Approval.objects.select_for_update(no_key=True).get(pk=approval.pk)  # of two phones one begins it
    if kept.withdrawn_at is not None:
        raise DomainError("withdrawn", _("This approval is withdrawn: the one that stands is closed."), status=409)
    begun = Closing.objects.select_for_update().filter(approval=kept).first()
    closing = begun or Closing(approval=kept)
    for name, value in fields.items():
        setattr(closing, name, value)
    closing.save()
    need_on(by, Act.CHANGE, closing, fields)
    return closing
