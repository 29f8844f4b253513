"""What ties a home to the ground and the street: connections that can break, and anchor straps."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from jobs.models.base import ArchivableQuerySet, Versioned, changes_kept
from jobs.models.homes import Siting, SoilClass
from jobs.models.layout import Point


class ConnectionKind(models.TextChoices):
    """What joins the home to ground or street."""

    DRAIN = "drain", _("drain")
    WATER = "water", _("water riser")
    GAS = "gas", _("gas line")
    DUCT = "duct", _("duct crossover")
    ELECTRIC = "electric", _("electric feeder")
    TELECOM = "telecom", _("telecom")
    STEPS = "steps", _("steps or porch")
    SKIRTING = "skirting", _("skirting")
    CHIMNEY = "chimney", _("masonry chimney")
    AC = "ac", _("AC lines")


class Trade(models.TextChoices):
    """Who may free a connection. Local law decides; this is what the company has noted."""

    CREW = "crew", _("own crew")
    PLUMBER = "plumber", _("licensed plumber")
    GAS_FITTER = "gas_fitter", _("licensed gas fitter")
    ELECTRICIAN = "electrician", _("licensed electrician")
    HVAC = "hvac", _("licensed HVAC")
    MASON = "mason", _("mason")


@changes_kept()
class Connection(Versioned):
    """Something that can break when the home moves, with how far it is free. Unmeasured travel counts as zero."""

    siting_path = "siting"

    class Measured(models.TextChoices):
        """How the free travel was found."""

        NOT = "not_measured", _("not measured")
        BY_HAND = "by_hand", _("moved by hand")
        TAPE = "tape", _("measured with a tape")
        FLEX = "flex", _("flexible: listed length")

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="connections")
    code = models.CharField(max_length=12)
    kind = models.CharField(max_length=10, choices=ConnectionKind.choices)
    x_ft = models.DecimalField(max_digits=7, decimal_places=3)
    y_ft = models.DecimalField(max_digits=7, decimal_places=3)
    free_up_in = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    free_down_in = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    measured = models.CharField(max_length=12, choices=Measured.choices, default=Measured.NOT)
    free_min = models.DecimalField(
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="minutes to free it; empty: it can't be freed",
    )
    trade = models.CharField(max_length=12, choices=Trade.choices, default=Trade.CREW)
    note = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = ArchivableQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["siting", "code"],
                condition=Q(archived_at__isnull=True),
                name="connection_code_once_a_siting",
            ),
            models.CheckConstraint(
                condition=Q(measured="not_measured", free_up_in__isnull=True, free_down_in__isnull=True)
                | (~Q(measured="not_measured") & Q(free_up_in__isnull=False, free_down_in__isnull=False)),
                name="connection_travel_with_how_measured",
            ),
            models.CheckConstraint(
                condition=(Q(free_up_in__isnull=True) | Q(free_up_in__gte=0))
                & (Q(free_down_in__isnull=True) | Q(free_down_in__gte=0))
                & (Q(free_min__isnull=True) | Q(free_min__gte=0)),
                name="connection_travel_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.code}"


@changes_kept()
class Strap(Versioned):
    """An anchor strap from a frame beam to an anchor in the ground."""

    siting_path = "siting"

    class AnchorKind(models.TextChoices):
        """What holds the strap in the ground."""

        AUGER = "auger", _("auger")
        CROSS_DRIVE = "cross_drive", _("cross-drive (rock)")
        SLAB = "slab", _("in slab")
        DRIVEN = "driven", _("driven plate")

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="straps")
    code = models.CharField(max_length=12)
    point = models.ForeignKey(
        Point,
        on_delete=models.PROTECT,
        related_name="straps",
        help_text="the frame point whose rise it follows",
    )
    anchor_kind = models.CharField(max_length=12, choices=AnchorKind.choices, default=AnchorKind.AUGER)
    soil_class = models.CharField(max_length=8, choices=SoilClass.choices, default=SoilClass.UNKNOWN)
    run_in = models.DecimalField(max_digits=7, decimal_places=4, help_text="horizontal, anchor head to beam hook")
    rise_in = models.DecimalField(max_digits=7, decimal_places=4, help_text="vertical, anchor head to beam hook")
    slack_in = models.DecimalField(max_digits=6, decimal_places=4, default=0)
    tension_lb = models.DecimalField(max_digits=7, decimal_places=1, null=True, blank=True)
    wraps = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    width_in = models.DecimalField(max_digits=5, decimal_places=3, default="1.25")
    thickness_in = models.DecimalField(max_digits=5, decimal_places=4, default="0.035")
    bolt_in = models.DecimalField(max_digits=5, decimal_places=4, default="0.625")
    note = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = ArchivableQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["siting", "code"],
                condition=Q(archived_at__isnull=True),
                name="strap_code_once_a_siting",
            ),
            models.CheckConstraint(
                condition=Q(run_in__gte=0, rise_in__gte=0) & (Q(run_in__gt=0) | Q(rise_in__gt=0)),
                name="strap_has_a_length",
            ),
            models.CheckConstraint(
                condition=Q(slack_in=0) | (Q(slack_in__gt=0) & (Q(tension_lb__isnull=True) | Q(tension_lb=0))),
                name="strap_slack_or_tension",
            ),
            models.CheckConstraint(
                condition=(Q(tension_lb__isnull=True) | Q(tension_lb__gte=0))
                & (Q(wraps__isnull=True) | Q(wraps__gte=0))
                & Q(width_in__gt=0, thickness_in__gt=0, bolt_in__gt=0),
                name="strap_sizes_positive",
            ),
        ]

    def __str__(self) -> str:
        return _("strap {code}").format(code=self.code)
