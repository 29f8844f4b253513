"""Trucks: what a crew drives, and how much it carries."""

from django.db import models
from django.db.models import Q

from jobs.models.base import ArchivableQuerySet, Versioned, changes_kept


@changes_kept()
class Truck(Versioned):
    """A truck or trailer that goes out with a crew."""

    name = models.CharField(max_length=60)
    payload_lb = models.PositiveIntegerField(null=True, blank=True, help_text="what it may carry")
    note = models.TextField(max_length=2000, blank=True)
    archived_at = models.DateTimeField(null=True, blank=True)

    objects = ArchivableQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["name"], condition=Q(archived_at__isnull=True), name="truck_name_once"),
            models.CheckConstraint(condition=~Q(name=""), name="truck_has_a_name"),
        ]

    def __str__(self) -> str:
        return self.name
