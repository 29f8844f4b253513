"""Which tables keep a record of their changes, and what lies under what."""

import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.apps import apps
from django.db import models

from jobs.models import (
    Assessment,
    Benchmark,
    Connection,
    Customer,
    DrainNode,
    DrainRun,
    Home,
    HomeContact,
    Job,
    NeighbourPair,
    Paper,
    Point,
    Siting,
    Strap,
    Support,
    Visit,
)
from jobs.models.base import Versioned


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The events of one table. ``path`` leads from an event to the thing whose record is read."""

    model: type[models.Model]
    events: Any
    path: str = "pgh_obj"
    link: str = ""  # of the rows that put people or trucks on visits: the visit's field

    @property
    def siting_path(self) -> str | None:
        """The path from an event to the siting that its row lies under, and so to who may see it."""
        if self.link:
            return "visit__siting"
        path: str | None = getattr(self.model, "siting_path", None)
        return "pgh_obj" if path == "pk" else path


def table_of(model: type[models.Model], path: str = "pgh_obj") -> Table:
    """Return the record of a model's own rows, or of those that ``path`` leads from."""
    return Table(model=model, events=model._meta.get_field("events").related_model, path=path)


def _on_visits(path: str) -> list[Table]:
    links = {"crew": "VisitCrewEvent", "trucks": "VisitTruckEvent"}
    return [
        Table(model=Visit, events=apps.get_model("jobs", events), path=path, link=link)
        for link, events in links.items()
    ]


def _under_place(path: str) -> list[Table]:
    return [
        table_of(Point, path),
        table_of(Support, f"point__{path}"),
        table_of(NeighbourPair, path),
        table_of(Benchmark, f"point__{path}"),
        table_of(Connection, path),
        table_of(Strap, path),
        table_of(DrainRun, path),
        table_of(DrainNode, f"run__{path}"),
        table_of(Assessment, path),
        table_of(Paper, path),
        table_of(Visit, path),
        *_on_visits(f"visit__{path}"),
    ]


@cache
def tables_under(model: type[models.Model]) -> tuple[Table, ...]:
    """Return the tables that the record of one thing is read from: its own, and those of what lies under it."""
    under: dict[type[models.Model], list[Table]] = {
        Home: [
            table_of(HomeContact, "home"),
            table_of(Job, "home"),
            table_of(Siting, "home"),
            *_under_place("siting__home"),
        ],
        Siting: _under_place("siting"),
        Point: [table_of(Support, "point"), table_of(Benchmark, "point")],
        Benchmark: [table_of(Point, "pgh_obj__benchmark")],
        DrainRun: [table_of(DrainNode, "run")],
        Visit: _on_visits("visit"),
        Job: [table_of(Visit, "job"), *_on_visits("visit__job")],
        Customer: [table_of(HomeContact, "customer"), table_of(Job, "customer")],
    }
    further = [table_of(one, path) for one, path in _FURTHER.get(model, [])]
    return (table_of(model), *under.get(model, []), *further)


_FURTHER: dict[type[models.Model], list[tuple[type[models.Model], str]]] = {}


def lies_under(model: type[models.Model], *, of: type[models.Model], path: str) -> None:
    """Let a later app say that rows of ``model`` belong to the record of ``of``."""
    _FURTHER.setdefault(of, []).append((model, path))


def thing_of(model: type[models.Model]) -> str:
    """Return the name that the API has for rows of a model: ``home-contact``."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", "-", model.__name__).lower()


@cache
def things() -> dict[str, type[Versioned]]:
    """Return every model whose rows have a record, by the name that the API has for them."""
    return {thing_of(model): model for model in apps.get_models() if issubclass(model, Versioned)}
