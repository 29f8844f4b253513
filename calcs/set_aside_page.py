"""What phones sent and could not be taken: who, when, from which phone, what it was about, and why."""

import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.core.paginator import Page, Paginator
from django.db.models import Model
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from jobs.errors import DomainError
from jobs.models import Home, Point, Role, Siting, Strap, User, Visit
from jobs.views import SignedInRequest, page
from surveys.models import Setup, Survey, SyncEntry
from surveys.set_aside import WHY_AT_MOST, leave_out, reason_told

ENTRIES_A_PAGE = 50
KIND_WORDS: dict[str, Promise] = {
    "survey": _("start of a survey"),
    "setup": _("setup of the level"),
    "reading": _("reading"),
    "submit": _("handing in of a survey"),
    "finding": _("finding"),
    "strap": _("check of a strap"),
    "pass": _("step of a plan"),
    "time": _("time worked"),
    "hazard": _("hazard"),
    "caution": _("caution read"),
    "head_count": _("head count"),
    "visit_report": _("report of a visit"),
    "handover": _("handover"),
    "takeover": _("handover read"),
    "closing": _("check of the closing"),
    "": _("entry that can't be read"),
}
# What an entry may name, and how to come from it to what people call it and to its home.
_NAMED: tuple[tuple[type[Model], str, str], ...] = (
    (Home, "code", "pk"),
    (Siting, "address", "home"),
    (Survey, "started_at", "siting__home"),
    (Setup, "code", "survey__siting__home"),
    (Point, "label", "siting__home"),
    (Strap, "code", "siting__home"),
    (Visit, "starts_at", "siting__home"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryRow:
    """One entry as the page shows it."""

    entry: SyncEntry
    what: str
    where: str
    home: Home | None
    says: tuple[tuple[str, str], ...]
    message: str
    problems: tuple[tuple[str, str], ...]


@require_safe
@page
def set_aside(request: SignedInRequest) -> HttpResponse:
    """List the entries that wait to be mended: one's own, and everybody's for the manager and the office."""
    return _listed(request)


def _listed(request: SignedInRequest, *, status: int = 200, **refused: Any) -> HttpResponse:
    entries = waiting_for(request.user).select_related("author", "sent_by").order_by("-received_at", "-pk")
    found = Paginator(entries, ENTRIES_A_PAGE).get_page(request.GET.get("page"))
    rows, is_everybody = rows_of(found, request.user), request.user.has_role(Role.MANAGER, Role.OFFICE)
    context = {"page": found, "rows": rows, "is_everybody": is_everybody, "why_at_most": WHY_AT_MOST, **refused}
    return render(request, "calcs/set_aside.html", context, status=status)


@require_POST
@page
def leave_out_entry(request: SignedInRequest, entry: uuid.UUID) -> HttpResponse:
    """Take an entry off the list, with a reason."""
    why = request.POST.get("why", "")
    try:
        leave_out(entry=entry, by=request.user, why=why)
    except DomainError as error:
        if error.status in (HTTPStatus.NOT_FOUND, HTTPStatus.FORBIDDEN):
            raise
        return _listed(request, status=error.status, refused=entry, message=error.message, why=why)
    messages.success(request, _("Left out. It stays kept, with your reason."))
    return redirect("set-aside")


def waiting_for(user: User) -> Any:
    """Return the entries that are set aside, as far as somebody may see them."""
    return SyncEntry.objects.visible_to(user).filter(state=SyncEntry.State.SET_ASIDE)


def rows_of(entries: Page[SyncEntry] | Iterable[SyncEntry], user: User) -> list[EntryRow]:
    """Return entries with names for the keys in them, in a fixed number of queries."""
    shown = list(entries)
    names = _names({key for entry in shown for key in _keys(entry.body)}, user)
    return [_row(entry, names) for entry in shown]


@dataclass(frozen=True, slots=True)
class _Name:
    words: str
    home: Home


def _names(keys: set[uuid.UUID], user: User) -> dict[uuid.UUID, _Name]:
    found: dict[uuid.UUID, _Name] = {}
    homes: dict[uuid.UUID, uuid.UUID] = {}
    words: dict[uuid.UUID, str] = {}
    for model, name, home in _NAMED:
        rows: Any = model._default_manager
        for key, called, of in rows.visible_to(user).filter(pk__in=keys).values_list("pk", name, home):
            words[key] = called if isinstance(called, str) else f"{called:%Y-%m-%d}"
            homes[key] = of
    known = Home.objects.visible_to(user).in_bulk(set(homes.values()))
    for key, of in homes.items():
        if of in known:
            found[key] = _Name(words[key], known[of])
    return found


def _keys(body: Any) -> Iterator[uuid.UUID]:
    for value in body.values() if isinstance(body, dict) else ():
        if (key := _key(value)) is not None:
            yield key


def _key(value: Any) -> uuid.UUID | None:
    try:
        return uuid.UUID(value) if isinstance(value, str) and len(value) == 36 else None
    except ValueError:
        return None


def _row(entry: SyncEntry, names: dict[uuid.UUID, _Name]) -> EntryRow:
    named = [names[key] for key in _keys(entry.body) if key in names]
    reason = reason_told(entry.reason)
    body = entry.body if isinstance(entry.body, dict) else {"": entry.body}
    return EntryRow(
        entry=entry,
        what=str(KIND_WORDS.get(entry.kind, entry.kind)),
        where=", ".join(dict.fromkeys(name.words for name in named)),
        home=named[0].home if named else None,
        says=tuple(
            (name, str(value)) for name, value in body.items() if value not in (None, "") and _key(value) is None
        ),
        message=reason["message"] if reason else "",
        problems=tuple((path.removeprefix("body."), said) for path, said in reason["fields"].items())
        if reason
        else (),
    )
