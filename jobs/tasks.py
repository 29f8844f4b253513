"""What is cleared away and sent in the background."""

import datetime

from celery import shared_task
from django.db.models import Q
from django.utils import timezone

from jobs.mail_sending import send_waiting
from jobs.models import Invitation
from jobs.photo_uploads import clear_abandoned
from jobs.sessions import SessionStore

INVITATION_KEPT = datetime.timedelta(days=30)


@shared_task
def clear_expired() -> None:
    """Delete sessions that have ended, invitations that nobody accepted in time, photos that never came in whole."""
    SessionStore.clear_expired()
    clear_abandoned()
    long_ago = timezone.now() - INVITATION_KEPT  # they hold e-mails
    Invitation.objects.filter(
        Q(expires_at__lt=long_ago) | Q(revoked_at__lt=long_ago), accepted_at__isnull=True
    ).delete()


@shared_task
def send_mail() -> None:
    """Send the mail that waits; what is not taken now is tried again later."""
    send_waiting()
