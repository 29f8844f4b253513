"""Why a home is due, in one sentence of the reader's language, from the numbers that are stored."""

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from calcs.models import Due

Basis = Due.Basis


def why_due(due: Due) -> str:
    """Return why a home is due when it is; the row comes with its survey and both points of its driver.

    A home that was never read, and one that could not be computed, have a sentence as well.
    """
    words = _why(due)
    is_still = _("Its surveys together say that it stands still.")
    return f"{words} {is_still}" if due.is_stable else words


def lifted_words() -> str:
    """Say that nobody knows how a home stands since it was lifted."""
    return _("It was lifted and not read since: read it.")


def basis_words(due: Due) -> str:
    """Say what its due day rests on."""
    return _("a lift after it was last read") if due.is_lifted_since_read else str(due.get_basis_display())


def _why(due: Due) -> str:
    day = date_format(due.due_on, "j M Y") if due.due_on else ""
    pair = {"a": due.driver_a.label if due.driver_a else "?", "b": due.driver_b.label if due.driver_b else "?"}
    match due.basis:
        case Basis.NOTHING:
            return _("It was never read: nothing is known of how it stands.")
        case Basis.CALENDAR:
            return _("Too little is known of how it moves: it is due on {day} by the calendar rule.").format(day=day)
        case Basis.RE_READ if due.is_lifted_since_read:
            return lifted_words()
        case Basis.RE_READ:
            return _("The last survey is too noisy to tell whether a pair has passed its limit: read it again first.")
    return _by_forecast(due, day, pair)


def _by_forecast(due: Due, day: str, pair: dict[str, str]) -> str:
    if due.due_on is None:
        return _("No pair is likely to pass its limit within the years that are looked at.")
    if due.standing == Due.Standing.OVER and due.due_on > due.as_of:
        words = _("It is likely over its limit already, {a} and {b} first; it is read again from {day} on.")
        return words.format(day=day, **pair)
    words = _(
        "At the rates measured, on {day} the chance that a pair has passed its limit is {chance} %, "
        "{a} and {b} first."
    )
    if due.basis == Basis.PRIOR:
        words = _(
            "Read less than twice since the last lift, it goes by homes like this one: on {day} the chance that a "
            "pair has passed its limit is {chance} %, {a} and {b} first."
        )
    return words.format(chance=f"{100 * (due.chance_at_due or 0.0):.0f}", day=day, **pair)
