"""What every resource shares: who sees it, how its rows are written, and what deleting means."""

from typing import Any, ClassVar

import django_filters
from django.db import transaction
from django.db.models import QuerySet
from rest_framework import serializers
from rest_framework.viewsets import ModelViewSet

from jobs.errors import DomainError


class RowSerializer(serializers.ModelSerializer[Any]):
    """One row. Rules over several fields are the database's; its refusals come back as a sentence at a field."""

    fixed: ClassVar[tuple[str, ...]] = ()  # what can't change once the row is there

    def get_validators(self) -> list[Any]:
        """Leave uniqueness to the constraints, which also hold when two write at once."""
        return []

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse to change what is fixed."""
        if self.instance is not None:
            moved = [name for name in self.fixed if name in attrs and attrs[name] != getattr(self.instance, name)]
            if moved:
                raise serializers.ValidationError(dict.fromkeys(moved, "This can't be changed afterwards."))
        return attrs


class RowViewSet(ModelViewSet[Any]):
    """List, read, add and change rows; deleting archives, where a row can be archived, and is refused elsewhere."""

    http_method_names = ["get", "post", "patch", "delete", "head", "options"]

    def get_queryset(self) -> QuerySet[Any]:
        """Return the rows that the person may see."""
        rows: Any = super().get_queryset()
        visible: QuerySet[Any] = rows.visible_to(self.request.user)
        return visible

    @transaction.atomic
    def perform_create(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """Add a row, whole or not at all."""
        serializer.save()

    @transaction.atomic
    def perform_update(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """Change a row, whole or not at all."""
        serializer.save()

    def perform_destroy(self, instance: Any) -> None:
        """Archive the row."""
        rows: Any = type(instance)._default_manager.filter(pk=instance.pk)
        if not hasattr(rows, "archive"):
            raise DomainError("method_not_allowed", "This is kept: it is part of a history.", status=405)
        rows.archive()


class KeptViewSet(RowViewSet):
    """Rows that are never deleted, because a history hangs on them."""

    http_method_names = ["get", "post", "patch", "head", "options"]


class ArchivableFilter(django_filters.FilterSet):
    """Adds ``archived``: true for archived rows only, false for standing ones, both without it."""

    archived = django_filters.BooleanFilter(field_name="archived_at", lookup_expr="isnull", exclude=True)
