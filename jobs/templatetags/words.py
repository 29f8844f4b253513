"""Words that templates share."""

from django import template
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

register = template.Library()

_VERDICTS: dict[str, Promise] = {
    "within": _("within"),
    "over": _("over"),
    "uncertain": _("too close to call"),
    "none": _("no pairs to judge"),
}


@register.filter
def verdict_words(verdict: str | None) -> Promise | str:
    """Say a verdict as people do; nothing while there is none."""
    return _VERDICTS.get(verdict or "", "")
