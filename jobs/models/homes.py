"""Homes, who has to do with them, and where they stand from when to when."""

from decimal import Decimal
from typing import Self

from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import DateRangeField, RangeOperators
from django.db import models
from django.db.models import F, Func, Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs.models.base import (
    ArchivableQuerySet,
    CompanyQuerySet,
    OfficeQuerySet,
    Versioned,
    changes_kept,
    degrees,
    place_is_whole,
)
from jobs.models.people import Customer, User

BESIDE_FT = 8  # how far a point may lie beside a home, for a porch that it carries (common practice, no source)


def plain(feet: Decimal) -> str:
    """Write feet without the zeros that the record fills them up with."""
    return f"{feet.normalize():f}"


class HomeKind(models.TextChoices):
    """What was built: in a factory on its own frame, or on site on piers and beams."""

    MANUFACTURED = "manufactured", _("manufactured home")
    PIER_AND_BEAM = "pier_and_beam", _("pier-and-beam house")


class WallFinish(models.TextChoices):
    """What covers the walls, and so how much bending shows."""

    PANEL = "panel", _("panel or vinyl")
    GYPSUM = "gypsum", _("gypsum board")
    PLASTER = "plaster", _("plaster")
    BRICK = "brick", _("brick veneer")


class SoilClass(models.TextChoices):
    """Soil classes of 24 CFR 3285.202."""

    ROCK = "1", _("1 rock, hardpan")
    DENSE = "2", _("2 gravel, dense sand")
    SAND = "3", _("3 sand, silty or clayey sand")
    CLAY_FIRM = "4A", _("4A loose to medium sand, firm to stiff clay")
    CLAY_SOFT = "4B", _("4B loose sand, firm clay")
    FILL = "5", _("5 fill, peat, organic")
    UNKNOWN = "unknown", _("not known")


class HomeQuerySet(ArchivableQuerySet["Home"]):
    """Homes."""

    def _under_visits_of(self, user: User) -> Self:
        return self.filter(pk__in=Siting.objects.visible_to(user).values("home"))


@changes_kept()
class Home(Versioned):
    """A home: what it is. Where it stands is its siting."""

    code = models.CharField(max_length=20, unique=True, help_text="the company's number for this home")
    name = models.CharField(max_length=120, blank=True)
    kind = models.CharField(max_length=16, choices=HomeKind.choices)
    sections = models.PositiveSmallIntegerField(default=1)
    width_ft = models.DecimalField(max_digits=6, decimal_places=3)
    length_ft = models.DecimalField(max_digits=6, decimal_places=3)
    built_on = models.DateField(null=True, blank=True)
    label_number = models.CharField(max_length=40, blank=True)
    data_plate = models.TextField(blank=True)
    wall_finish = models.CharField(max_length=10, choices=WallFinish.choices, default=WallFinish.PANEL)
    roof_live_psf = models.DecimalField(max_digits=5, decimal_places=1, null=True, blank=True)
    wind_zone = models.PositiveSmallIntegerField(null=True, blank=True)
    soil_class = models.CharField(max_length=8, choices=SoilClass.choices, default=SoilClass.UNKNOWN)
    beam_i_in4 = models.DecimalField(
        max_digits=8,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="second moment of area of a main beam or girder; empty: the rule set's figure",
    )
    beam_section_modulus_in3 = models.DecimalField(
        max_digits=7,
        decimal_places=2,
        null=True,
        blank=True,
        help_text="section modulus of a main beam or girder; empty: the rule set's figure",
    )
    beam_load_lb_per_ft = models.DecimalField(
        max_digits=7,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="what a main beam or girder carries as the home stands; empty: the rule set's figure",
    )
    land_owner = models.CharField(max_length=120, blank=True)
    has_foundation_letter = models.BooleanField(
        default=False, help_text="an engineer's letter for a lender is on file: work on supports may void it"
    )
    access_notes = models.TextField(blank=True, help_text="gate, dog, shut-offs, hatch")
    rule_set = models.ForeignKey(
        "jobs.RuleSet", on_delete=models.PROTECT, null=True, blank=True, related_name="homes"
    )
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = HomeQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(code=""), name="home_has_a_code"),
            models.CheckConstraint(condition=Q(sections__gte=1, sections__lte=4), name="home_1_to_4_sections"),
            models.CheckConstraint(
                condition=Q(width_ft__gt=0, width_ft__lte=200, length_ft__gt=0, length_ft__lte=200),
                name="home_size_up_to_200_ft",
            ),
            models.CheckConstraint(
                condition=Q(wind_zone__isnull=True) | Q(wind_zone__gte=1, wind_zone__lte=3),
                name="home_wind_zone_1_to_3",
            ),
            models.CheckConstraint(
                condition=Q(roof_live_psf__isnull=True) | Q(roof_live_psf__gte=0),
                name="home_roof_load_not_negative",
            ),
            models.CheckConstraint(
                condition=(Q(beam_i_in4__isnull=True) | Q(beam_i_in4__gt=0))
                & (Q(beam_section_modulus_in3__isnull=True) | Q(beam_section_modulus_in3__gt=0))
                & (Q(beam_load_lb_per_ft__isnull=True) | Q(beam_load_lb_per_ft__gt=0)),
                name="home_beam_positive",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}".strip()

    def off_it(self, *, x_ft: Decimal, y_ft: Decimal) -> dict[str, str]:
        """Return by field why what is under this home can't lie at a place: most often keys slipped."""
        sides = {"x_ft": (x_ft, self.length_ft), "y_ft": (y_ft, self.width_ft)}
        sentence = gettext("Give {low} to {high} ft: this home is {size} ft that way.")
        return {
            name: sentence.format(low=-BESIDE_FT, high=plain(size + BESIDE_FT), size=plain(size))
            for name, (at, size) in sides.items()
            if not -BESIDE_FT <= Decimal(at) <= size + BESIDE_FT
        }


@changes_kept()
class HomeContact(Versioned):
    """Who has to do with a home, in which part, from when to when."""

    class Part(models.TextChoices):
        """The part a customer plays."""

        OWNER = "owner", _("owner")
        TENANT = "tenant", _("tenant")
        PARK = "park", _("park or land owner")
        AGENT = "agent", _("agent")

    home = models.ForeignKey(Home, on_delete=models.PROTECT, related_name="contacts")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="homes")
    part = models.CharField(max_length=8, choices=Part.choices, default=Part.OWNER)
    from_on = models.DateField(null=True, blank=True)
    to_on = models.DateField(null=True, blank=True)

    objects = OfficeQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(from_on__isnull=True) | Q(to_on__isnull=True) | Q(to_on__gte=F("from_on")),
                name="home_contact_ends_after_start",
            ),
        ]

    def __str__(self) -> str:
        words = {"customer": self.customer, "part": self.get_part_display(), "home": self.home}
        return _("{customer}, {part} of {home}").format(**words)


class DateRange(Func):
    """A PostgreSQL date range made from two date columns."""

    function = "DATERANGE"
    output_field = DateRangeField()


@changes_kept()
class Siting(Versioned):
    """A home at one place from one day to another. It owns the points; movement never crosses sitings."""

    siting_path = "pk"

    home = models.ForeignKey(Home, on_delete=models.PROTECT, related_name="sitings")
    address = models.CharField(max_length=200)
    from_on = models.DateField()
    to_on = models.DateField(null=True, blank=True)
    latitude_deg = degrees(90)
    longitude_deg = degrees(180)
    marked_end = models.CharField(
        max_length=120, blank=True, help_text="which end is x = 0, as painted or photographed"
    )
    north_deg = models.DecimalField(
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="compass bearing of the x axis, from the marked end along the home",
    )

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(to_on__isnull=True) | Q(to_on__gt=F("from_on")), name="siting_ends_after_start"
            ),
            models.CheckConstraint(
                condition=Q(north_deg__isnull=True) | Q(north_deg__gte=0, north_deg__lt=360),
                name="siting_north_0_to_360",
            ),
            place_is_whole("siting"),
            ExclusionConstraint(
                name="siting_one_place_at_a_time",
                expressions=[
                    ("home", RangeOperators.EQUAL),
                    (DateRange("from_on", "to_on"), RangeOperators.OVERLAPS),
                ],
            ),
        ]

    def __str__(self) -> str:
        return _("{home} at {address}").format(home=self.home, address=self.address)
