"""The Celery application: settings from Django, tasks found in each app's ``tasks.py``."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "jobs.project.settings")
# Before numpy is imported: the engine's small matrices are slower with more threads, and the worker has processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

app = Celery("releveling")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
