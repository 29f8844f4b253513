"""Statements that the database parses and plans once a connection: for the few that phones keep calling."""

import psycopg
from django.db import connection
from django.db.backends.utils import CursorWrapper


class _Prepared(psycopg.Cursor):
    """Sends values beside the statement, so one statement a time.

    The record of changes puts a statement of its own before others; it leaves cursors with a name alone. So this is
    only for statements that no record is kept of.
    """

    name = "prepared"


def prepared_cursor() -> CursorWrapper:
    """Return a cursor on Django's own connection, with Django's errors and log of queries."""
    connection.close_if_health_check_failed()  # as Django's own does: a kept connection may be dead
    connection.ensure_connection()
    connection.connection.prepare_threshold = 0  # Django's other cursors put values in by themselves: nothing to keep
    wrap = connection.make_debug_cursor if connection.queries_logged else connection.make_cursor
    return wrap(_Prepared(connection.connection))  # type: ignore[arg-type]  # the stubs take wrapped ones only
