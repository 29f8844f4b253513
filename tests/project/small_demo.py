"""The demo with stand-ins for the service itself: real supervisor, real stores, a web server that says hello.

Run as a program by the tests of the supervisor; takes the arguments of ``manage.py demo``.
"""

import os
import sys
from dataclasses import replace
from pathlib import Path

from jobs.project.services import ServiceError, demo
from jobs.project.services.places import Places
from jobs.project.services.process import Program

SLEEPER = "import time; time.sleep(600)"


def main() -> int:
    real_web = demo.web_program

    def web_program(*arguments) -> Program:
        real = real_web(*arguments)
        command = [word.replace("jobs.project.wsgi", "wsgiref.simple_server:demo_app") for word in real.command]
        return replace(real, command=command)

    def worker_program(places: Places) -> Program:
        return Program(
            name="worker", command=[sys.executable, "-c", SLEEPER], log=places.logs / "worker.log", cwd=places.home
        )

    def manage(*arguments: str, supervisor, log: str = "") -> Program:
        return Program(name=arguments[0], command=["/bin/echo", *arguments], log=None, cwd=supervisor.places.home)

    demo.web_program, demo.worker_program, demo.manage = web_program, worker_program, manage
    return demo.main(sys.argv[1:])


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))
    os.environ.pop("DATABASE_URL", None)
    os.environ.pop("BROKER_URL", None)
    try:
        sys.exit(main())
    except ServiceError as error:
        sys.exit(str(error))
