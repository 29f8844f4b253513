"""Drawings in templates."""

from django import template
from django.utils.safestring import SafeString, mark_safe

register = template.Library()


@register.filter
def drawn(svg: str) -> SafeString:
    """Put an SVG of the house's own sheet into a page: the sheet has escaped every text on it."""
    return mark_safe(svg)  # noqa: S308 - drawn here, never sent in
