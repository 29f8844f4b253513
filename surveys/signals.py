"""What this app tells others: a survey has been handed in, or has changed since."""

from django.dispatch import Signal

survey_submitted = Signal()
"""Sent after commit with ``survey_id``, when a survey is submitted and whenever it changes afterwards."""
