"""What the person brings: addresses of a PostgreSQL and a Redis of their own, in the environment or in ``.env``."""

import os

import environs

from jobs.project.services import ServiceError
from jobs.project.services.places import CHECKOUT


def stores_are_given() -> bool:
    """Tell whether both addresses are set, so that nothing embedded starts; refuse one without the other."""
    environs.Env().read_env(str(CHECKOUT / ".env"), recurse=False)
    given = [name for name in ("DATABASE_URL", "BROKER_URL") if os.environ.get(name)]
    if len(given) == 1:
        raise ServiceError(
            f"{given[0]} is set alone; set DATABASE_URL and BROKER_URL, or neither for the embedded ones"
        )
    return bool(given)
