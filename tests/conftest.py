"""What every test may use."""

import os
from collections.abc import Iterator

import pytest
from django.utils import translation
from hypothesis import HealthCheck, settings

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

__all__ = ["api_for", "client_for", "crew", "lead", "manager", "office"]


@pytest.fixture(autouse=True)
def _the_next_test_begins_in_english() -> Iterator[None]:
    """A request sets the language of its thread, and the test client's is that of all tests."""
    yield
    translation.deactivate()
