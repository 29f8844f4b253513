"""The closing gate: what is still open before a home that was lifted is left, and closing its work for good."""

from collections.abc import Iterable, Iterator
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from calcs import nightly
from calcs.closing.checking import note_checked
from calcs.closing.opens import Open, listed
from calcs.closing.readings import open_about_survey
from calcs.closing.seen import Seen
from calcs.closing.touched import gas_moved, newest_checks, straps_to_check, work_ended_at, works_of
from calcs.models import Approval, Closing
from jobs.errors import DomainError
from jobs.head_counts import under_now
from jobs.models import Condition, DoorsWindows, StrapCheck, User
from jobs.models.base import Act
from jobs.rights import MANAGER, is_manager, need_on, refusal
from surveys.models import Survey

__all__ = [
    "Open",
    "Seen",
    "check_as_left",
    "close",
    "closing_of",
    "closings_of",
    "note_checked",
    "what_is_open",
]


def closing_of(approval: Approval) -> Closing:
    """Return the closing of an approval; one that is not stored yet, where nobody has begun it."""
    return closings_of([approval])[approval.pk]


def closings_of(approvals: Iterable[Approval]) -> dict[UUID, Closing]:
    """Return the closing of each approval, by the approval's key, as ``closing_of`` does of one."""
    by_key = {approval.pk: approval for approval in approvals}
    beside = ("as_left__siting__home", "as_left__author", "closed_by")
    begun = {row.approval_id: row for row in Closing.objects.filter(approval__in=by_key).select_related(*beside)}
    found = {key: begun.get(key) or Closing(approval=approval) for key, approval in by_key.items()}
    for key, closing in found.items():
        closing.approval = by_key[key]  # with all that it came with
    return found


def check_as_left(closing: Closing) -> None:
    """Refuse a survey that can't be the one as left.

    Raises
    ------
    DomainError
        400 for a survey of another home, or of another stage.
    """
    survey = closing.as_left
    if survey is None:
        return
    if survey.siting_id != closing.approval.siting_id or survey.stage != Survey.Stage.AS_LEFT:
        sentence = _("Choose a survey of this home that was made as left.")
        raise DomainError("invalid", sentence, fields={"as_left": sentence})


def what_is_open(closing: Closing, seen: Seen | None = None) -> tuple[Open, ...]:
    """Tell everything that is still open, in the order in which a crew would do it; nothing: it may be closed.

    ``seen`` is what was read for this and other closings together.
    """
    seen = seen or Seen([closing])
    works = works_of(closing, seen)
    return (
        *open_about_survey(closing, seen),
        *_about_home(closing),
        *_about_straps(closing, works, seen),
        *_about_water(closing),
        *_about_gas(closing, works, seen),
        *_about_people(closing, works, seen),
    )


def _about_home(closing: Closing) -> Iterator[Open]:
    if not closing.are_wedges_tapped:
        yield Open(code="wedges", words=_("Not every wedge was tapped."))
    if closing.doors_windows == DoorsWindows.NOT_TESTED:
        yield Open(code="doors", words=_("Doors and windows were not tested."))
    elif closing.doors_windows == DoorsWindows.STICK and not closing.exceptions.strip():
        yield Open(code="doors_stick", words=_("Doors or windows stick: say which in the exceptions."))


def _about_straps(closing: Closing, works: list[Approval], seen: Seen) -> Iterator[Open]:
    if not closing.are_straps_tight:
        yield Open(code="straps", words=_("Not every strap is tight again."))
    straps = straps_to_check(works, seen)
    checks = newest_checks(straps, work_ended_at(works, seen), seen)
    unchecked = [strap.code for strap in straps if strap.pk not in checks]
    if unchecked:
        words = _("No check since the work of strap {straps}.").format(straps=listed(unchecked))
        yield Open(code="strap_checks", words=words)
    wrong = [strap.code for strap in straps if strap.pk in checks and not _is_tight(checks[strap.pk])]
    if wrong:
        words = _("Found slack or not in order: strap {straps}.").format(straps=listed(wrong))
        yield Open(code="strap_slack", words=words)


def _is_tight(check: StrapCheck) -> bool:
    return check.slack_in == 0 and check.grade in (Condition.OK, Condition.NOTE)


def _about_water(closing: Closing) -> Iterator[Open]:
    if not closing.is_leak_checked:
        yield Open(code="leaks", words=_("Nobody has looked for leaks with the water on."))
    if not closing.are_drains_checked:
        yield Open(code="drains", words=_("Water was not run through every drain."))


def _about_gas(closing: Closing, works: list[Approval], seen: Seen) -> Iterator[Open]:
    if closing.gas == Closing.Gas.NOT_SAID:
        yield Open(code="gas", words=_("Nothing is said of the gas line."))
    elif closing.gas == Closing.Gas.NOT_MOVED and (moved := gas_moved(works, seen)):
        words = _("The work moves or frees the gas line {lines}: a licensed fitter checks it.")
        yield Open(code="gas_moved", words=words.format(lines=listed(line.code for line in moved)))


def _about_people(closing: Closing, works: list[Approval], seen: Seen) -> Iterator[Open]:
    if still_in := under_now(seen.head_counts[closing.approval.siting_id]):
        words = _("Counted in and not out: {names}. Nobody closes past this: find them, and count them out.")
        yield Open(code="still_in", words=words.format(names=", ".join(still_in)), is_life=True)
    if not closing.is_everybody_out:
        yield Open(code="head_count", words=_("Nobody was counted out by name."))
    last_photo_at = seen.last_photo_at.get(closing.approval.siting_id)
    if last_photo_at is None or last_photo_at < works[0].approved_at:
        yield Open(code="photos", words=_("There is no photo since the work was approved."))


@transaction.atomic
def close(*, closing: Closing, by: User, reason: str = "") -> Closing:
    """Close the work of an approval. It changes no more afterwards.

    Parameters
    ----------
    closing : Closing
        As it was read.
    by : User
        Who closes it.
    reason : str
        Why, where something is open: the manager's to give; kept only then.

    Raises
    ------
    DomainError
        403 for whom the roles don't allow it and once it is closed, 409 when its approval is withdrawn, and when
        something is open without the manager's reason or is a matter of life, 412 when somebody has changed it since
        it was read.
    """
    need_on(by, Act.CHANGE, closing)
    Closing.objects.select_for_update().get(pk=closing.pk)
    closing.check_unchanged()
    if Approval.objects.filter(pk=closing.approval_id, withdrawn_at__isnull=False).exists():
        raise DomainError("withdrawn", _("This approval is withdrawn: the one that stands is closed."), status=409)
    still_open, reason = what_is_open(closing), reason.strip()
    if still_open:
        _check_reason(still_open, by, reason)
    closing.closed_at, closing.closed_by = timezone.now(), by
    closing.manager_reason = reason if still_open else ""
    closing.save()
    if closing.as_left_id is None:  # lifted, and nobody has read how it stands
        nightly.refresh_when_kept(closing.approval.siting_id)
    return closing


def _check_reason(still_open: tuple[Open, ...], by: User, reason: str) -> None:
    told = " ".join(one.words for one in still_open)
    if any(one.is_life for one in still_open):
        sentence = _("Not closed, for something is open: {open}").format(open=told)
        raise DomainError("open", sentence, status=409)
    if not reason:
        sentence = _("Not closed, for something is open: {open}").format(open=told)
        raise DomainError(
            "open", sentence, fields={"reason": _("Only the manager closes it so, with a reason.")}, status=409
        )
    if not is_manager(by):
        raise DomainError("permission_denied", refusal(MANAGER), fields={"reason": refusal(MANAGER)}, status=403)
