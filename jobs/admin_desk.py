"""What every list of the admin shares: rights by role, no counting of whole tables, and any list as a CSV file."""

import json
from collections.abc import Callable, Iterable, Iterator
from typing import TYPE_CHECKING, Any

from django.contrib import admin, messages
from django.contrib.admin.options import IncorrectLookupParameters
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.db import IntegrityError, connection, transaction
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import redirect
from django.urls import path
from django.utils.functional import cached_property
from django.utils.translation import ngettext

from jobs.csv_files.text import write_lines
from jobs.csv_files.values import as_text
from jobs.errors import DomainError, Stale
from jobs.lengths import figure
from jobs.models import User
from jobs.refusals import refusal_of
from jobs.rights import LEAD, OFFICE, Act, is_manager, may

if TYPE_CHECKING:  # generic to the type checker only
    ModelAdmin = admin.ModelAdmin[Any]
    RowPaginator = Paginator[Any]
else:
    ModelAdmin = admin.ModelAdmin
    RowPaginator = Paginator

PAGES_AHEAD = 10
SECRETS = frozenset({"password", "digest", "session_key", "session_data"})


class CountlessPaginator(RowPaginator):
    """Looks a few pages ahead instead of counting: two million rows take no longer than fifty."""

    near = 1  # the page that is asked for

    @cached_property
    def count(self) -> int:
        """How many rows there are, as far as was looked."""
        start = (max(1, self.near) - 1) * self.per_page
        rows: Any = self.object_list
        ahead = rows.order_by().values_list("pk", flat=True)[start : start + PAGES_AHEAD * self.per_page + 1]
        return start + len(ahead)

    @property
    def is_open(self) -> bool:
        """Whether there is more than was looked at."""
        return self.count > (max(1, self.near) - 1 + PAGES_AHEAD) * self.per_page


class DeskAdmin(ModelAdmin):
    """Rows that staff find, filter, look through and take out as a file, each as far as the own roles go.

    Somebody who is only crew has no business here, staff or not.
    """

    list_per_page = 50
    show_full_result_count = False
    show_facets = admin.ShowFacets.NEVER  # they count
    change_list_template = "jobs/admin/change_list.html"
    csv_left_out: tuple[str, ...] = ()  # large documents

    # -- rights ----------------------------------------------------------------------------------------------

    def has_module_permission(self, request: HttpRequest) -> bool:
        """Show the table in the index to those who may see it."""
        return self.has_view_permission(request)

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """A manager sees everything; others of office and crew leads what their roles see."""
        return is_manager(request.user) or self._may(request, Act.SEE)

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Ask the table of rights."""
        return is_manager(request.user) or self._may(request, Act.ADD)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Ask the table of rights, and the row as it stands; a manager may put right whatever can be changed here."""
        return is_manager(request.user) or (self._may(request, Act.CHANGE) and _allows(request, obj))

    def has_archive_permission(self, request: HttpRequest) -> bool:
        """Ask the table of rights; for actions."""
        return is_manager(request.user) or self._may(request, Act.ARCHIVE)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody deletes: histories hang on these rows."""
        return False

    def _may(self, request: HttpRequest, act: Act) -> bool:
        user = request.user
        runs_things = isinstance(user, User) and bool((OFFICE | LEAD) & set(user.roles))
        return runs_things and may(user, act, self.model)

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[Any, ...]:
        """Show what the service itself writes, too: to be read only. Secrets are not shown at all."""
        declared: list[Any] = list(super().get_readonly_fields(request, obj))
        if obj is None:
            return tuple(declared)
        kept = [
            field.name
            for field in self.model._meta.concrete_fields
            if not field.editable and field.name not in SECRETS | {"version"} | set(self.exclude or ())
        ]
        return tuple(dict.fromkeys([*declared, *kept]))

    # -- lists -----------------------------------------------------------------------------------------------

    def get_paginator(
        self, request: HttpRequest, queryset: QuerySet[Any], per_page: int, *rest: Any, **more: Any
    ) -> Any:
        """Look ahead from the page that is asked for."""
        paginator = CountlessPaginator(queryset, per_page, *rest, **more)
        asked = request.GET.get("p") or request.GET.get("page") or "1"
        paginator.near = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 7 else 1
        return paginator

    def changeform_view(self, request: HttpRequest, *rest: Any, **more: Any) -> Any:
        """Tell what a service or the database refuses at the field, in its own words; what was typed stays."""
        try:
            return super().changeform_view(request, *rest, **more)
        except Stale:
            raise
        except (DomainError, IntegrityError) as error:
            request._refused = _problems(error)  # type: ignore[attr-defined]  # for the form, on the second look
            return super().changeform_view(request, *rest, **more)

    def get_form(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        """Return the form; it says what was refused where the row was tried before in this request."""
        form: Any = super().get_form(request, *args, **kwargs)
        return _asking_the_database(form, getattr(request, "_refused", {}))

    def save_related(self, request: HttpRequest, form: Any, formsets: Any, change: bool) -> None:
        """Have the database check at once what it otherwise checks at the end, when nobody can be told."""
        super().save_related(request, form, formsets, change)
        connection.check_constraints()

    # -- any list as a file ----------------------------------------------------------------------------------

    def get_urls(self) -> list[Any]:
        """Add the address of the list as a file."""
        name = f"{self.opts.app_label}_{self.opts.model_name}_csv"
        return [path("csv/", self.admin_site.admin_view(self.csv_view), name=name), *super().get_urls()]

    def csv_view(self, request: HttpRequest) -> HttpResponseBase:
        """Stream every row of the list as it is searched, filtered and sorted: all pages of it.

        The columns are the table's own; for what a column of the list refers to, its name beside its key.
        """
        if not self.has_view_permission(request):
            raise PermissionDenied
        try:
            rows = self.get_changelist_instance(request).queryset
        except IncorrectLookupParameters:
            return redirect("..")
        columns = dict(self._csv_columns(request))
        written = ([write(row) for write in columns.values()] for row in rows.iterator(chunk_size=1000))
        return StreamingHttpResponse(
            (part.encode() for lines in (["\ufeff"], write_lines(list(columns), written)) for part in lines),
            content_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": f'attachment; filename="{self.opts.model_name}s.csv"'},
        )

    def _csv_columns(self, request: HttpRequest) -> Iterator[tuple[str, Callable[[Any], str]]]:
        named = [name for name in self.get_list_display(request) if isinstance(name, str)]
        for field in self.model._meta.concrete_fields:
            if field.name in SECRETS or field.name in self.csv_left_out:
                continue
            yield field.attname, _writer(field.attname)
            if field.is_relation and field.name in named:
                yield f"{field.name}_name", _writer(field.name)

    # -- actions ---------------------------------------------------------------------------------------------

    def do_each(self, request: HttpRequest, rows: Iterable[Any], act: Callable[[Any], object]) -> int:
        """Have a service act on each chosen row, tell what it refused, and return how many it took."""
        done = 0
        for row in rows:
            try:
                with transaction.atomic():
                    act(row)
                done += 1
            except (DomainError, IntegrityError) as error:
                self.message_user(request, f"{row}: {_sentence(error)}", messages.ERROR)
        return done

    def tell_done(self, request: HttpRequest, done: int) -> None:
        """Tell how many rows an action was done for."""
        words = ngettext("Done for %(count)d row.", "Done for %(count)d rows.", done)
        self.message_user(request, words % {"count": done})


class LookedAtAdmin(DeskAdmin):
    """Rows that come in by themselves or out of calculations: nobody adds or changes one by hand."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Refuse to add."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Refuse to change."""
        return False


def _allows(request: HttpRequest, row: Any) -> bool:
    """Tell whether a row as it stands may be changed by who asks."""
    refusal = getattr(row, "refusal", None)
    return refusal is None or refusal(request.user, Act.CHANGE, ()) is None


def _writer(name: str) -> Callable[[Any], str]:
    def write(row: Any) -> str:
        value = getattr(row, name)
        if isinstance(value, dict):
            return json.dumps(value, ensure_ascii=False, default=str)
        if isinstance(value, list):
            return " ".join(map(str, value))
        return as_text(value)

    return write


def _problems(error: DomainError | IntegrityError) -> dict[str, str]:
    """Return sentences by field; those of no field, or of one that a form may not have, lie under an empty name."""
    if isinstance(error, DomainError):
        return error.fields or {"": error.message}
    refusal = refusal_of(error)
    if refusal is None:
        raise error
    return {refusal[1]: refusal[2]}


def _sentence(error: DomainError | IntegrityError) -> str:
    if isinstance(error, DomainError):
        return " ".join([error.message, *error.fields.values()])
    return " ".join(_problems(error).values())


def _asking_the_database(form: Any, problems: dict[str, str]) -> Any:
    """Make a form that leaves constraints to the database, and says why what was typed was refused by it."""

    class Asking(form):  # type: ignore[misc]  # made by the admin
        def _post_clean(self) -> None:
            self.instance.validate_constraints = lambda exclude=None: None
            try:
                super()._post_clean()
            finally:
                del self.instance.validate_constraints

        def clean(self) -> Any:
            cleaned = super().clean()
            for name, sentence in problems.items():
                self.add_error(name if name in self.fields else None, sentence)
            return cleaned

    return Asking


def in_sixteenths(field: str, title: Any) -> Callable[[Any], Any]:
    """Make a column of a list that shows a length as crews say it: 1 7/16."""

    @admin.display(description=title, ordering=field)
    def shown(row: Any) -> str | None:
        value = getattr(row, field)
        return None if value is None else figure(value)

    return shown


class ChoicesFilter(admin.SimpleListFilter):
    """Filters by a column whose values are known beforehand, without asking the table for them."""

    values: tuple[Any, ...] = ()

    def lookups(self, request: HttpRequest, model_admin: Any) -> list[tuple[str, str]]:
        """Offer the known values."""
        return [(str(value), str(value)) for value in self.values]

    def queryset(self, request: HttpRequest, queryset: QuerySet[Any]) -> QuerySet[Any]:
        """Keep the rows with the chosen value."""
        chosen = self.value()
        if chosen not in {str(value) for value in self.values}:
            return queryset
        return queryset.filter(**{str(self.parameter_name): chosen})
