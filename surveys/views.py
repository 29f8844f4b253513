"""Pages to bring files in and take files out: checked first, then imported whole or not at all."""

import base64
import zlib
from collections.abc import Callable
from typing import Any, TypeVar, cast

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.signing import BadSignature, TimestampSigner
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_http_methods, require_safe

from jobs.csv_files.run import MOST_CHANGES_SHOWN, Kind, Report, check_may_import, run
from jobs.csv_files.text import MOST_BYTES
from jobs.errors import DomainError
from jobs.models import User
from jobs.views import SignedInRequest, page
from surveys.api.csv_views import csv_response
from surveys.csv_files.kinds import KINDS, cut

CHECK_HOLDS_S = 3600
BYTE_ORDER_MARK = "\ufeff"

V = TypeVar("V", bound=Callable[..., Any])

_signer = TimestampSigner(salt="surveys.checked-file")

THINGS = {
    "customer": gettext_lazy("customers"),
    "home": gettext_lazy("homes"),
    "place": gettext_lazy("places"),
    "point": gettext_lazy("points"),
    "support": gettext_lazy("supports"),
    "benchmark": gettext_lazy("benchmarks"),
    "pair": gettext_lazy("pairs"),
    "connection": gettext_lazy("connections"),
    "strap": gettext_lazy("straps"),
    "survey": gettext_lazy("surveys"),
    "setup": gettext_lazy("setups"),
    "reading": gettext_lazy("readings"),
}


@require_safe
@page
def files(request: SignedInRequest) -> HttpResponse:
    """Go to the first kind of file that the person may bring in or take out."""
    for kind in KINDS.values():
        if kind.may_import(request.user) or kind.may_export(request.user):
            return redirect("import", kind.name)
    raise PermissionDenied


def _takes_files(view: V) -> V:
    """Let a view be sent more than a form: a file somewhat larger than may be, too, so that the page tells it."""
    vars(view)["most_bytes"] = 2 * MOST_BYTES
    return view


@_takes_files
@require_http_methods(["GET", "HEAD", "POST"])
@page
def import_file(request: SignedInRequest, name: str) -> HttpResponse:
    """Check a file and show what it would do; then import the very file that was checked."""
    kind = _kind(request.user, name)
    context: dict[str, Any] = {
        "kind": kind,
        "kinds": _kinds(request.user),
        "may_import": kind.may_import(request.user),
    }
    if request.method == "POST":
        check_may_import(kind, request.user)
        try:
            if "checked" in request.POST:
                return _import(request, kind)
            data = _uploaded(request)
            report = run(kind, data, by=request.user, is_dry_run=True)
            context |= _shown(report) | {"checked": _seal(data, kind, request.user)}
        except DomainError as wrong:
            context |= {"wrong": wrong}
    status = 400 if "wrong" in context else 200
    return render(request, "surveys/import.html", context, status=status)


@require_safe
@page
def export_file(request: SignedInRequest, name: str) -> HttpResponse:
    """Give a file out, with the mark by which spreadsheet programs know its letters."""
    kind = _kind(request.user, name)
    try:
        chosen = cut(kind, request.user, request.GET.dict())
        return cast(HttpResponse, csv_response(kind, request.user, chosen, mark=BYTE_ORDER_MARK))
    except DomainError as wrong:
        context = {
            "kind": kind,
            "kinds": _kinds(request.user),
            "wrong_cut": wrong,
            "home": request.GET.get("home", ""),
        }
        context["may_import"] = kind.may_import(request.user)
        return render(request, "surveys/import.html", context, status=wrong.status)


def _kinds(user: User) -> list[Kind]:
    return [kind for kind in KINDS.values() if kind.may_import(user) or kind.may_export(user)]


def _kind(user: User, name: str) -> Kind:
    """Return a kind that the person may bring in or take out."""
    kind = KINDS.get(name)
    if kind is None or kind not in _kinds(user):
        raise PermissionDenied
    return kind


def _uploaded(request: SignedInRequest) -> bytes:
    upload = request.FILES.get("file")
    if upload is None:
        message = _("Choose a file first.")
        raise DomainError("invalid", message, fields={"file": message})
    return bytes(upload.read(MOST_BYTES + 1))


def _import(request: SignedInRequest, kind: Kind) -> HttpResponse:
    data = _unseal(request.POST["checked"], kind, request.user)
    report = run(kind, data, by=request.user, is_dry_run=False)
    messages.success(request, _said(report))
    return redirect("import", kind.name)


def _said(report: Report) -> str:
    added = sum(count.added for count in report.counts.values())
    changed = sum(count.changed for count in report.counts.values())
    if not added and not changed:
        return _("Everything in the file is there already: nothing was changed.")
    return _("Imported: %(added)s, %(changed)s.") % {
        "added": ngettext("%(n)d added", "%(n)d added", added) % {"n": added},
        "changed": ngettext("%(n)d changed", "%(n)d changed", changed) % {"n": changed},
    }


def _shown(report: Report) -> dict[str, Any]:
    done = sum(count.added + count.changed for count in report.counts.values())
    return {
        "report": report,
        "counts": [(THINGS.get(thing, thing), count) for thing, count in report.counts.items()],
        "is_new": done > 0,
        "not_shown": max(0, done - MOST_CHANGES_SHOWN),
    }


# -- the file that was checked travels with the page, signed: what was checked is what is imported ------------


def _seal(data: bytes, kind: Kind, user: User) -> str:
    packed = base64.urlsafe_b64encode(zlib.compress(data, 9)).decode()
    return _signer.sign(f"{user.pk}:{kind.name}:{packed}")


def _unseal(sealed: str, kind: Kind, user: User) -> bytes:
    try:
        of_user, of_kind, packed = _signer.unsign(sealed, max_age=CHECK_HOLDS_S).split(":")
    except (BadSignature, ValueError):
        of_user = of_kind = packed = ""
    if (of_user, of_kind) != (str(user.pk), kind.name):
        raise DomainError("not_checked", _("This check is no longer good: choose the file and check it again."))
    return zlib.decompress(base64.urlsafe_b64decode(packed))
