"""How lists are cut by the query: a filter that a list doesn't have is refused, for it would show too much."""

from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django_filters.rest_framework import DjangoFilterBackend
from rest_framework.request import Request

from jobs.api.pagination import NewestFirst
from jobs.errors import DomainError

_PAGING = frozenset({NewestFirst.cursor_query_param, NewestFirst.page_size_query_param})


class NamedFilters(DjangoFilterBackend):
    """Filters by what a list says that it can be filtered by, and by nothing else."""

    def filter_queryset(self, request: Request, queryset: QuerySet[Any], view: Any) -> QuerySet[Any]:
        """Return the rows that the query asks for.

        Raises
        ------
        DomainError
            400 ``invalid``, when the query names a filter that the list doesn't have.
        """
        if getattr(view, "action", None) in getattr(view, "cut_actions", ("list",)):
            self._check_names(request, queryset, view)
        rows: QuerySet[Any] = super().filter_queryset(request, queryset, view)
        return rows

    def _check_names(self, request: Request, queryset: QuerySet[Any], view: Any) -> None:
        filterset: Any = self.get_filterset_class(view, queryset)
        known = _PAGING | set(filterset.base_filters if filterset else ())
        unknown = [name for name in request.query_params if name not in known]
        if unknown:
            sentence = _("There is no such filter here. There are: {names}.").format(names=", ".join(sorted(known)))
            message = _("Some fields need another look.")
            raise DomainError("invalid", message, fields=dict.fromkeys(unknown, sentence))
