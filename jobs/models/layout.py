"""What is under a home: points, the supports at them, which ones are neighbours, and the marks outside."""

from collections.abc import Sequence
from typing import Any

from django.contrib.postgres.fields import ArrayField
from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Greatest, Least
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from calcs.engine.stacks.parts import DEFAULT_PARTS, SHIMS
from jobs.models.base import ArchivableQuerySet, CompanyQuerySet, Versioned, changes_kept
from jobs.models.homes import Siting


class Surface(models.TextChoices):
    """What a point lies on. Heights are compared within a surface, or with a design offset."""

    I_BEAM = "i_beam", _("I-beam")
    RIM = "rim", _("rim joist")
    MATE_LINE = "mate_line", _("mate line")
    GIRDER = "girder", _("girder")
    FLOOR = "floor", _("floor")
    DOOR_JAMB = "door_jamb", _("door jamb")
    DRAIN_HUB = "drain_hub", _("drain hub")
    OUTSIDE = "outside", _("outside mark")


@changes_kept()
class Point(Versioned):
    """A place whose height is read: on the frame, a check point, or a mark outside the home."""

    siting_path = "siting"

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="points")
    label = models.CharField(max_length=12)
    surface = models.CharField(max_length=12, choices=Surface.choices)
    beam = models.CharField(max_length=4, blank=True, help_text="letter of the line that the point lies on")
    x_ft = models.DecimalField(max_digits=7, decimal_places=3)
    y_ft = models.DecimalField(max_digits=7, decimal_places=3)
    design_offset_in = models.DecimalField(
        max_digits=7,
        decimal_places=4,
        default=0,
        help_text="how much higher this surface was built than the I-beam's",
    )
    walk_order = models.PositiveIntegerField(default=0)
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = ArchivableQuerySet.as_manager()

    class Meta:
        ordering = ["walk_order", "label"]
        constraints = [
            models.UniqueConstraint(
                fields=["siting", "label"],
                condition=Q(archived_at__isnull=True),
                name="point_label_once_a_siting",
            ),
            models.CheckConstraint(condition=~Q(label=""), name="point_has_a_label"),
            models.CheckConstraint(
                condition=Q(x_ft__gte=-1000, x_ft__lte=1000, y_ft__gte=-1000, y_ft__lte=1000),
                name="point_within_1000_ft",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    def off_the_home(self) -> dict[str, str]:
        """Return by field why this place can't be: what isn't outside lies on the home."""
        return {} if self.surface == Surface.OUTSIDE else self.siting.home.off_it(x_ft=self.x_ft, y_ft=self.y_ft)


class SupportKind(models.TextChoices):
    """What a support carries."""

    FRAME = "frame", _("main beam")
    PERIMETER = "perimeter", _("perimeter")
    MATE_LINE = "mate_line", _("mate line")
    OPENING = "opening", _("beside an opening")


class Footing(models.TextChoices):
    """What a support stands on."""

    POURED = "poured", _("poured concrete")
    PRECAST = "precast", _("precast concrete")
    RUNNER = "runner", _("concrete runner")
    ABS = "abs", _("listed plastic pad")
    WOOD = "wood", _("treated wood")
    BARE = "bare", _("bare ground")


class Condition(models.TextChoices):
    """How an inspected thing was found."""

    OK = "ok", _("OK")
    NOTE = "note", _("note")
    FIX = "fix", _("fix")
    STOP = "stop", _("stop")


class Tier(models.TextChoices):
    """How a block stack is built."""

    SINGLE = "single", _("single stack")
    DOUBLE = "double", _("double, interlocked")
    ENGINEER = "engineer", _("engineer's design")


def check_courses(courses: Sequence[str]) -> None:
    """Refuse a recorded stack with a course of no known part: one would fail the stacks of a whole plan.

    Any order is taken, as what stands may have been built wrong.
    """
    known = (SHIMS, *(part.code for part in DEFAULT_PARTS))
    for number, course in enumerate(courses, start=1):
        if course not in known:
            raise ValidationError(
                gettext("Course %(number)d from the top, “%(course)s”, is unknown; allowed: %(known)s."),
                code="unknown_course",
                params={"number": number, "course": course, "known": ", ".join(known)},
            )


class CoursesBelowShims(models.Func):
    """How many courses a recorded stack has, its shims not counted."""

    template = "cardinality(array_remove(%(expressions)s, 'shims'))"
    output_field = models.IntegerField()


def _measure(what: str) -> "models.DecimalField[Any, Any]":
    return models.DecimalField(max_digits=7, decimal_places=4, null=True, blank=True, help_text=what)


class SupportQuerySet(CompanyQuerySet["Support"]):
    """Supports under points."""

    def standing(self) -> "SupportQuerySet":
        """Return the supports that are there now, under points that are not archived."""
        return self.filter(removed_on__isnull=True, point__archived_at__isnull=True)


@changes_kept()
class Support(Versioned):
    """The thing under a point, installed on one day and removed on another."""

    siting_path = "point__siting"

    point = models.ForeignKey(Point, on_delete=models.PROTECT, related_name="supports")
    kind = models.CharField(max_length=10, choices=SupportKind.choices, default=SupportKind.FRAME)
    footing = models.CharField(max_length=8, choices=Footing.choices, default=Footing.PRECAST)
    footing_length_in = _measure("of the footing, along the home; empty: not seen")
    footing_width_in = _measure("of the footing, across the home; empty: not seen")
    footing_thickness_in = _measure("of the footing; empty: not seen")
    has_sunk = models.BooleanField(default=False, help_text="has gone down since it was set")
    height_in = models.DecimalField(
        max_digits=7,
        decimal_places=4,
        null=True,
        blank=True,
        help_text="footing to the underside of the beam",
    )
    offset_in = _measure("how far its top stands off its bottom; empty: not measured")
    clearance_in = _measure("ground to the lowest part of the frame here; empty: not measured")
    stack = ArrayField(
        models.CharField(max_length=20),
        null=True,
        blank=True,
        validators=[check_courses],
        help_text="courses from the top down; empty: not recorded",
    )
    tier = models.CharField(max_length=8, choices=Tier.choices, blank=True)
    keep_courses = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="sound courses at the bottom that stay"
    )
    is_corner = models.BooleanField(default=False)
    gap_in = models.DecimalField(
        max_digits=6, decimal_places=4, default=0, help_text="gap at the wedge: a gap carries nothing"
    )
    max_raise_in = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    max_lower_in = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    condition = models.CharField(max_length=4, choices=Condition.choices, default=Condition.OK)
    note = models.TextField(blank=True)
    installed_on = models.DateField(null=True, blank=True)
    removed_on = models.DateField(null=True, blank=True)

    objects = SupportQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["point"], condition=Q(removed_on__isnull=True), name="support_one_at_a_point"
            ),
            models.CheckConstraint(condition=Q(gap_in__gte=0), name="support_gap_not_negative"),
            models.CheckConstraint(
                condition=Q(height_in__isnull=True) | Q(height_in__gt=0, height_in__lte=240),
                name="support_height_up_to_240_in",
            ),
            models.CheckConstraint(
                condition=Q(footing_length_in__isnull=True, footing_width_in__isnull=True)
                | Q(footing_length_in__isnull=False, footing_width_in__isnull=False)
                & Q(footing_length_in__gt=0, footing_width_in__gt=0)
                & Q(footing_length_in__lte=1200, footing_width_in__lte=1200),
                name="support_footing_has_both_sides",
            ),
            models.CheckConstraint(
                condition=Q(footing_thickness_in__isnull=True)
                | Q(footing_thickness_in__gt=0, footing_thickness_in__lte=60),
                name="support_footing_up_to_60_in_thick",
            ),
            models.CheckConstraint(
                condition=(Q(offset_in__isnull=True) | Q(offset_in__gte=0, offset_in__lte=48))
                & (Q(clearance_in__isnull=True) | Q(clearance_in__gte=0, clearance_in__lte=480)),
                name="support_offset_and_clearance_in_range",
            ),
            models.CheckConstraint(
                condition=(Q(max_raise_in__isnull=True) | Q(max_raise_in__gte=0))
                & (Q(max_lower_in__isnull=True) | Q(max_lower_in__gte=0)),
                name="support_limits_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(keep_courses__isnull=True)
                | Q(stack__isnull=False, keep_courses__lte=CoursesBelowShims("stack")),
                name="support_keeps_courses_it_has",
            ),
            models.CheckConstraint(
                condition=Q(removed_on__isnull=True)
                | Q(installed_on__isnull=True)
                | Q(removed_on__gte=F("installed_on")),
                name="support_removed_after_installed",
            ),
        ]

    def __str__(self) -> str:
        return _("support at {point}").format(point=self.point)

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Keep a stack of no courses, as an empty form gives it, as not recorded."""
        self.stack = self.stack or None
        super().save(*args, **kwargs)


@changes_kept()
class NeighbourPair(Versioned):
    """Two points whose difference in height is judged. Proposed from the layout, corrected by people."""

    siting_path = "siting"

    class Direction(models.TextChoices):
        """Which way the pair runs."""

        ALONG = "along", _("along the beam")
        ACROSS = "across", _("across the beams")
        MATE_LINE = "mate_line", _("along the mate line")

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="neighbour_pairs")
    a = models.ForeignKey(Point, on_delete=models.CASCADE, related_name="pairs_as_a")
    b = models.ForeignKey(Point, on_delete=models.CASCADE, related_name="pairs_as_b")
    direction = models.CharField(max_length=9, choices=Direction.choices, default=Direction.ALONG)
    tolerance_in = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    is_proposed = models.BooleanField(default=False, help_text="made by the layout generator, not by a person")

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(a=F("b")), name="pair_of_two_points"),
            models.UniqueConstraint(Least("a", "b"), Greatest("a", "b"), name="pair_once"),
            models.CheckConstraint(
                condition=Q(tolerance_in__isnull=True) | Q(tolerance_in__gte=0),
                name="pair_tolerance_not_negative",
            ),
        ]

    def __str__(self) -> str:
        return _("{a} and {b}").format(a=self.a, b=self.b)


@changes_kept()
class Benchmark(Versioned):
    """An outside mark that does not belong to the home or its pads; three are wanted, far apart."""

    siting_path = "point__siting"

    class MarkClass(models.TextChoices):
        """How far a mark can be trusted to stay."""

        DEEP_ROD = "deep_rod", _("deep rod")
        WELL_CASING = "well_casing", _("well casing")
        SLAB = "slab", _("slab")
        CURB = "curb", _("curb or street")
        MASONRY = "masonry", _("neighbouring masonry")
        POLE = "pole", _("nail in a pole")
        DRIVEN_ROD = "driven_rod", _("driven rod")

    point = models.OneToOneField(Point, on_delete=models.CASCADE, related_name="benchmark")
    mark_class = models.CharField(max_length=12, choices=MarkClass.choices)
    description = models.CharField(max_length=200, blank=True)
    retired_on = models.DateField(null=True, blank=True)
    replaced_by = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaces"
    )

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(replaced_by__isnull=True) | Q(retired_on__isnull=False),
                name="benchmark_replaced_is_retired",
            ),
            models.CheckConstraint(condition=~Q(replaced_by=F("id")), name="benchmark_not_its_own_successor"),
        ]

    def __str__(self) -> str:
        return f"{self.point}, {self.get_mark_class_display()}"

    @property
    def edition(self) -> int:
        """A mark is edited together with its point: both versions only grow, so their sum tells every change."""
        return self.version + self.point.version - 1
