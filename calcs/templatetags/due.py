"""Chances and rates as the due list and the company's figures show them."""

from django import template
from django.utils.translation import gettext as _

from jobs.lengths import NO_BREAK_SPACE, fine

register = template.Library()

DASH = "\u2013"


@register.filter
def percent(share: float | None) -> str:
    """Write a chance or a share of one in percent; a dash where it is not known."""
    return DASH if share is None else f"{100 * share:.0f}{NO_BREAK_SPACE}%"


@register.filter
def a_year(rate_in: float | None, unit: str = "in") -> str:
    """Write how fast something moves [in a year] in the reader's unit; a dash where it is not known."""
    if rate_in is None:
        return DASH
    words = _("{length} a year")
    return words.format(length=fine(rate_in, unit))


@register.filter
def of_100(share: float) -> str:
    """Write how long a bar of at most 100 px is."""
    return f"{100 * share:.1f}"
