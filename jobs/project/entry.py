"""What ``manage.py`` does inside the environment: its own few commands, and Django's."""

import os
import sys
from contextlib import AbstractContextManager, nullcontext

from django.core.management import execute_from_command_line

from calcs.soak.run import main as run_soak
from jobs.project.services import ServiceError, StopAsked
from jobs.project.services.command import stores_for_command
from jobs.project.services.demo import main as serve_demo
from jobs.project.services.places import CHECKOUT

OWN_COMMANDS = """
[releveling]
    demo      start everything, run the demo, serve it until Ctrl-C (--port N, --once)
    test      run the tests (arguments go to pytest)
    bench     run the benchmarks (arguments go to pytest)
    soak      kill everything at random under load, then compare (--minutes N, --clients N, --seed N)
    install   make .venv with everything for development
"""
# All tests together take minutes: one process more than there are processors, as many only wait for other processes;
# each file in one, as some share a worker.
AT_ONCE = (f"--numprocesses={min((os.cpu_count() or 1) + 1, 4)}", "--dist=loadfile", "--no-loadscope-reorder")
# These never ask a database or a broker; all others get the embedded ones if no addresses are set.
WITHOUT_STORES = {
    *("calc", "check", "collectstatic", "compilemessages", "diffsettings", "findstatic", "help", "makemessages"),
    *("spectacular", "startapp", "version"),
}
# What serves others, or changes the schema itself, is not named in the record of changes.
WITHOUT_NAME = {"dbshell", "flush", "makemigrations", "migrate", "runserver", "sqlmigrate", "testserver"}


def run(argv: list[str]) -> int:
    """Run one command and return its exit code; trouble with the services is one line."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "jobs.project.settings")
    command = argv[1] if len(argv) > 1 else "help"
    own = {"demo": demo, "test": test, "bench": bench, "soak": soak, "install": installed}
    try:
        return own.get(command, django)(argv)
    except ServiceError as error:
        sys.stderr.write(f"manage.py {command}: {error}\n")
        return 1
    except (KeyboardInterrupt, StopAsked):
        return 130


def demo(argv: list[str]) -> int:
    return serve_demo(argv[2:])


def test(argv: list[str]) -> int:
    everything = not any("test" in argument for argument in argv[2:])
    return _pytest([*(AT_ONCE if everything else ()), *argv[2:]])


def bench(argv: list[str]) -> int:
    chosen = [argument for argument in argv[2:] if not argument.startswith("-") and "test" in argument]
    return _pytest(["-s", *([] if chosen else ["tests/benchmarks"]), *argv[2:]])


def soak(argv: list[str]) -> int:
    return run_soak(argv[2:])


def installed(argv: list[str]) -> int:
    sys.stderr.write("manage.py install: .venv is ready\n")
    return 0


def django(argv: list[str]) -> int:
    command = argv[1] if len(argv) > 1 else "help"
    asks_for_help = command.startswith("-") or {"-h", "--help", "--version"} & set(argv)
    if command in WITHOUT_STORES or asks_for_help:
        execute_from_command_line(argv)
        if command == "help" and len(argv) <= 2:
            sys.stdout.write(OWN_COMMANDS)
        return 0
    with stores_for_command(command), _named(command):
        execute_from_command_line(argv)
    return 0


def _named(command: str) -> AbstractContextManager[object]:
    """Have what a command changes recorded as its doing; a server's changes are those of its requests."""
    from jobs.changes import changed_by  # noqa: PLC0415 - settings are needed, and the stores that they name

    return nullcontext() if command in WITHOUT_NAME else changed_by(f"manage.py {command}")


def _pytest(arguments: list[str]) -> int:
    os.chdir(CHECKOUT)
    sys.stdout.flush()
    os.execv(sys.executable, [sys.executable, "-m", "pytest", *arguments])
