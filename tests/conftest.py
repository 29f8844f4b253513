"""What every test may use."""

from tests.personas import api_for, client_for, crew, lead, manager, office

__all__ = ["api_for", "client_for", "crew", "lead", "manager", "office"]
