"""What every test may use."""

import os
from collections.abc import Iterator
from types import SimpleNamespace

import pytest
from django.db.backends.postgresql.creation import DatabaseCreation
from django.utils import translation
from hypothesis import HealthCheck, settings

from jobs.api import throttling
from tests.personas import api_for, client_for, crew, lead, manager, office

# Time says nothing on a shared machine; in CI the same examples every time, so that a failure can be had again.
settings.register_profile(
    "house",
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    derandomize=bool(os.environ.get("CI")),
    print_blob=True,
)
settings.load_profile("house")

# Long files of few tests go first: else one process works at the last of them while the others are done.
LONG_FIRST = (
    "test_soak.py",
    "test_demo.py",
    "test_openapi_fuzz.py",
    "test_recovery.py",
    "test_lift_oracles.py",
    "test_lift_properties.py",
    "test_supervisor.py",
    "test_bootstrap.py",
    "test_calc_command.py",
    "test_lift_sure.py",
    "test_sync_runs.py",
    "test_sync_page.py",
    "test_rights.py",
    "test_photos.py",
    "test_due_in_browser.py",
    "test_home_record_in_browser.py",
    "test_pages_in_browser.py",
    "test_papers.py",
    "test_closing.py",
    "test_choosing_page.py",
    "test_admin.py",
)

__all__ = ["api_for", "client_for", "crew", "lead", "manager", "office"]


def pytest_addoption(parser: pytest.Parser) -> None:
    """Let the random runs of the field page's phones be more, or begin where one failed."""
    parser.addoption("--field-runs", type=int, default=8, help="how many random runs of two phones")
    parser.addoption("--field-seed", type=int, default=None, help="the seed of the first; the others count on")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the long files first; the rest stays in its order."""
    place = {name: index for index, name in enumerate(LONG_FIRST)}
    items.sort(key=lambda item: place.get(item.path.name, len(place)))


@pytest.fixture(scope="session")
def django_db_modify_db_settings(django_db_modify_db_settings: None) -> Iterator[None]:
    """Have the test database go though something still holds a line to it, such as a browser's last request."""
    with pytest.MonkeyPatch.context() as creation:
        creation.setattr(DatabaseCreation, "_destroy_test_db", _drop_with_force)
        yield


def _drop_with_force(self: DatabaseCreation, test_database_name: str, verbosity: int) -> None:
    with self._nodb_cursor() as cursor:
        cursor.execute(f"DROP DATABASE {self.connection.ops.quote_name(test_database_name)} WITH (FORCE)")


@pytest.fixture(autouse=True)
def _the_next_test_begins_anew() -> Iterator[None]:
    """In English, though a request sets the language of its thread, and with requests counted, whatever failed."""
    yield
    translation.deactivate()
    throttling._Rest.until = 0.0


@pytest.fixture
def one_minute(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have all requests be counted in one minute."""
    monkeypatch.setattr(throttling, "time", SimpleNamespace(time=lambda: 1_800_000_030.0))
