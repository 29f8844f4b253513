"""What was checked at a closing gate, in the reader's words."""

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from calcs.models import Closing

CHECKS: dict[str, Promise] = {
    "are_wedges_tapped": gettext_lazy("Every wedge tapped, and tight"),
    "doors_windows": gettext_lazy("Doors and windows"),
    "are_straps_tight": gettext_lazy("Every loosened strap tight again"),
    "is_leak_checked": gettext_lazy("Water on: nothing leaks"),
    "are_drains_checked": gettext_lazy("Water run through every drain"),
    "gas": gettext_lazy("Gas line"),
    "is_everybody_out": gettext_lazy("Everybody counted out by name"),
}


def checked_words(closing: Closing) -> list[tuple[str, str]]:
    """Say what was checked and what came of it, in the order in which a crew does it."""
    said = {
        "doors_windows": closing.get_doors_windows_display(),
        "gas": ": ".join(word for word in (closing.get_gas_display(), closing.gas_checked_by) if word),
    }
    return [
        (str(words), said[name] if name in said else _("yes") if getattr(closing, name) else _("no"))
        for name, words in CHECKS.items()
    ]
