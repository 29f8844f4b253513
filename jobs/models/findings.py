"""What was found under a home and on it: graded findings, photos, and checks of anchor straps."""

import uuid
from collections.abc import Collection

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import F, Q, Value
from django.db.models.functions import NullIf
from django.db.models.lookups import LessThanOrEqual
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs.inspection import item_words, problem_with
from jobs.models.attached import Connection, DrainRun, Strap
from jobs.models.base import Act, ArchivableQuerySet, CompanyQuerySet, FromPhone
from jobs.models.homes import Siting
from jobs.models.layout import Condition, Point
from jobs.models.people import User
from jobs.models.visits import Visit


class NonNulls(models.Func):
    """How many of some columns hold something."""

    function = "num_nonnulls"
    output_field = models.IntegerField()


class Finding(FromPhone):
    """What somebody saw at a point, a connection, a strap or a drain run, or on the home as a whole."""

    siting_path = "siting"

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="findings")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="findings")
    point = models.ForeignKey(Point, on_delete=models.PROTECT, null=True, blank=True, related_name="findings")
    connection = models.ForeignKey(
        Connection, on_delete=models.PROTECT, null=True, blank=True, related_name="findings"
    )
    strap = models.ForeignKey(Strap, on_delete=models.PROTECT, null=True, blank=True, related_name="findings")
    drain_run = models.ForeignKey(DrainRun, on_delete=models.PROTECT, null=True, blank=True, related_name="findings")
    item = models.CharField(max_length=24, blank=True, help_text="what of the home as a whole was looked at")
    grade = models.CharField(max_length=4, choices=Condition.choices)
    text = models.TextField(max_length=2000, blank=True)
    figures = models.JSONField(
        default=dict, blank=True, help_text="what was measured there, by field, as text: a lead records it"
    )
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = ArchivableQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=LessThanOrEqual(
                    NonNulls("point", "connection", "strap", "drain_run", NullIf("item", Value(""))), 1
                ),
                name="finding_on_one_thing",
            ),
            models.CheckConstraint(condition=Q(grade="ok") | ~Q(text=""), name="finding_says_what_is_wrong"),
        ]

    def __str__(self) -> str:
        return f"{self.get_grade_display()}: {self.text[:40]}"

    @property
    def item_words(self) -> str:
        """What its item is called."""
        return item_words(self.item)

    def clean(self) -> None:
        """An item is one of the list."""
        if problem := problem_with(self.item):
            raise ValidationError({"item": problem})


class StrapCheck(FromPhone):
    """How an anchor strap was found; the newest check is what the strap is taken to be."""

    siting_path = "strap__siting"

    class Method(models.TextChoices):
        """How the tension was told."""

        LOOK = "look", _("looked at, pulled by hand")
        PLUCK = "pluck", _("plucked: the pitch it rings at")
        GAUGE = "gauge", _("tension gauge")

    strap = models.ForeignKey(Strap, on_delete=models.PROTECT, related_name="checks")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="strap_checks")
    grade = models.CharField(max_length=4, choices=Condition.choices)
    slack_in = models.DecimalField(max_digits=6, decimal_places=4, default=0)
    tension_lb = models.DecimalField(max_digits=7, decimal_places=1, null=True, blank=True)
    method = models.CharField(max_length=5, choices=Method.choices, default=Method.LOOK)
    frequency_hz = models.DecimalField(
        max_digits=6, decimal_places=2, null=True, blank=True, help_text="pitch heard when plucked"
    )
    mode = models.PositiveSmallIntegerField(default=1, help_text="half waves of that pitch: 1 is the lowest")
    free_length_in = models.DecimalField(
        max_digits=7, decimal_places=4, null=True, blank=True, help_text="length of strap that swings"
    )
    text = models.CharField(max_length=200, blank=True)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(slack_in=0) | (Q(slack_in__gt=0) & (Q(tension_lb__isnull=True) | Q(tension_lb=0))),
                name="strap_check_slack_or_tension",
            ),
            models.CheckConstraint(
                condition=Q(tension_lb__isnull=True) | Q(tension_lb__gte=0), name="strap_check_tension_not_negative"
            ),
            models.CheckConstraint(
                condition=Q(method="pluck", frequency_hz__isnull=False, free_length_in__isnull=False)
                & Q(frequency_hz__gt=0, free_length_in__gt=0, tension_lb__isnull=True)
                | (~Q(method="pluck") & Q(frequency_hz__isnull=True, free_length_in__isnull=True)),
                name="strap_check_pluck_has_pitch_and_length",
            ),
            models.CheckConstraint(
                condition=~Q(method="gauge") | Q(tension_lb__isnull=False), name="strap_check_gauge_has_tension"
            ),
            models.CheckConstraint(condition=Q(mode__gte=1, mode__lte=10), name="strap_check_mode_1_to_10"),
        ]

    def __str__(self) -> str:
        return f"{self.strap}: {self.get_grade_display()}"


class Photo(FromPhone):
    """A photo of a home, perhaps of a finding. What it shows about where and by whom it was taken stays inside."""

    siting_path = "siting"

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="photos")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="photos")
    finding = models.ForeignKey(Finding, on_delete=models.PROTECT, null=True, blank=True, related_name="photos")
    file = models.FileField(upload_to="photos/%Y/%m/", editable=False)
    media_type = models.CharField(max_length=20, editable=False)
    size_bytes = models.PositiveIntegerField(editable=False)
    width_px = models.PositiveIntegerField(editable=False)
    height_px = models.PositiveIntegerField(editable=False)
    sha256 = models.CharField(max_length=64, editable=False)
    caption = models.CharField(max_length=200, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = ArchivableQuerySet.as_manager()

    def __str__(self) -> str:
        return self.caption or f"photo of {self.siting}"


class PhotoUpload(FromPhone):
    """A photo that is still coming in, piece by piece; whole, it becomes the ``Photo`` with the same key instead."""

    siting_path = "siting"

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="photo_uploads")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="photo_uploads")
    finding = models.ForeignKey(
        Finding, on_delete=models.PROTECT, null=True, blank=True, related_name="photo_uploads"
    )
    caption = models.CharField(max_length=200, blank=True)
    size_bytes = models.PositiveIntegerField(help_text="of the whole file")
    sha256 = models.CharField(max_length=64, help_text="of the whole file, in hexadecimal digits")
    received_bytes = models.PositiveIntegerField(default=0, editable=False, help_text="that are on the disk for sure")
    touched_at = models.DateTimeField(
        default=timezone.now, editable=False, help_text="when something of it came last"
    )

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(size_bytes__gt=0), name="photo_upload_has_bytes"),
            models.CheckConstraint(
                condition=Q(received_bytes__lt=F("size_bytes")), name="photo_upload_is_not_whole_yet"
            ),
            models.CheckConstraint(condition=Q(sha256__regex=r"^[0-9a-f]{64}$"), name="photo_upload_has_a_sha256"),
        ]

    def __str__(self) -> str:
        return self.caption or f"photo of {self.siting}"

    @property
    def photo_id(self) -> uuid.UUID | None:
        """The key of the photo that it became; None while some of it is still to come."""
        return self.pk if self.received_bytes == self.size_bytes else None

    def refusal(self, user: User, act: Act, fields: Collection[str]) -> str | None:
        """Whoever began to send a photo goes on with it."""
        if act is Act.CHANGE and user.pk != self.author_id:
            return gettext("Only who began to send this photo goes on with it.")
        return None
