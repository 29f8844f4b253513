"""Whether the work by an approved plan may begin on a day, and whether it may go on."""

import datetime

from calcs.approving import why_not_standing, why_not_start
from calcs.models import Approval
from calcs.work import WorkProgress, has_begun


def why_not_begin(approval: Approval, progress: WorkProgress, on: datetime.date) -> tuple[str, ...]:
    """Say what keeps everybody from beginning on a day; nothing once work has begun: the record moves on with it."""
    return () if has_begun(approval, progress) else tuple(each.words for each in why_not_start(approval, on))


def why_not_go_on(approval: Approval, progress: WorkProgress) -> str:
    """Say what speaks against work that has begun: readings that came since, another assessment; empty else."""
    return (has_begun(approval, progress) and why_not_standing(approval, has_begun=True)) or ""
