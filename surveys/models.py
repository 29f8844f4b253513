"""What was measured: surveys, their instrument setups, and readings that are never changed."""

from collections.abc import Collection
from typing import TYPE_CHECKING, Self

from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs.models import Point, Role, Siting, User, Visit
from jobs.models.base import Act, CompanyQuerySet, Keyed, Versioned, changes_kept, new_key

if TYPE_CHECKING:
    from django.contrib.auth.models import AnonymousUser


class Method(models.TextChoices):
    """How heights are read."""

    WATER_LEVEL = "water_level", _("water level with reservoir")
    PLAIN_TUBE = "plain_tube", _("plain tube, both ends read")
    HYDROSTATIC = "hydrostatic", _("digital hydrostatic level")
    LASER = "laser", _("laser and rod")


class Unit(models.TextChoices):
    """What a survey is read in; one unit a survey."""

    INCHES = "in", _("inches")
    MILLIMETRES = "mm", _("millimetres")


@changes_kept(untracked=["revision"])
class Survey(Versioned):
    """One round of measuring at a home. Submitting is no lock: what comes later raises the revision."""

    siting_path = "siting"

    unversioned = ("state", "submitted_at", "revision")  # handing in and late readings are nobody's edit

    class Stage(models.TextChoices):
        """When in the job the survey was made."""

        AS_FOUND = "as_found", _("as found")
        DURING = "during", _("during the work")
        AS_LEFT = "as_left", _("as left")
        CHECK = "check", _("check")

    class State(models.TextChoices):
        """Whether the crew has handed the survey in."""

        OPEN = "open", _("open")
        SUBMITTED = "submitted", _("submitted")

    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="surveys")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="surveys")
    stage = models.CharField(max_length=8, choices=Stage.choices)
    method = models.CharField(max_length=12, choices=Method.choices)
    unit = models.CharField(max_length=2, choices=Unit.choices, default=Unit.INCHES)
    reading_sd_in = models.DecimalField(
        max_digits=6,
        decimal_places=4,
        null=True,
        blank=True,
        help_text="empty: the rule set's figure for the method",
    )
    started_at = models.DateTimeField(default=timezone.now)
    author = models.ForeignKey(User, on_delete=models.PROTECT, related_name="surveys", null=True, blank=True)
    note = models.TextField(blank=True)
    state = models.CharField(max_length=9, choices=State.choices, default=State.OPEN, editable=False)
    submitted_at = models.DateTimeField(null=True, blank=True, editable=False)
    revision = models.PositiveIntegerField(default=0, editable=False)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state="open", submitted_at__isnull=True, revision=0)
                | Q(state="submitted", submitted_at__isnull=False, revision__gte=1),
                name="survey_submitted_has_time_and_revision",
            ),
            models.CheckConstraint(
                condition=Q(reading_sd_in__isnull=True) | Q(reading_sd_in__gt=0), name="survey_sd_positive"
            ),
        ]

    def __str__(self) -> str:
        return _("{stage} of {day}").format(stage=self.get_stage_display(), day=f"{self.started_at:%Y-%m-%d}")

    def refusal(self, user: User, act: Act, fields: Collection[str]) -> str | None:
        """What results rest on changes by a crew lead; who started a survey changes it until it is handed in."""
        if act is not Act.CHANGE or user.has_role(Role.CREW_LEAD):
            return None
        if self.state == self.State.SUBMITTED:
            return gettext("This survey is handed in: only a crew lead changes its figures.")
        if self.author_id != user.pk:
            return gettext("Only who started this survey, or a crew lead, changes it.")
        return None


@changes_kept()
class Setup(Versioned):
    """One place of the instrument: a level line, and which way its numbers grow."""

    siting_path = "survey__siting"

    class Sense(models.TextChoices):
        """Whether a bigger number means higher or lower."""

        UP = "up", _("bigger is higher")
        DOWN = "down", _("bigger is lower")

    class Trial(models.TextChoices):
        """What the number did when the end was raised an inch."""

        NOT_MADE = "not_made", _("not tried")
        GREW = "grew", _("the number grew")
        SHRANK = "shrank", _("the number shrank")

    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="setups")
    code = models.CharField(max_length=8)
    sense = models.CharField(max_length=4, choices=Sense.choices)
    sense_trial = models.CharField(max_length=8, choices=Trial.choices, default=Trial.NOT_MADE)
    reading_sd_in = models.DecimalField(
        max_digits=6, decimal_places=4, null=True, blank=True, help_text="empty: the survey's figure"
    )
    has_drift = models.BooleanField(default=False)
    device = models.CharField(max_length=80, blank=True)
    note = models.TextField(blank=True)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        ordering = ["code"]
        constraints = [
            models.UniqueConstraint(fields=["survey", "code"], name="setup_code_once_a_survey"),
            models.CheckConstraint(condition=~Q(code=""), name="setup_has_a_code"),
            models.CheckConstraint(
                condition=Q(sense_trial="not_made")
                | Q(sense_trial="grew", sense="up")
                | Q(sense_trial="shrank", sense="down"),
                name="setup_sense_agrees_with_trial",
            ),
            models.CheckConstraint(
                condition=Q(reading_sd_in__isnull=True) | Q(reading_sd_in__gt=0), name="setup_sd_positive"
            ),
        ]

    def __str__(self) -> str:
        return self.code

    def above_line_in(self, reading: "Reading") -> float:
        """Return how far above this setup's level line a reading of it stands; 0 for one that was withdrawn."""
        value_in, reference_in = float(reading.value_in or 0), float(reading.reference_value_in)
        return value_in + reference_in if self.sense == self.Sense.UP else reference_in - value_in

    def refusal(self, user: User, act: Act, fields: Collection[str]) -> str | None:
        """A setup is changed, or taken away, by whom its survey is."""
        return None if act is Act.ADD else self.survey.refusal(user, Act.CHANGE, fields)


class ReadingQuerySet(CompanyQuerySet["Reading"]):
    """Readings, as they came in."""

    def standing(self) -> Self:
        """Return the readings that count: the newest of each chain, not withdrawn, not a contested correction."""
        replaced = Reading.objects.filter(replaces=OuterRef("pk"), is_contested=False)
        return self.filter(~Exists(replaced), is_contested=False, value_in__isnull=False)

    def contested(self) -> Self:
        """Return the second corrections that nobody has settled yet."""
        settled = Reading.objects.filter(settles=OuterRef("pk"))
        return self.filter(~Exists(settled), is_contested=True)


class Reading(Keyed):
    """One number that somebody read. Append-only: the database refuses to change or delete it.

    A correction is a new reading that names the one it replaces, with a reason; an empty value withdraws. The first
    correction of a reading holds; a second one of the same reading is kept as contested until a reading settles it.
    """

    siting_path = "survey__siting"

    class Shot(models.TextChoices):
        """What a reading is for."""

        POINT = "point", _("point")
        REFERENCE = "reference", _("reference shot")
        CLOSING = "closing", _("closing shot")

    survey = models.ForeignKey(Survey, on_delete=models.PROTECT, related_name="readings")
    setup = models.ForeignKey(Setup, on_delete=models.PROTECT, related_name="readings")
    point = models.ForeignKey(Point, on_delete=models.PROTECT, related_name="readings")
    shot = models.CharField(max_length=9, choices=Shot.choices, default=Shot.POINT)
    round = models.PositiveSmallIntegerField(default=1)
    value_in = models.DecimalField(max_digits=12, decimal_places=6, null=True)
    typed = models.CharField(max_length=40, blank=True)
    unit = models.CharField(max_length=2, choices=Unit.choices)
    reference_value_in = models.DecimalField(max_digits=12, decimal_places=6, default=0)
    reference_typed = models.CharField(max_length=40, blank=True)
    taken_at = models.DateTimeField(null=True)
    sequence = models.PositiveIntegerField(default=0, help_text="the device's own count")
    device = models.CharField(max_length=80, blank=True)
    author = models.ForeignKey(User, on_delete=models.PROTECT, related_name="readings")
    received_at = models.DateTimeField(default=timezone.now)
    replaces = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    settles = models.ForeignKey("self", on_delete=models.PROTECT, null=True, related_name="settled_by")
    is_contested = models.BooleanField(default=False)
    reason = models.CharField(max_length=200, blank=True)
    digest = models.BinaryField(
        max_length=32, help_text="hash of what the client sent, to tell a repeat from a clash"
    )

    objects = ReadingQuerySet.as_manager()

    class Meta:
        ordering = ["received_at", "sequence", "id"]
        indexes = [models.Index(fields=["survey", "received_at", "sequence", "id"], name="reading_in_order")]
        constraints = [
            models.UniqueConstraint(
                fields=["replaces"], condition=Q(is_contested=False), name="reading_replaced_once"
            ),
            models.UniqueConstraint(fields=["settles"], name="reading_settled_once"),
            models.CheckConstraint(
                condition=Q(value_in__isnull=False) | Q(replaces__isnull=False),
                name="reading_only_a_correction_withdraws",
            ),
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | ~Q(reason=""), name="reading_correction_has_a_reason"
            ),
            models.CheckConstraint(
                condition=Q(is_contested=False) | Q(replaces__isnull=False),
                name="reading_contested_is_a_correction",
            ),
            models.CheckConstraint(
                condition=Q(settles__isnull=True) | Q(replaces__isnull=False, is_contested=False),
                name="reading_settling_is_a_correction",
            ),
            models.CheckConstraint(condition=~Q(replaces=F("id")), name="reading_not_its_own_correction"),
            models.CheckConstraint(condition=Q(round__gte=1, round__lte=9), name="reading_round_1_to_9"),
        ]

    def __str__(self) -> str:
        return f"{self.typed or 'withdrawn'} at {self.point_id}"


class SyncEntryQuerySet(CompanyQuerySet["SyncEntry"]):
    """Entries as phones sent them."""

    def visible_to(self, user: "User | AnonymousUser") -> Self:
        """Return one's own entries, whether made or sent; everybody's for the manager and the office."""
        rows = super().visible_to(user)
        if not isinstance(user, User) or user.is_superuser or user.has_role(Role.MANAGER, Role.OFFICE):
            return rows
        return rows.filter(Q(author=user) | Q(sent_by=user))


class SyncEntry(Keyed):
    """What a phone sent under the key of one of its entries, with what became of it: taken, or set aside and why.

    A row is one content under one key, kept once however often it is sent, and never changed (a database trigger
    holds that); only what became of it moves on. So a mended entry is a second row under the same ``entry``, and so
    is another content under the key of one that was taken. At most one content of an entry is ever taken.
    """

    class State(models.TextChoices):
        """What became of the entry."""

        TAKEN = "taken", _("taken")
        SET_ASIDE = "set_aside", _("set aside")
        MENDED = "mended", _("set aside, then mended")
        LEFT_OUT = "left_out", _("set aside, then left out")

    OPEN = (State.SET_ASIDE, State.LEFT_OUT)  # it can still be taken: nothing that a phone sent is given up for good

    entry = models.UUIDField(default=new_key, help_text="the phone's own key; what comes of the entry has it too")
    kind = models.CharField(max_length=12, blank=True, help_text="empty: unreadable, and the body is all of it")
    body = models.JSONField(help_text="what the phone sent")
    digest = models.BinaryField(max_length=32, help_text="hash of what was sent, to tell a repeat from a clash")
    author = models.ForeignKey(User, on_delete=models.PROTECT, related_name="sync_entries")
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    device = models.CharField(max_length=80)
    sequence = models.PositiveIntegerField()
    noted_at = models.DateTimeField(null=True, help_text="by the device's clock")
    clock_offset_s = models.FloatField(null=True, help_text="the device's clock less the server's")
    received_at = models.DateTimeField(default=timezone.now, help_text="when it first came in")
    state = models.CharField(max_length=9, choices=State.choices)
    taken_at = models.DateTimeField(null=True)
    reason = models.JSONField(
        null=True, help_text="code, message and fields: why it was set aside, last; kept when it is taken after all"
    )
    left_out_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, related_name="+")
    left_out_at = models.DateTimeField(null=True)
    left_out_why = models.CharField(max_length=200, blank=True, db_default="")

    objects = SyncEntryQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["state", "received_at"], name="sync_entry_by_state")]
        constraints = [
            models.UniqueConstraint(fields=["entry", "digest"], name="sync_entry_kept_once"),
            models.UniqueConstraint(fields=["entry"], condition=Q(state="taken"), name="sync_entry_taken_once"),
            models.CheckConstraint(
                condition=Q(state="taken") | Q(reason__isnull=False), name="sync_entry_set_aside_has_a_reason"
            ),
            models.CheckConstraint(
                condition=Q(state="taken", taken_at__isnull=False) | (~Q(state="taken") & Q(taken_at__isnull=True)),
                name="sync_entry_taken_has_a_time",
            ),
            models.CheckConstraint(
                condition=~Q(state="left_out")
                | (Q(left_out_by__isnull=False, left_out_at__isnull=False) & ~Q(left_out_why="")),
                name="sync_entry_left_out_says_why",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.sequence} from {self.device}"
