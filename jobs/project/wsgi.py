"""WSGI entry point: ``gunicorn jobs.project.wsgi``."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "jobs.project.settings")

application = get_wsgi_application()
