"""What a person reads when the database refuses a row of this app: the field to look at, and a sentence."""

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

SENTENCES: dict[str, tuple[str, Promise]] = {
    "closing_closed_by_somebody": (
        "closed_by",
        _("Work is closed by somebody, and the manager's reason comes with it."),
    ),
    "closing_gas_checked_by_somebody": ("gas_checked_by", _("Say which licensed fitter checked the gas line.")),
}
