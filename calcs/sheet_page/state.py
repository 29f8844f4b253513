"""Whether a plan may be built from: not approved, approved by whom, or stale."""

from dataclasses import dataclass

from django.utils import formats, timezone
from django.utils.translation import gettext as _

from calcs.approving import why_not_standing
from calcs.documents.blocks import Note
from calcs.models import Approval, Plan
from calcs.staleness import why_stale
from calcs.work import has_begun, progress_of_work
from jobs.models import Visit
from jobs.papers import missing_papers
from jobs.rulebook import Rules


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """The word that stands on every sheet, and what it means."""

    word: str
    notes: tuple[Note, ...]


def mark_of(plan: Plan, approval: Approval | None, *, is_current: bool) -> Mark:
    """Return the mark of a plan; ``approval`` is the newest of this plan, withdrawn or not."""
    notes = []
    is_standing = approval is not None and approval.withdrawn_at is None
    if approval and is_standing:
        stale = why_not_standing(approval, has_begun=has_begun(approval, progress_of_work(approval))) or ""
    else:
        stale = _stale_words(plan, is_current=is_current)
    if stale:
        word = _("STALE")
        told = _("STALE: {why} Nothing is built from this sheet.").format(why=stale)
        notes.append(Note(words=told, is_stop=True))
    elif approval is None or not is_standing:
        word = _("NOT APPROVED")
        notes.append(Note(words=_("NOT APPROVED: to look at only. Nothing is built from this sheet."), is_stop=True))
    else:
        word = _("Approved, number {number}").format(number=approval.number)
    if approval is not None:
        notes.append(Note(words=_approval_words(approval)))
    if plan.is_provisional:
        notes.append(Note(words=_("Provisional: it rests on a reading that is suspect or unchecked."), is_stop=True))
    return Mark(word=word, notes=tuple(notes))


def papers_missing(visit: Visit | None, rules: Rules) -> tuple[Note, ...]:
    """Return the papers without which nobody starts on the day of the visit; without a visit there is no day."""
    if visit is None:
        return ()
    day = timezone.localtime(visit.starts_at).date()
    words = _("Not to start on {day}: {why}")
    return tuple(
        Note(words=words.format(day=formats.date_format(day, "j M Y"), why=block.words), is_stop=True)
        for block in missing_papers(visit.siting, day, rules)
    )


def _stale_words(plan: Plan, *, is_current: bool) -> str:
    why = why_stale(plan.survey)
    if not is_current or why in ("readings", "not_computed"):
        return _("The readings have changed since this plan was made.")
    return _("The home's record or the rules have changed since this plan was made.") if why else ""


def _approval_words(approval: Approval) -> str:
    told = _("Approval number {number} by {who}, {day}.").format(
        number=approval.number, who=approval.approved_by, day=_day(approval)
    )
    if approval.reason:
        told = " ".join([told, _("The manager's reason: {reason}").format(reason=approval.reason)])
    if approval.withdrawn_at is not None:
        words = _("Withdrawn by {who}: {why}").format(who=approval.withdrawn_by, why=approval.withdrawn_why)
        told = " ".join([told, words])
    return told


def _day(approval: Approval) -> str:
    return formats.date_format(timezone.localtime(approval.approved_at), "j M Y")
