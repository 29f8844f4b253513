"""Lengths in templates: true fractions whatever the font can do, and lengths in the reader's unit."""

from decimal import Decimal

from django import template
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from calcs.engine.units import MINUS
from jobs.lengths import length
from jobs.sheet import FRACTION

register = template.Library()


@register.filter
def fractions(text: object) -> SafeString:
    """Escape a text and set the fractions in it as true fractions; copied, it still reads ``1 7/16``."""
    return mark_safe(  # noqa: S308 - escaped here; what is added holds digits only
        FRACTION.sub(r'<span class="over-bar">\1</span>/<span class="under-bar">\2</span>', escape(text))
    )


@register.filter
def inches(value_in: Decimal | float | None, unit: str = "in") -> SafeString:
    """Write a length [in] in the reader's unit; a dash for one that is not known."""
    return SafeString("\u2013") if value_in is None else fractions(length(value_in, unit))


@register.filter
def feet(value_ft: Decimal | float) -> str:
    """Write a plan position or size [ft] without needless zeros."""
    return f"{float(value_ft):.2f}".rstrip("0").rstrip(".").replace("-", MINUS)
