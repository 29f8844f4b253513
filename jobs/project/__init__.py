"""Wiring: settings, URLs, Celery, WSGI and the embedded services. May import every app."""

from jobs.project.celery import app as celery_app

__all__ = ["celery_app"]
