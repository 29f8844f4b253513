"""Spans of time as people say them."""

from django import template
from django.utils.translation import gettext as _

register = template.Library()

_MINUTE_S, _HOUR_S, _DAY_S = 60.0, 3600.0, 86400.0


@register.filter
def span(seconds: float | None) -> str:
    """Say a span in its largest fitting unit: 0.4 s, 12 s, 3 min, 5 h, 2 d; nothing when there is none."""
    if seconds is None:
        return ""
    known = max(seconds, 0.0)
    if known < 10:
        return _("{count} s").format(count=f"{known:.1f}")
    if known < 2 * _MINUTE_S:
        return _("{count} s").format(count=round(known))
    if known < 2 * _HOUR_S:
        return _("{count} min").format(count=round(known / _MINUTE_S))
    if known < 2 * _DAY_S:
        return _("{count} h").format(count=round(known / _HOUR_S))
    return _("{count} d").format(count=round(known / _DAY_S))
