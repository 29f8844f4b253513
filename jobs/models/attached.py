"""What ties a home to the ground and the street: connections that can break, and anchor straps."""

from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from jobs.models.base import ArchivableQuerySet, CompanyQuerySet, Versioned, changes_kept
from jobs.models.homes import Siting, SoilClass, plain
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
    rated_lb = models.DecimalField(
        max_digits=7,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="working load of anchor and strap by their listing; empty: not known",
    )
    has_vertical_tie = models.BooleanField(
        null=True, blank=True, help_text="whether a vertical tie stands at it; empty: nobody looked"
    )
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
                & (Q(rated_lb__isnull=True) | Q(rated_lb__gt=0))
                & Q(width_in__gt=0, thickness_in__gt=0, bolt_in__gt=0),
                name="strap_sizes_positive",
            ),
        ]

    def __str__(self) -> str:
        return _("strap {code}").format(code=self.code)


@changes_kept()
class DrainRun(Versioned):
    """One run of drain under a home, from its upper end to its lower; its nodes say where and how high it lies."""

    siting_path = "siting"

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="drain_runs")
    code = models.CharField(max_length=12)
    diameter_in = models.DecimalField(max_digits=5, decimal_places=3, help_text="inside")
    has_cleanout = models.BooleanField(default=False, help_text="a full-size clean-out at the upper end")
    rehang_min = models.DecimalField(
        max_digits=6,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="minutes to hang a stretch anew; empty: it stays as it hangs",
    )
    note = models.TextField(blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = ArchivableQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["siting", "code"],
                condition=Q(archived_at__isnull=True),
                name="drain_run_code_once_a_siting",
            ),
            models.CheckConstraint(condition=~Q(code=""), name="drain_run_has_a_code"),
            models.CheckConstraint(
                condition=Q(diameter_in__gte="0.5", diameter_in__lte=24), name="drain_run_diameter_half_to_24_in"
            ),
            models.CheckConstraint(
                condition=Q(rehang_min__isnull=True) | Q(rehang_min__gte=0), name="drain_run_rehang_not_negative"
            ),
        ]

    def __str__(self) -> str:
        return _("drain run {code}").format(code=self.code)


@changes_kept()
class DrainNode(Versioned):
    """A place on a drain run where its height was measured; all heights of a run count from one zero."""

    siting_path = "run__siting"

    run = models.ForeignKey(DrainRun, on_delete=models.PROTECT, related_name="nodes")
    at_ft = models.DecimalField(max_digits=7, decimal_places=3, help_text="along the run, grows downstream")
    invert_in = models.DecimalField(
        max_digits=8, decimal_places=4, help_text="inside bottom of the pipe, above one zero for the whole run"
    )
    x_ft = models.DecimalField(max_digits=7, decimal_places=3)
    y_ft = models.DecimalField(max_digits=7, decimal_places=3)
    is_on_ground = models.BooleanField(default=False, help_text="held by the ground: does not follow the home")

    objects = CompanyQuerySet.as_manager()

    class Meta:
        ordering = ["at_ft"]
        constraints = [
            models.UniqueConstraint(fields=["run", "at_ft"], name="drain_node_once_at_a_place"),
            models.CheckConstraint(
                condition=Q(at_ft__gte=-1000, at_ft__lte=1000, invert_in__gte=-1200, invert_in__lte=1200),
                name="drain_node_within_reach",
            ),
            models.CheckConstraint(
                condition=Q(x_ft__gte=-1000, x_ft__lte=1000, y_ft__gte=-1000, y_ft__lte=1000),
                name="drain_node_within_1000_ft",
            ),
        ]

    def __str__(self) -> str:
        return _("{run} at {at} ft").format(run=self.run, at=plain(Decimal(self.at_ft)))

    def off_the_home(self) -> dict[str, str]:
        """Return by field why this place can't be: what doesn't lie in the ground lies on the home."""
        return {} if self.is_on_ground else self.run.siting.home.off_it(x_ft=self.x_ft, y_ft=self.y_ft)
