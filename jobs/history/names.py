"""What rows are called in a record: resolved in one query a kind, and made from the record where rows are gone."""

from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from typing import Any

from django.db import models
from django.utils import timezone
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from jobs.history.words import NOTHING
from jobs.models import (
    Benchmark,
    Connection,
    Customer,
    DrainRun,
    Home,
    Job,
    MailText,
    Paper,
    Point,
    RuleSet,
    Siting,
    Strap,
    Truck,
    User,
    Visit,
)
from jobs.models.homes import plain

Names = Mapping[tuple[str, str], str]  # (model label, key) -> what the row is called
State = Mapping[str, Any]

# What a row's name is read from where it is not a column of its own.
_NEEDS: dict[type[models.Model], str] = {
    Benchmark: "point__label",
    Connection: "code",
    Customer: "name",
    DrainRun: "code",
    Home: "code",
    Job: "number",
    Point: "label",
    Siting: "address",
    Strap: "code",
    Truck: "name",
    Visit: "starts_at",
}


def names_of(wanted: Iterable[tuple[type[models.Model], str]]) -> dict[tuple[str, str], str]:
    """Return what the wanted rows are called, in one query for each kind of row."""
    keys: dict[type[models.Model], set[str]] = {}
    for model, key in wanted:
        keys.setdefault(model, set()).add(key)
    found: dict[tuple[str, str], str] = {}
    for model, each in keys.items():
        found |= {(model._meta.label, str(key)): name for key, name in _named(model, each)}
    return found


def _named(model: type[models.Model], keys: set[str]) -> Iterable[tuple[Any, str]]:
    rows = model._default_manager.filter(pk__in=keys)
    if model in (User, RuleSet) or model not in _NEEDS:
        return ((row.pk, str(row)) for row in rows)
    return ((key, _as_name(value)) for key, value in rows.values_list("pk", _NEEDS[model]))


def _as_name(value: Any) -> str:
    return f"{timezone.localtime(value):%Y-%m-%d}" if hasattr(value, "tzinfo") else str(value)


def name_of_row(model: type[models.Model], state: State, names: Names) -> str:
    """Return what a row is called, from its state in the record, so that rows that are gone have a name too."""
    make = _NAMED.get(model._meta.model_name or "", _usual)
    return make(state, names)


def _of(names: Names, model: type[models.Model], key: Any) -> str:
    return names.get((model._meta.label, str(key)), NOTHING)


def _usual(state: State, names: Names) -> str:
    return str(state.get("name") or state.get("code") or state.get("label") or "")


def _choice(model: Any, field: str, state: State) -> str:
    return str(dict(model._meta.get_field(field).flatchoices).get(state.get(field), state.get(field)))


def _pair(state: State, names: Names) -> str:
    return _("{a} and {b}").format(a=_of(names, Point, state["a_id"]), b=_of(names, Point, state["b_id"]))


def _drain_node(state: State, names: Names) -> str:
    at = plain(Decimal(str(state["at_ft"])))
    return _("{run} at {at} ft").format(run=_of(names, DrainRun, state["run_id"]), at=at)


def _visit(state: State, names: Names) -> str:
    starts_at = parse_datetime(state["starts_at"])
    day = "" if starts_at is None else f"{timezone.localtime(starts_at):%Y-%m-%d}"
    return f"{_choice(Visit, 'kind', state)}, {day}"


def _person(state: State, names: Names) -> str:
    return f"{state['first_name']} {state['last_name']}".strip() or str(state["username"])


_NAMED: dict[str, Callable[[State, Names], str]] = {
    "assessment": lambda state, names: str(state["assessed_on"]),
    "benchmark": lambda state, names: _of(names, Point, state["point_id"]),
    "connection": lambda state, names: f"{_choice(Connection, 'kind', state)} {state['code']}",
    "drainnode": _drain_node,
    "home": lambda state, names: f"{state['code']} {state['name']}".strip(),
    "homecontact": lambda state, names: _of(names, Customer, state["customer_id"]),
    "job": lambda state, names: str(state["number"]),
    "mailtext": lambda state, names: f"{_choice(MailText, 'kind', state)} ({state['language']})",
    "neighbourpair": _pair,
    "paper": lambda state, names: f"{_choice(Paper, 'kind', state)} {state['number']}".strip(),
    "siting": lambda state, names: str(state["address"]),
    "support": lambda state, names: _of(names, Point, state["point_id"]),
    "timeoff": lambda state, names: str(state["why"]),
    "user": _person,
    "visit": _visit,
}
