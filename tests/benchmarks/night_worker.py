"""Works at a night in a process of its own: ``python -m tests.benchmarks.night_worker DAY``.

Prints the homes that it computed, the seconds that took by the clock and by its processor, and the most memory in MB
after the first batch and at the end.
"""

import datetime
import os
import sys
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the worker has it

import django


def main(day: str) -> None:
    """Walk, and print."""
    django.setup()
    from calcs import nightly
    from tests.benchmarks.chain_worker import most_mb

    real, done, held = nightly.due_of, [0], []

    def counted(*args: object) -> object:
        done[0] += 1
        return real(*args)  # type: ignore[arg-type]

    nightly.due_of = counted  # type: ignore[assignment]
    began, began_own = time.monotonic(), time.process_time()
    nightly.work(datetime.date.fromisoformat(day), told=lambda run: held.append(most_mb()))
    took, own = time.monotonic() - began, time.process_time() - began_own
    first = held[0] if held else most_mb()
    sys.stdout.write(f"{done[0]} {took:.2f} {own:.2f} {first:.0f} {most_mb():.0f}\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
