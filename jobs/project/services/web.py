"""The web server and the worker of a demo."""

import contextlib
import http.client
import signal
import socket
import sys

from jobs.project.services import ServiceError
from jobs.project.services.places import CHECKOUT, Places
from jobs.project.services.process import Program

HOST = "127.0.0.1"
PREFERRED_PORT = 8000
PORTS_TRIED = 50
HIGHEST_PORT = 65535


def bind(port: int | None = None) -> socket.socket:
    """Listen on the wanted port, or on the first free one from 8000. Binding is the only test that cannot race."""
    if port is not None and not 1 <= port <= HIGHEST_PORT:
        raise ServiceError(f"port {port} cannot be used; a port is 1 to {HIGHEST_PORT}")
    ports = [port] if port is not None else [*range(PREFERRED_PORT, PREFERRED_PORT + PORTS_TRIED), 0]
    for one in ports:
        web = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            web.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            web.bind((HOST, one))
            web.listen(128)
            return web
        except OSError as error:
            web.close()
            if port is not None:
                raise ServiceError(f"port {port} cannot be used ({error.strerror}); choose another --port") from error
    raise ServiceError(f"no free port on {HOST}")


def web_program(places: Places, web: socket.socket) -> Program:
    # The listening socket stays ours: while the server starts again, visitors wait instead of being turned away.
    return Program(
        name="web",
        command=[
            *(sys.executable, "-m", "gunicorn", "jobs.project.wsgi", "-b", f"fd://{web.fileno()}"),
            *("--workers", "2", "--no-control-socket", "--graceful-timeout", "1"),
        ],
        log=places.logs / "web.log",
        cwd=CHECKOUT,
        pass_fds=(web.fileno(),),
        firm=signal.SIGQUIT,
    )


def worker_program(places: Places) -> Program:
    # One worker, so the clock may run inside it. The schedule's own file is rebuilt when missing.
    return Program(
        name="worker",
        command=[
            *(sys.executable, "-m", "celery", "-A", "jobs.project", "worker", "--beat", "--concurrency", "2"),
            *("--schedule", str(places.home / "beat-schedule"), "--without-gossip", "--without-mingle"),
            *("--loglevel", "INFO"),
        ],
        log=places.logs / "worker.log",
        cwd=CHECKOUT,
        firm=signal.SIGQUIT,
    )


def answers(port: int) -> bool:
    """Tell whether a page comes, whatever page it is."""
    with contextlib.closing(http.client.HTTPConnection(HOST, port, timeout=2)) as connection:
        try:
            connection.request("HEAD", "/")
            connection.getresponse()
        except OSError:
            return False
    return True
