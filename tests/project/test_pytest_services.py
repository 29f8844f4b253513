"""The plugin that gives tests their stores and a real worker."""

import pytest
from django.db import connection


@pytest.mark.django_db
def test_database_is_postgresql_18_with_codepoint_order() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        assert int(cursor.fetchone()[0]) // 10000 == 18
        cursor.execute("SELECT datlocprovider, datlocale FROM pg_database WHERE datname = current_database()")
        assert cursor.fetchone() == ("b", "C.UTF-8")
