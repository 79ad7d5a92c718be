"""A server of mail on this computer that does as it is told, and keeps what it took."""

from __future__ import annotations

import contextlib
import socketserver
import ssl
import threading
from collections.abc import Iterator
from email import message_from_bytes
from typing import Any


class Killed(BaseException):
    """The computer stops."""


class MailServer(socketserver.ThreadingTCPServer):
    """Takes mail on a free port of loopback; ``kind`` says how, and may change at any time.

    ``accept``, ``busy``, ``no recipient``, ``no data``, ``refuse at the end``, ``hang`` and ``hang
    at the end`` are what they say; ``cut`` hangs up within the message; ``drop`` takes all of it
    and hangs up without a word; ``garble`` takes all of it and answers what is no answer.
    """

    daemon_threads = True
    allow_reuse_address = True

    def __init__(self, *, tls: ssl.SSLContext | None = None, user: bool = False) -> None:
        super().__init__(("127.0.0.1", 0), _Talk)
        self.kind = "accept"
        self.taken: list[bytes] = []
        self.heard: list[str] = []
        self.over = threading.Event()
        self.tls = tls
        self.user = user

    def forget(self) -> None:
        """Be good again, as if nothing had come."""
        self.kind = "accept"
        self.taken.clear()
        self.heard.clear()

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.server_address[1])

    @property
    def ids(self) -> list[str]:
        """Message-ID of all that it took."""
        return [message_from_bytes(one)["Message-ID"] for one in self.taken]

    def handle_error(self, request: Any, client_address: Any) -> None:
        """A client that hangs up is no fault of the server."""


class _Talk(socketserver.StreamRequestHandler):
    server: MailServer

    def say(self, text: str) -> None:
        self.wfile.write(f"{text}\r\n".encode())

    def handle(self) -> None:
        kind = self.server.kind
        if kind == "hang":
            self.server.over.wait(30)
            return
        if kind == "busy":
            self.say("421 too much to do")
            return
        self.say("220 here")
        while line := self.rfile.readline():
            self.server.heard.append(line.decode().strip())
            verb = line.split()[0].upper().decode() if line.split() else ""
            if verb == "DATA":
                if not self.data(kind):
                    return
            elif verb == "STARTTLS":
                self.say("220 go ahead")
                self.start_tls()
            elif verb == "QUIT":
                self.say("221 bye")
                return
            else:
                self.say(self.answer(verb, line, kind))

    def finish(self) -> None:
        with contextlib.suppress(OSError):
            super().finish()
        self.connection.close()

    def answer(self, verb: str, line: bytes, kind: str) -> str:
        if verb == "EHLO":
            secure = isinstance(self.connection, ssl.SSLSocket)
            offers = ["STARTTLS"] if self.server.tls is not None and not secure else []
            offers += ["AUTH PLAIN"] if self.server.user else []
            return "\r\n".join(["250-here", *(f"250-{one}" for one in offers), "250 8BITMIME"])
        if verb == "AUTH":
            good = line.split()[-1] == b"AG1lAHRlbGwgbm8gb25l"  # \0me\0tell no one
            return "235 welcome" if good else "535 no: " + line.decode().strip()
        if verb == "RCPT" and kind == "no recipient":
            return "550 nobody of that name"
        return "250 ok"

    def data(self, kind: str) -> bool:
        """Whether to go on talking."""
        if kind == "no data":
            self.say("554 not today")
            return True
        self.say("354 go on")
        lines = []
        while (line := self.rfile.readline()) not in (b".\r\n", b""):
            if kind == "cut":
                return False
            lines.append(line[1:] if line.startswith(b".") else line)
        if not line:
            return False
        if kind == "refuse at the end":
            self.say("552 too long")
            return True
        self.server.taken.append(b"".join(lines))
        if kind == "drop":
            return False
        if kind == "hang at the end":
            self.server.over.wait(30)
            return False
        self.say("taken" if kind == "garble" else "250 taken")
        return True

    def start_tls(self) -> None:
        assert self.server.tls is not None
        self.connection = self.server.tls.wrap_socket(self.connection, server_side=True)
        self.rfile = self.connection.makefile("rb", -1)
        self.wfile = socketserver._SocketWriter(self.connection)  # type: ignore[attr-defined]


@contextlib.contextmanager
def mail_server(*, tls: ssl.SSLContext | None = None, user: bool = False) -> Iterator[MailServer]:
    """A server while it is needed."""
    with MailServer(tls=tls, user=user) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
        thread.start()
        try:
            yield server
        finally:
            server.over.set()
            server.shutdown()
            thread.join()
