"""The wire between a phone and the server, which tests cut, or make lose what the server answers."""

import contextlib
import select
import socket
import socketserver
import threading
from typing import Any
from urllib.parse import urlsplit

LOOKS_EVERY_S = 0.05


class Wire(socketserver.ThreadingTCPServer):
    """Passes bytes on to the server. Cut, it closes what is open and takes nothing new."""

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, server_url: str) -> None:
        super().__init__(("127.0.0.1", 0), _Call)
        to = urlsplit(server_url)
        self.server_at = (to.hostname or "127.0.0.1", to.port or 80)
        self.is_cut = False
        self.loses_replies = False  # the server hears and does what is asked, and the phone never learns of it
        self._thread = threading.Thread(
            target=self.serve_forever, kwargs={"poll_interval": LOOKS_EVERY_S}, daemon=True
        )
        self._thread.start()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server_address[1]}"

    def stop(self) -> None:
        """Let go of everything."""
        self.is_cut = True
        self.shutdown()
        self.server_close()
        self._thread.join()


class _Call(socketserver.BaseRequestHandler):
    def handle(self) -> None:
        wire: Any = self.server
        # Either side may hang up at any time, as on every line.
        with contextlib.suppress(OSError), socket.create_connection(wire.server_at) as server:
            self._pass_on(wire, server)

    def _pass_on(self, wire: Wire, server: socket.socket) -> None:
        other = {server: self.request, self.request: server}
        while not wire.is_cut:
            for source in select.select(list(other), [], [], LOOKS_EVERY_S)[0]:
                data = source.recv(65536)
                if not data or (source is server and wire.loses_replies):
                    return
                other[source].sendall(data)
