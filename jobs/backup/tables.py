"""What the database holds: its tables with their rows, its extensions and its migrations."""

import psycopg
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from psycopg import sql

# Rows that migrations themselves make: a database that has only these is empty to people.
MADE_BY_MIGRATIONS = {"django_migrations", "django_content_type", "auth_permission"}
_TABLES = "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY tablename"
# Their types and operators stand beside the tables, and go with them.
_EXTENSIONS = "SELECT extname FROM pg_extension WHERE extnamespace = 'public'::regnamespace ORDER BY extname"
_MIGRATIONS = "SELECT app || '.' || name FROM django_migrations ORDER BY 1"

Plain = psycopg.Connection[tuple[object, ...]]


def connect() -> Plain:
    """Return a connection of its own, on which nothing but what is asked happens."""
    wanted = {**connection.get_connection_params(), "cursor_factory": psycopg.Cursor, "context": None}
    return psycopg.connect(**wanted)


def row_counts(on: Plain) -> dict[str, int]:
    """Count the rows of every table."""
    counts = {}
    for name in _names(on, _TABLES):
        counting = sql.SQL("SELECT count(*) FROM {}").format(sql.Identifier("public", name))
        counts[name] = int(str((on.execute(counting).fetchone() or (0,))[0]))
    return counts


def extensions(on: Plain) -> list[str]:
    """Return the extensions that were made in the schema of the tables."""
    return _names(on, _EXTENSIONS)


def applied_migrations(on: Plain) -> list[str]:
    """Return the migrations that are applied, as ``app.name``."""
    return _names(on, _MIGRATIONS)


def known_migrations() -> set[str]:
    """Return the migrations that this program comes with, and those that they stand for."""
    loader = MigrationLoader(None)
    keys = {key for migration in loader.disk_migrations.values() for key in migration.replaces}
    return {f"{app}.{name}" for app, name in {*loader.disk_migrations, *keys}}


def _names(on: Plain, statement: str) -> list[str]:
    return [str(name) for (name,) in on.execute(statement.encode()).fetchall()]
