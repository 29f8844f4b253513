"""Works a survey's whole chain off in a process of its own: ``python -m tests.benchmarks.chain_worker [SURVEY]``.

Prints the most memory that the process ever held, in MB: with all that a worker imports and one look at the database,
and, given a survey, once its chain is done.
"""

import resource
import sys
import uuid

from jobs.project.celery import app

IN_MB = 1 / 1024 if sys.platform != "darwin" else 1 / 1024**2  # Linux counts in KB, macOS in bytes


def most_mb() -> float:
    """Return the most memory that this process ever held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * IN_MB


def main(survey_id: str | None = None) -> None:
    """Do what a worker does, in its order, and print."""
    app.loader.import_default_modules()
    from calcs import chain, runner
    from calcs.models import Calculation

    Calculation.objects.exists()
    idle_mb = most_mb()
    waiting = list(chain.ask(uuid.UUID(survey_id)).new) if survey_id else []
    while waiting:
        waiting += runner.run(waiting.pop(0))
    sys.stdout.write(f"{idle_mb:.1f} {most_mb():.1f}\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
