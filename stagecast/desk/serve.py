"""The desk on a port of this computer."""

from __future__ import annotations

import contextlib
import hashlib
import os
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from stagecast.base.errors import Busy, SeasonProblems, StoreError
from stagecast.base.lock import held
from stagecast.desk.door import AT_ONCE, IDLE_S, Door

THIS_COMPUTER, EVERYWHERE = "127.0.0.1", "0.0.0.0"
USUAL_PORTS = 20_000, 40_000
"""Below those that systems give away by themselves."""

SWITCH_S = 0.0005
"""After so long a plan lets an answer go on, in seconds, where both want to run: Python's own 5 ms
come again at each file that an answer looks at."""

LOCK = "desk.lock"
"""An empty file of the season folder, held by the desk that was opened first."""

_SOMEWHERE = ("192.0.2.1", 9)
"""An address for examples only (RFC 5737): asking the way to it sends nothing."""


def listening(*, port: int, lan: bool) -> socket.socket:
    """A socket that listens; port 0 takes any free one.

    Raises
    ------
    SeasonProblems
        The port is taken, or may not be used.
    """
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    if os.name == "posix":  # elsewhere it would let two programs share a port
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((EVERYWHERE if lan else THIS_COMPUTER, port))
        made.listen()  # so that the address may be opened as soon as it is printed
    except (OSError, OverflowError) as error:
        made.close()
        reason = getattr(error, "strerror", None) or "no such port"
        step = "give another one, or none: then any free one is taken"
        message = f"cannot listen there: {reason}"
        raise SeasonProblems.of("--port", message, found=str(port), next_step=step) from error
    return made


@contextlib.contextmanager
def at_desk(folder: Path) -> Iterator[bool]:
    """Be a desk of a folder for a while; whether another one is open there already.

    Two may be: each reads and writes the folder's files as they stand. A folder that nothing can
    be written to has no lock, and its desks do not know of each other.
    """
    with contextlib.ExitStack() as stack:
        another = False
        try:
            stack.enter_context(held(folder / LOCK, busy="another desk is open"))
        except Busy:
            another = True
        except StoreError:
            pass
        yield another


def usual_port(folder: Path) -> int:
    """The port of a folder, the same each time: a phone keeps what it counted by address."""
    digest = hashlib.sha256(str(folder.resolve()).encode("utf-8", "surrogatepass")).digest()
    first, last = USUAL_PORTS
    return first + int.from_bytes(digest[:4], "big") % (last - first)


def addresses(listener: socket.socket, *, token: str | None) -> Iterator[str]:
    """Where a browser finds the desk: here, and from elsewhere where that is allowed."""
    port = listener.getsockname()[1]
    if token is None:
        yield f"http://{THIS_COMPUTER}:{port}/"
        return
    for host in dict.fromkeys((_own_address(), THIS_COMPUTER)):
        yield f"http://{host}:{port}/?token={token}"


def server_of(app: ASGIApp) -> uvicorn.Server:
    """A server that is run with ``run(sockets=[...])``; it says nothing unless something fails."""
    sys.setswitchinterval(SWITCH_S)
    config = uvicorn.Config(
        app,
        http=Door,
        backlog=AT_ONCE,
        timeout_keep_alive=IDLE_S,
        log_level="error",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        lifespan="off",
        ws="none",
        timeout_graceful_shutdown=2,
    )
    return uvicorn.Server(config)


def _own_address() -> str:
    """The address of this computer on its network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_SOMEWHERE)
            return str(probe.getsockname()[0])
        except OSError:
            return THIS_COMPUTER
