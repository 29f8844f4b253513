"""The admin's lists and forms of this app: found as people name things, saved by the services that pages call."""

from django.contrib import admin
from django.contrib.auth.models import Group

from jobs.admin import (
    access,
    assessments,
    attached,
    changes,
    findings,
    homes,
    layout,
    mail,
    people,
    safety,
    schedule,
    visits,
)

__all__ = [
    "access",
    "assessments",
    "attached",
    "changes",
    "findings",
    "homes",
    "layout",
    "mail",
    "people",
    "safety",
    "schedule",
    "visits",
]

admin.site.unregister(Group)  # roles are on the person
