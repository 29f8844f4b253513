"""The embedded services: PostgreSQL and Valkey from wheels, and the processes of a demo.

Used only where ``DATABASE_URL`` and ``BROKER_URL`` are not set. One foreground process owns everything it
starts; when it ends, in whatever way, so do they.
"""


class ServiceError(Exception):
    """Something a person has to put right; the message is one line that says what and how."""


class StopAsked(Exception):
    """The person asked to stop while something was still starting."""
