"""Who may do what: one table, by role. What a person may see of it, row by row, is the querysets' ``visible_to``."""

from collections.abc import Collection
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.db.models import Model
from django.utils.translation import gettext_lazy as _

from jobs.errors import DomainError
from jobs.models import Home, Role, User
from jobs.models.base import Act, Keyed

__all__ = ["RIGHTS", "Act", "is_manager", "may", "need", "need_on", "need_standing", "refusal"]

Roles = frozenset[Role]

NOBODY: Roles = frozenset()
MANAGER: Roles = frozenset({Role.MANAGER})
OFFICE = MANAGER | {Role.OFFICE}
LEAD: Roles = frozenset({Role.CREW_LEAD})
CREW = LEAD | {Role.CREW}
EVERYBODY = OFFICE | CREW

# Things by model: who sees, adds, changes and archives them. One's own tokens and sessions need no role.
RIGHTS: dict[str, tuple[Roles, Roles, Roles, Roles]] = {
    "jobs.company": (EVERYBODY, NOBODY, MANAGER, NOBODY),
    "jobs.ruleset": (EVERYBODY, MANAGER, NOBODY, NOBODY),
    "jobs.user": (EVERYBODY, MANAGER, MANAGER, NOBODY),
    "jobs.invitation": (MANAGER, MANAGER, MANAGER, NOBODY),
    "jobs.signedlink": (OFFICE | LEAD, OFFICE, OFFICE, NOBODY),
    "jobs.signedlinkuse": (OFFICE | LEAD, NOBODY, NOBODY, NOBODY),
    "jobs.customer": (OFFICE | LEAD, OFFICE, OFFICE, OFFICE),
    "jobs.homecontact": (OFFICE | LEAD, OFFICE, OFFICE, OFFICE),
    "jobs.home": (EVERYBODY, OFFICE, OFFICE | LEAD, OFFICE),
    "jobs.siting": (EVERYBODY, OFFICE, OFFICE | LEAD, NOBODY),
    "jobs.point": (EVERYBODY, EVERYBODY, OFFICE | LEAD, OFFICE | LEAD),
    "jobs.support": (EVERYBODY, EVERYBODY, OFFICE | LEAD, OFFICE | LEAD),
    "jobs.neighbourpair": (EVERYBODY, EVERYBODY, OFFICE | LEAD, OFFICE | LEAD),
    "jobs.benchmark": (EVERYBODY, EVERYBODY, OFFICE | LEAD, OFFICE | LEAD),
    "jobs.connection": (EVERYBODY, EVERYBODY, OFFICE | LEAD, OFFICE | LEAD),
    "jobs.strap": (EVERYBODY, EVERYBODY, OFFICE | LEAD, OFFICE | LEAD),
    "jobs.drainrun": (EVERYBODY, EVERYBODY, OFFICE | LEAD, OFFICE | LEAD),
    "jobs.drainnode": (EVERYBODY, EVERYBODY, OFFICE | LEAD, OFFICE | LEAD),
    "jobs.visit": (EVERYBODY, OFFICE, OFFICE | LEAD, NOBODY),  # a lead: state and note of own visits
    "jobs.job": (OFFICE | LEAD, OFFICE, OFFICE, NOBODY),
    "jobs.truck": (EVERYBODY, OFFICE, OFFICE, OFFICE),
    "jobs.timeoff": (EVERYBODY, OFFICE, OFFICE, OFFICE),
    "jobs.occupied": (OFFICE | LEAD, NOBODY, NOBODY, NOBODY),
    "jobs.visitreport": (EVERYBODY, CREW, NOBODY, NOBODY),
    "jobs.handover": (EVERYBODY, CREW, CREW, NOBODY),  # change: say that one has read it
    "jobs.finding": (EVERYBODY, CREW, NOBODY, MANAGER | LEAD),
    "jobs.strapcheck": (EVERYBODY, CREW, NOBODY, NOBODY),
    "jobs.hazard": (EVERYBODY, EVERYBODY, OFFICE | LEAD, NOBODY),  # change: clear it
    "jobs.cautionread": (EVERYBODY, CREW, NOBODY, NOBODY),
    "jobs.headcount": (EVERYBODY, CREW, NOBODY, NOBODY),
    "jobs.assessment": (EVERYBODY, LEAD | MANAGER, LEAD | MANAGER, NOBODY),
    "jobs.blockoverride": (EVERYBODY, MANAGER, NOBODY, NOBODY),
    "jobs.paper": (EVERYBODY, OFFICE | LEAD, OFFICE | LEAD, OFFICE | LEAD),
    "jobs.worktime": (EVERYBODY, CREW, NOBODY, NOBODY),
    "jobs.photo": (EVERYBODY, EVERYBODY, NOBODY, MANAGER | LEAD),
    "jobs.photoupload": (EVERYBODY, EVERYBODY, EVERYBODY, NOBODY),  # change: go on with one's own
    "jobs.mail": (OFFICE, OFFICE, OFFICE, NOBODY),  # add: say that a home is due; change: try again, stop
    "jobs.mailtext": (OFFICE, MANAGER, MANAGER, MANAGER),
    "jobs.calendarfeed": (EVERYBODY, EVERYBODY, EVERYBODY, NOBODY),  # one's own
    "jobs.devicetoken": (EVERYBODY, EVERYBODY, EVERYBODY, EVERYBODY),
    "jobs.browsersession": (EVERYBODY, NOBODY, EVERYBODY, EVERYBODY),
    "surveys.survey": (EVERYBODY, CREW, CREW, NOBODY),  # crew: own ones while open
    "surveys.setup": (EVERYBODY, CREW, CREW, CREW),
    "surveys.reading": (EVERYBODY, CREW, NOBODY, NOBODY),
    "surveys.syncentry": (EVERYBODY, CREW, EVERYBODY, NOBODY),  # change: leave out what will not be mended
    "calcs.calculation": (EVERYBODY, EVERYBODY, NOBODY, NOBODY),
    "calcs.answer": (EVERYBODY, NOBODY, NOBODY, NOBODY),
    "calcs.plan": (EVERYBODY, EVERYBODY, NOBODY, NOBODY),
    "calcs.plancheck": (EVERYBODY, NOBODY, NOBODY, NOBODY),
    "calcs.trial": (EVERYBODY, OFFICE | CREW, NOBODY, NOBODY),
    "calcs.approval": (EVERYBODY, LEAD | MANAGER, LEAD | MANAGER, NOBODY),  # change: withdraw it
    "calcs.closing": (EVERYBODY, LEAD | MANAGER, LEAD | MANAGER, NOBODY),
    "calcs.passentry": (EVERYBODY, CREW, NOBODY, NOBODY),
    "calcs.due": (OFFICE | LEAD, NOBODY, NOBODY, NOBODY),  # whoever books visits books from it
    "calcs.routeplan": (OFFICE, OFFICE, OFFICE, NOBODY),  # change: book from it
    "calcs.nightlyrun": (MANAGER, NOBODY, NOBODY, NOBODY),
    "calcs.workerbeat": (MANAGER, NOBODY, NOBODY, NOBODY),  # and with it all figures of how the service runs
}
_ACTS = tuple(Act)

Person = User | AnonymousUser


def is_manager(user: object) -> bool:
    """Tell whether ``user`` may do what binds the whole company."""
    return isinstance(user, User) and user.is_active and (user.is_superuser or user.has_role(Role.MANAGER))


def may(user: Any, act: Act, model: type[Model]) -> bool:
    """Tell whether one of the roles of ``user`` allows ``act`` on things of ``model``."""
    if not isinstance(user, User) or not user.is_active:
        return False
    allowed = RIGHTS.get(model._meta.label_lower, (NOBODY, NOBODY, NOBODY, NOBODY))[_ACTS.index(act)]
    return bool(allowed & set(user.roles)) or (is_manager(user) and bool(allowed & MANAGER))


def need(user: Any, act: Act, model: type[Model]) -> None:
    """Refuse what no role of ``user`` allows.

    Raises
    ------
    DomainError
        403, naming the roles that would.
    """
    if may(user, act, model):
        return
    allowed = RIGHTS.get(model._meta.label_lower, (NOBODY, NOBODY, NOBODY, NOBODY))[_ACTS.index(act)]
    raise DomainError("permission_denied", refusal(allowed), status=403)


def need_on(user: Any, act: Act, row: Model, fields: Collection[str] = ()) -> None:
    """Refuse what ``user`` may not do to this row: by role, by the row's own state, under a home that is archived.

    Raises
    ------
    DomainError
        403 in the first two cases, 409 under an archived home, which the office restores first.
    """
    need(user, act, type(row))
    if act is Act.SEE or not isinstance(row, Keyed):
        return
    if sentence := row.refusal(user, act, fields):
        raise DomainError("permission_denied", sentence, status=403)
    if act is not Act.ARCHIVE and _is_under_archived_home(row):
        sentence = str(_("This home is archived: the office restores it first, then it can be changed."))
        raise DomainError("archived", sentence, status=409)


def need_standing(home: Home) -> None:
    """Refuse, on a page, to change what lies under an archived home.

    Raises
    ------
    DomainError
        403: the page that is shown says why.
    """
    if home.archived_at is not None:
        sentence = str(_("This home is archived: the office restores it first, then it can be changed."))
        raise DomainError("archived", sentence, status=403)


def _is_under_archived_home(row: Keyed) -> bool:
    if isinstance(row, Home):
        return row.archived_at is not None
    if row.siting_path is None:
        return False
    rows = type(row)._base_manager.filter(pk=row.pk)
    home = "home" if row.siting_path == "pk" else f"{row.siting_path}__home"
    return rows.filter(**{f"{home}__archived_at__isnull": False}).exists()


def refusal(allowed: Roles) -> str:
    """Say which roles a thing needs."""
    if not allowed:
        return str(_("Nobody may do this: it is kept as it is."))
    roles = ", ".join(str(role.label) for role in Role if role in allowed)
    return str(_("This needs one of the roles: {roles}.")).format(roles=roles)
