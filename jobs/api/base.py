"""What every resource shares: who sees it, how its rows are written, and what deleting means."""

from collections.abc import Iterable
from typing import Any, ClassVar

import django_filters
from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import ModelViewSet

from jobs.api.preconditions import VersionedMixin
from jobs.errors import DomainError, Stale
from jobs.models.base import Act, Versioned
from jobs.rights import need_on


class RowSerializer(serializers.ModelSerializer[Any]):
    """One row. Rules over several fields are the database's; its refusals come back as a sentence at a field."""

    fixed: ClassVar[tuple[str, ...]] = ()  # what can't change once the row is there

    def get_fields(self) -> dict[str, Any]:
        """Show the version of a row that two may edit: it is what its ETag is made of."""
        fields: dict[str, Any] = super().get_fields()
        if issubclass(self.Meta.model, Versioned):
            about = "raised by every change; the ETag in quotes"
            fields["version"] = serializers.IntegerField(source="edition", read_only=True, help_text=about)
        self._narrow(fields.values())
        return fields

    def _narrow(self, fields: Iterable[Any]) -> None:
        """Let a row name only other rows that the person may see; the rest isn't there."""
        request = self.context.get("request")
        for field in fields:
            related = getattr(field, "child_relation", field)
            rows: Any = getattr(related, "queryset", None)
            if request is not None and hasattr(rows, "visible_to"):
                related.queryset = rows.visible_to(request.user)

    def get_validators(self) -> list[Any]:
        """Leave uniqueness to the constraints, which also hold when two write at once."""
        return []

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse to change what is fixed."""
        if self.instance is not None:
            moved = [name for name in self.fixed if name in attrs and attrs[name] != getattr(self.instance, name)]
            if moved:
                raise serializers.ValidationError(dict.fromkeys(moved, _("This can't be changed afterwards.")))
        return attrs


class RowViewSet(VersionedMixin, ModelViewSet[Any]):
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
        need_on(self.request.user, Act.ADD, serializer.save())

    @transaction.atomic
    def perform_update(self, serializer: serializers.BaseSerializer[Any]) -> None:
        """Change a row, whole or not at all."""
        check_fields(self.request.user, serializer)
        serializer.save()

    def perform_destroy(self, instance: Any) -> None:
        """Archive the row, unless somebody has changed it since it was read; one that is archived stays so."""
        rows: Any = instance.as_read() if isinstance(instance, Versioned) else type(instance)._default_manager
        if not hasattr(rows, "archive"):
            raise DomainError("method_not_allowed", _("This is kept: it is part of a history."), status=405)
        if not rows.filter(pk=instance.pk).archive() and not rows.filter(pk=instance.pk).exists():
            raise Stale


def check_fields(user: Any, serializer: serializers.BaseSerializer[Any]) -> None:
    """Refuse to change the fields of a row that this person may not change, as it stands."""
    row: Any = serializer.instance
    sent = serializer.validated_data
    many = {field.name for field in row._meta.many_to_many}
    changed = [
        name
        for name, value in sent.items()
        if (set(value) != set(getattr(row, name).all()) if name in many else value != getattr(row, name, None))
    ]
    need_on(user, Act.CHANGE, row, changed)


def delete_as_read(row: Versioned) -> None:
    """Delete a row that no history hangs on, unless somebody has changed it since it was read."""
    deleted, _rows = row.as_read().delete()
    if not deleted and type(row)._default_manager.filter(pk=row.pk).exists():
        raise Stale


class ArchivableViewSet(RowViewSet):
    """Rows that are archived rather than deleted: lists leave archived ones out unless they are asked for."""

    acts: ClassVar[dict[str, Act | None]] = {"restore": Act.ARCHIVE}

    def filter_queryset(self, queryset: QuerySet[Any]) -> QuerySet[Any]:
        """Leave archived rows out of a list; a single one is found all the same."""
        rows = super().filter_queryset(queryset)
        asked = self.action != "list" or self.request.query_params.get("archived")
        return rows if asked else rows.filter(archived_at__isnull=True)

    @extend_schema(request=None, filters=False)
    @action(detail=True, methods=["post"], pagination_class=None, filterset_class=None)
    def restore(self, request: Request, pk: str) -> Response:
        """Bring the row back from the archive; one that stands stays as it is."""
        row = self.get_object()
        with transaction.atomic():
            self.perform_restore(row)
        return Response(self.get_serializer(self.get_object()).data)

    def perform_restore(self, row: Any) -> None:
        """Clear the day it was archived."""
        type(row)._default_manager.filter(pk=row.pk).restore()


class KeptViewSet(RowViewSet):
    """Rows that are never deleted, because a history hangs on them."""

    http_method_names = ["get", "post", "patch", "head", "options"]


class ArchivableFilter(django_filters.FilterSet):
    """Adds ``archived``: true for archived rows only, false or nothing for standing ones, any for both."""

    archived = django_filters.ChoiceFilter(
        choices=[("true", "archived only"), ("false", "standing only"), ("any", "both")],
        method="filter_archived",
        help_text="true: archived rows only; false, as without it: standing ones; any: both",
    )

    def filter_archived(self, rows: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep what was asked for."""
        return rows if value == "any" else rows.filter(archived_at__isnull=value == "false")
