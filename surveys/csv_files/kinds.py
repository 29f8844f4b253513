"""Every kind of file that can be imported and exported, and what an export may be cut by."""

from collections.abc import Mapping
from uuid import UUID

from django.utils.translation import gettext as _

from jobs.csv_files.customers import CUSTOMERS
from jobs.csv_files.homes import HOMES
from jobs.csv_files.layouts import LAYOUTS
from jobs.csv_files.run import Kind
from jobs.errors import DomainError
from jobs.models import Home, User
from surveys.csv_files.paper import PAPER
from surveys.csv_files.readings import READINGS
from surveys.models import Survey

KINDS: dict[str, Kind] = {kind.name: kind for kind in (CUSTOMERS, HOMES, LAYOUTS, READINGS, PAPER)}


def cut(kind: Kind, by: User, given: Mapping[str, str]) -> dict[str, str]:
    """Return what an export is cut by, checked; empty values count as not given.

    Raises
    ------
    DomainError
        For what this kind can't be cut by, and for a home or survey that the person can't see.
    """
    chosen = {name: value for name, value in given.items() if value}
    for name, value in chosen.items():
        if name not in kind.cut_by:
            allowed = ", ".join(kind.cut_by) or _("nothing")
            message = _("This file can be cut by %(allowed)s.") % {"allowed": allowed}
            raise DomainError("invalid", message, fields={name: message})
        if not (_has_home(by, value) if name == "home" else _has_survey(by, value)):
            message = _("There is no such home.") if name == "home" else _("There is no such survey.")
            raise DomainError("not_found", message, fields={name: message}, status=404)
    return chosen


def _has_home(by: User, code: str) -> bool:
    return "\0" not in code and Home.objects.visible_to(by).filter(code=code).exists()


def _has_survey(by: User, key: str) -> bool:
    try:
        return Survey.objects.visible_to(by).filter(pk=UUID(key)).exists()
    except ValueError:
        return False
