"""Mail to customers: its words, which the company edits, and each message until it is sent."""

from django.core.exceptions import ValidationError
from django.db import models
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from jobs import blanks
from jobs.models.base import CompanyQuerySet, Keyed, OfficeQuerySet, Versioned, changes_kept
from jobs.models.homes import Siting
from jobs.models.people import LANGUAGES, Customer, User
from jobs.models.visits import Visit

LINE_BREAK = r"[\r\n]"  # in a subject it would begin a header of its own


class MailKind(models.TextChoices):
    """What a message is about."""

    BOOKED = "booked", _("a visit is booked")
    CHANGED = "changed", _("a visit is moved")
    CANCELLED = "cancelled", _("a visit is cancelled")
    DUE = "due", _("the home is due")


@changes_kept()
class MailText(Versioned):
    """The company's own words for one kind of message in one language, instead of those that the service brings."""

    kind = models.CharField(max_length=9, choices=MailKind.choices)
    language = models.CharField(max_length=5, choices=LANGUAGES)
    subject = models.CharField(max_length=200)
    body = models.TextField(max_length=4000)

    objects = CompanyQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["kind", "language"], name="mail_text_once_a_kind_and_language"),
            models.CheckConstraint(condition=~Q(subject="") & ~Q(body=""), name="mail_text_is_not_empty"),
            models.CheckConstraint(condition=~Q(subject__regex=LINE_BREAK), name="mail_text_subject_is_one_line"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} ({self.language})"

    def clean(self) -> None:
        """Refuse words whose blanks can't be filled, or that would leave a customer without the day."""
        super().clean()
        known = self.kind in blanks.BLANKS
        if known and (problems := blanks.problems(self.kind, subject=self.subject, body=self.body)):
            raise ValidationError(problems)


class Mail(Keyed):
    """One message to a customer. It is kept until the mail server has taken it, however long that is away."""

    class State(models.TextChoices):
        """What has become of it."""

        WAITING = "waiting", _("waiting")
        SENT = "sent", _("sent")
        FAILED = "failed", _("refused by the mail server")
        STOPPED = "stopped", _("not to be sent")

    kind = models.CharField(max_length=9, choices=MailKind.choices)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="mails")
    siting = models.ForeignKey(Siting, on_delete=models.PROTECT, related_name="mails")
    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="mails")
    to_address = models.EmailField(blank=True, help_text="empty once the customer was erased")
    language = models.CharField(max_length=5, choices=LANGUAGES)
    subject = models.CharField(max_length=200)
    body = models.TextField()
    state = models.CharField(max_length=7, choices=State.choices, default=State.WAITING)
    made_at = models.DateTimeField(default=timezone.now)
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, null=True, blank=True, related_name="+")
    tries = models.PositiveIntegerField(default=0)
    is_unsure = models.BooleanField(default=False, help_text="a try broke off: it may have arrived all the same")
    next_try_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True, blank=True)
    error = models.CharField(max_length=300, blank=True, help_text="what the mail server said last")

    objects = OfficeQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["state", "next_try_at"], name="mail_by_next_try")]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="sent", sent_at__isnull=False) | (~Q(state="sent") & Q(sent_at__isnull=True)),
                name="mail_sent_has_a_time",
            ),
            models.CheckConstraint(condition=~Q(state="waiting", to_address=""), name="mail_waiting_has_an_address"),
            models.CheckConstraint(condition=~Q(subject__regex=LINE_BREAK), name="mail_subject_is_one_line"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.get_state_display()}"

    @property
    def why(self) -> str:
        """Why it was not sent (yet): the service's own reason in the reader's language, or what the server said."""
        return gettext(self.error) if self.error else ""
