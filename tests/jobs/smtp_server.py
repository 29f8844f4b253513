"""A mail server on this machine that does what RFC 5321 asks of one, dies, comes back, and breaks where told to."""

import socketserver
import threading
from collections.abc import Iterator
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from django.conf import LazySettings


class _Session(socketserver.StreamRequestHandler):
    def handle(self) -> None:
        state: MailServer = self.server.state  # type: ignore[attr-defined]
        state.connections += 1
        if not self._say(state.answers.get("connect", "220 mail.example ready")):
            return
        while line := self.rfile.readline():
            command = line.decode().strip().partition(" ")[0].upper()
            answer = state.answers.get(command, "221 bye" if command == "QUIT" else "250 ok")
            if command == "DATA" and not state.answers.get("DATA"):
                if not self._say("354 go on"):
                    return
                lines = iter(self.rfile.readline, b".\r\n")
                text = b"".join(line[1:] if line.startswith(b".") else line for line in lines)
                answer = state.answers.get(".", "250 taken")
                if answer.startswith("250") or (not answer and state.stores_before_it_dies):
                    state.taken.append(message_from_bytes(text, policy=policy.default))  # type: ignore[arg-type]
            if not self._say(answer):
                return

    def _say(self, answer: str) -> bool:
        """Answer; tell whether the line stays open."""
        if answer:
            self.wfile.write(f"{answer}\r\n".encode())
        return bool(answer) and not answer.startswith(("221", "421"))


class _Server(socketserver.ThreadingTCPServer):
    allow_reuse_address = True
    daemon_threads = True


class MailServer:
    """The server, with what it has taken.

    ``answers`` holds what it says to a command, to ``connect`` and to ``.``, the end of a text, where not yes.
    An empty answer is a line that goes dead; with ``stores_before_it_dies`` the text was stored all the same.
    """

    def __init__(self) -> None:
        self.port = 0
        self.answers: dict[str, str] = {}
        self.stores_before_it_dies = False
        self.taken: list[EmailMessage] = []
        self.connections = 0
        self.start()

    def start(self) -> None:
        """Come up, on the port that it had before."""
        self._server = _Server(("127.0.0.1", self.port), _Session)
        self._server.state = self  # type: ignore[attr-defined]
        self.port = self._server.server_address[1]
        self._thread = threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.01})
        self._thread.start()

    def die(self) -> None:
        """Be gone: nobody listens on the port."""
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()


@pytest.fixture
def mail_server(settings: LazySettings) -> Iterator[MailServer]:
    """Have mail sent to a server that runs while the test does."""
    server = MailServer()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", server.port
    settings.EMAIL_TIMEOUT = 2
    yield server
    server.die()
