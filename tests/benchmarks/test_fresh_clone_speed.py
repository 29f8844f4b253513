"""How long a newcomer waits: from a fresh clone to the printed plan, and once more when all is in place.

Real processes in a folder of their own: ``git clone``, then the README's first command twice. Nothing is asserted
about time; the table at the end gives seconds, as shares of the warm run.
"""

import os
import subprocess
import sys
import time
from pathlib import Path

from tests.project.running import CHECKOUT, open_folder

PLAN = "what binds"  # the line of the story that follows the moves
FROM_OUTSIDE = ("DATABASE_URL", "BROKER_URL", "DATA_DIR", "DJANGO_SETTINGS_MODULE", "SECRET_KEY", "VIRTUAL_ENV")


def seconds_to_plan(checkout: Path) -> float:
    """Run the demo once, as a newcomer starts it; return the seconds until the plan stands in the terminal."""
    environment = {name: value for name, value in os.environ.items() if name not in FROM_OUTSIDE}
    began = time.perf_counter()
    with subprocess.Popen(
        [sys._base_executable, "manage.py", "demo", "--once"],  # type: ignore[attr-defined]  # the Python outside .venv
        cwd=checkout,
        env={**environment, "DATA_DIR": str(checkout.parent / "data")},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as demo:
        assert demo.stdout is not None
        lines: list[str] = []
        taken: float | None = None
        for line in demo.stdout:
            lines.append(line)
            if taken is None and PLAN in line:
                taken = time.perf_counter() - began
    assert demo.returncode == 0, "".join(lines)
    assert taken is not None, "".join(lines)
    return taken


def test_fresh_clone_to_printed_plan() -> None:
    with open_folder("a new clone") as checkout:
        subprocess.run(["git", "clone", "-q", str(CHECKOUT), str(checkout)], check=True)
        fresh_s, warm_s = seconds_to_plan(checkout), seconds_to_plan(checkout)
    sys.stdout.write(
        f"\nto the printed plan      seconds  of warm\n"
        f"fresh clone              {fresh_s:7.1f}  {fresh_s / warm_s:7.1f}\n"
        f"again, all in place      {warm_s:7.1f}  {1:7.1f}\n"
    )
