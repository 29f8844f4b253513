"""The closing gate: what must be true before a home that was lifted is left."""

from collections.abc import Collection

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from calcs.models.plans import Approval
from jobs.models import DoorsWindows, User
from jobs.models.base import Act, CompanyQuerySet, Versioned, changes_kept
from surveys.models import Survey


@changes_kept()
class Closing(Versioned):
    """What was checked at the end of approved work; closed once nothing is open, or the manager signs why."""

    siting_path = "approval__siting"

    class Gas(models.TextChoices):
        """What became of the gas line."""

        NOT_SAID = "not_said", _("not said yet")
        NOT_MOVED = "not_moved", _("no gas line moved, or there is none")
        CHECKED = "checked", _("checked by a licensed fitter")

    approval = models.OneToOneField(Approval, on_delete=models.PROTECT, related_name="closing")
    as_left = models.ForeignKey(
        Survey, on_delete=models.PROTECT, null=True, blank=True, related_name="closings", help_text="as-left survey"
    )
    are_wedges_tapped = models.BooleanField(default=False, help_text="every wedge was tapped and is tight")
    doors_windows = models.CharField(max_length=12, choices=DoorsWindows.choices, default=DoorsWindows.NOT_TESTED)
    are_straps_tight = models.BooleanField(default=False, help_text="every loosened strap is tight again")
    is_leak_checked = models.BooleanField(default=False, help_text="water was on, nothing leaks")
    are_drains_checked = models.BooleanField(default=False, help_text="water ran through every drain")
    gas = models.CharField(max_length=9, choices=Gas.choices, default=Gas.NOT_SAID)
    gas_checked_by = models.CharField(max_length=120, blank=True, help_text="fitter and licence")
    is_everybody_out = models.BooleanField(default=False, help_text="counted out by name")
    exceptions = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True, blank=True, editable=False)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+", editable=False
    )
    manager_reason = models.TextField(
        blank=True, editable=False, help_text="why the manager closed it though something was open"
    )

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True, manager_reason="")
                | Q(closed_at__isnull=False, closed_by__isnull=False),
                name="closing_closed_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(gas="checked") | ~Q(gas_checked_by=""), name="closing_gas_checked_by_somebody"
            ),
        ]

    def __str__(self) -> str:
        return f"closing of {self.approval}"

    def refusal(self, user: User, act: Act, fields: Collection[str]) -> str | None:
        """What is closed stays as it was closed."""
        if act is Act.CHANGE and self.closed_at is not None:
            return gettext("This work is closed: it changes no more.")
        return None
