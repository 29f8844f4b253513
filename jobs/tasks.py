"""What is cleared away in the background."""

import datetime

from celery import shared_task
from django.db.models import Q
from django.utils import timezone

from jobs.models import Invitation
from jobs.sessions import SessionStore

INVITATION_KEPT = datetime.timedelta(days=30)


@shared_task
def clear_expired() -> None:
    """Delete browsers' sessions that have ended, and invitations that nobody accepted in time: they hold e-mails."""
    SessionStore.clear_expired()
    long_ago = timezone.now() - INVITATION_KEPT
    Invitation.objects.filter(
        Q(expires_at__lt=long_ago) | Q(revoked_at__lt=long_ago), accepted_at__isnull=True
    ).delete()
