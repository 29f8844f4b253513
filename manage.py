#!/usr/bin/env python3
"""Run the service, its tests and every Django command, in an environment that this makes by itself.

Reads on any Python 3, so that a wrong version gets a plain answer.
"""

import importlib.util
import sys
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent


def main():
    if not (3, 11) <= sys.version_info[:2] <= (3, 13):
        found = ".".join(map(str, sys.version_info[:2]))
        return f"this needs Python 3.11, 3.12 or 3.13, and runs on {found}; try: python3.13 manage.py"
    if sys.platform == "win32":
        return "on Windows, run this inside WSL or with Docker"
    bootstrap = load_alone("bootstrap", CHECKOUT / "jobs" / "project" / "bootstrap.py")
    try:
        bootstrap.enter(sys.argv)
    except bootstrap.CannotPrepare as error:
        return str(error)
    except KeyboardInterrupt:
        return "stopped"
    if str(CHECKOUT) not in sys.path:
        sys.path.insert(0, str(CHECKOUT))
    from jobs.project.entry import run  # noqa: PLC0415 - its imports exist only inside the environment

    return run(sys.argv)


def load_alone(name, path):
    """Load one file without its package, whose imports need the environment that this file makes."""
    spec = importlib.util.spec_from_file_location(name, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


if __name__ == "__main__":
    sys.exit(main())
