"""What may be tried beside the record: other limits, in a lift that is computed to be looked at and becomes no plan.

The changes are a closed set. Connections and points go by their keys, lengths are inches.
"""

from dataclasses import dataclass, fields, replace

from django.utils.translation import gettext as _

from calcs import snapshots
from calcs.engine.levels import LevelsResult
from calcs.engine.lift import LiftConnection, LiftInput, LiftSupport
from jobs.errors import DomainError
from jobs.rulebook import RULES

MOST_TRAVEL_IN = 12.0
MOST_CHANGES = 50  # of one kind: more than any home has connections


@dataclass(frozen=True, slots=True, kw_only=True)
class ConnectionChange:
    """A connection taken as free at no cost, or with another travel; what is None stays as recorded."""

    connection: str
    is_free: bool = False
    free_up_in: float | None = None
    free_down_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SupportChange:
    """Other limits for one support; what is None stays as recorded."""

    point: str
    max_raise_in: float | None = None
    max_lower_in: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """What a trial takes otherwise than it is recorded.

    ``max_raise_in`` is what every support may go up; one with a limit of its own keeps that where it is smaller,
    for somebody saw why. ``rehang_drains``: drains may be hung anew at no cost, so that no slope holds the home.
    """

    connections: tuple[ConnectionChange, ...] = ()
    supports: tuple[SupportChange, ...] = ()
    tolerance_in: float | None = None
    target_in: float | None = None
    max_raise_in: float | None = None
    rehang_drains: bool = False


def changed_lift(record: snapshots.Record, levels: LevelsResult, changes: Changes) -> LiftInput:
    """Return the lift's document as the record makes it, changed.

    Raises
    ------
    DomainError
        400 naming the field: nothing is changed, something is out of range, named twice, or not of this survey.
    """
    lift = snapshots.lift_input(record, levels)
    _check(changes, lift, {str(row.pk) for row in record.connections})
    own_in = {str(row.point_id): row.max_raise_in for row in record.supports if row.max_raise_in is not None}
    by_connection = {change.connection: change for change in changes.connections}
    by_point = {change.point: change for change in changes.supports}
    drains = {link.code for link in lift.connections} - {str(row.pk) for row in record.connections}
    rehung = drains if changes.rehang_drains else set[str]()
    return replace(
        lift,
        supports=tuple(
            _support(support, by_point.get(support.code), changes.max_raise_in, has_own=support.code in own_in)
            for support in lift.supports
        ),
        connections=tuple(
            replace(link, free_min=0.0) if link.code in rehung else _connection(link, by_connection.get(link.code))
            for link in lift.connections
        ),
        tolerance_in=_own(changes.tolerance_in, lift.tolerance_in),
        target_in=lift.target_in if changes.target_in is None else changes.target_in,
    )


def _own(value: float | None, usual: float) -> float:
    return usual if value is None else value


def _support(
    support: LiftSupport, change: SupportChange | None, most_in: float | None, *, has_own: bool
) -> LiftSupport:
    max_raise_in = support.max_raise_in
    if most_in is not None:
        max_raise_in = min(max_raise_in, most_in) if has_own else most_in
    if change is None:
        return replace(support, max_raise_in=max_raise_in)
    return replace(
        support,
        max_raise_in=_own(change.max_raise_in, max_raise_in),
        max_lower_in=_own(change.max_lower_in, support.max_lower_in),
    )


def _connection(link: LiftConnection, change: ConnectionChange | None) -> LiftConnection:
    if change is None:
        return link
    return replace(
        link,
        free_min=0.0 if change.is_free else link.free_min,
        free_up_in=_own(change.free_up_in, link.free_up_in),
        free_down_in=_own(change.free_down_in, link.free_down_in),
    )


# -- what may be changed -------------------------------------------------------------------------------------


def _check(changes: Changes, lift: LiftInput, connections: set[str]) -> None:
    if changes == Changes():
        raise _refused("changes", _("Say what is to be taken otherwise: nothing is changed."))
    for name in ("tolerance_in", "target_in", "max_raise_in"):
        _check_length(getattr(changes, name), name, RULES[name].low, RULES[name].high)
    drains = {link.code for link in lift.connections} - connections
    if changes.rehang_drains and not drains:
        raise _refused("rehang_drains", _("No drain run is recorded whose slope the lift could change."))
    _check_named("connections", "connection", [each.connection for each in changes.connections], connections)
    for place, change in enumerate(changes.connections):
        _check_connection(change, f"connections[{place}]")
    _check_named(
        "supports", "point", [each.point for each in changes.supports], {support.code for support in lift.supports}
    )
    for place, limits in enumerate(changes.supports):
        _check_support(limits, f"supports[{place}]")


def _check_named(part: str, name: str, keys: list[str], known: set[str]) -> None:
    if len(keys) > MOST_CHANGES:
        raise _refused(part, _("Change at most {most} at once.").format(most=MOST_CHANGES))
    for place, key in enumerate(keys):
        field = f"{part}[{place}].{name}"
        if key not in known:
            words = {
                "connection": _("This is no connection of this home."),
                "point": _("This is no support that the survey read."),
            }
            raise _refused(field, words[name])
        if key in keys[:place]:
            raise _refused(field, _("This is named twice."))


def _check_connection(change: ConnectionChange, path: str) -> None:
    travel = (change.free_up_in, change.free_down_in)
    if not change.is_free and travel == (None, None):
        raise _refused(f"{path}.is_free", _("Take it as free, or give another travel."))
    if change.is_free and travel != (None, None):
        raise _refused(f"{path}.is_free", _("Take it as free, or give another travel, not both."))
    _check_length(change.free_up_in, f"{path}.free_up_in", 0.0, MOST_TRAVEL_IN)
    _check_length(change.free_down_in, f"{path}.free_down_in", 0.0, MOST_TRAVEL_IN)


def _check_support(change: SupportChange, path: str) -> None:
    limits = [field.name for field in fields(change) if field.name != "point"]
    if all(getattr(change, name) is None for name in limits):
        raise _refused(f"{path}.max_raise_in", _("Say how far it may go up or come down."))
    for name in limits:
        _check_length(getattr(change, name), f"{path}.{name}", RULES[name].low, RULES[name].high)


def _check_length(value: float | None, field: str, low: float, high: float) -> None:
    # Written so that NaN is refused too.
    if value is not None and not low <= value <= high:
        words = _("Give {low} to {high} in.").format(low=f"{low:g}", high=f"{high:g}")
        raise _refused(field, words)


def _refused(field: str, sentence: str) -> DomainError:
    return DomainError("invalid", sentence, fields={field: sentence})
