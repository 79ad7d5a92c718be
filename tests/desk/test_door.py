"""The desk on a network that misbehaves: slow, crowded, or with something that is no request.

What a server answers to what comes late or is too much: RFC 9110, 15.5.1 (400), 15.5.9 (408) and
15.5.14 (413). How many connections a browser opens, and how long is too long, is common practice
without one source; so the tests hold that there is an end, and that the owner is answered.
"""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from commands import process_environment
from desk_season import FORM_TOKEN, build, log_of
from desk_server import served, serving
from starlette.types import Receive, Scope, Send

from stagecast.desk import door, guard
from stagecast.desk.door import FROM_ONE, FROM_OTHERS
from stagecast.desk.guard import LARGEST_BODY, READ_ON

pytestmark = pytest.mark.allow_hosts(["127.0.0.1"])

PATIENCE_S = 30.0
"""How long a test waits before it says that nothing came."""

HALF = b"GET /visit?field=F1 HTTP/1.1\r\nHost: 127.0.0.1\r\n"
WHOLE = HALF + b"Connection: close\r\n\r\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season into which nothing is logged here."""
    return build(tmp_path_factory.mktemp("door") / "season")


@pytest.fixture
def desk(folder: Path) -> Iterator[int]:
    """The port of its desk; afterwards nothing is in the log."""
    with served(folder, form_token=FORM_TOKEN) as address:
        yield urlsplit(address).port or 0
    assert not log_of(folder).visits


def opened(port: int, sends: bytes = b"", *, device: str = "127.0.0.1") -> socket.socket:
    """A connection on which something was sent; from another device by its address."""
    made = socket.create_connection(("127.0.0.1", port), PATIENCE_S, source_address=(device, 0))
    made.sendall(sends)
    return made


def answer(connection: socket.socket) -> bytes:
    """All that comes until the desk ends the connection."""
    came = bytearray()
    try:
        while part := connection.recv(65_536):
            came += part
    except ConnectionError:
        pass
    return bytes(came)


def asked(port: int, sends: bytes = WHOLE, *, device: str = "127.0.0.1") -> bytes:
    """One request, and its answer."""
    with closing(opened(port, sends, device=device)) as connection:
        return answer(connection)


def posted(body: bytes, *, length: int | None = None) -> bytes:
    """The form of a visit as a browser sends it; ``length``: what it says instead."""
    length = len(body) if length is None else length
    head = "POST /visit?field=F1 HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n"
    head += "Content-Type: application/x-www-form-urlencoded\r\n"
    return f"{head}Content-Length: {length}\r\n\r\n".encode() + body


def dripped(connection: socket.socket, drop: bytes) -> None:
    """Send a little at a time until the desk ends it; fails where it never does."""
    ends = time.monotonic() + PATIENCE_S
    while time.monotonic() < ends:
        try:
            connection.sendall(drop)
        except OSError:
            return
        time.sleep(0.05)
    pytest.fail("the desk let it drip on")


# --- slow -----------------------------------------------------------------------------------


@pytest.mark.parametrize("begun", [b"", b"GET / HT", HALF], ids=["nothing", "a line", "a header"])
def test_half_a_head_is_let_go(desk: int, monkeypatch: pytest.MonkeyPatch, begun: bytes) -> None:
    """Who opens a connection and does not finish its question holds it for a while only."""
    monkeypatch.setattr(door, "HEAD_S", 0.2)
    assert asked(desk, begun) == b""
    assert asked(desk).startswith(b"HTTP/1.1 200")


def test_a_head_that_drips_is_let_go(desk: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The time is for the whole head: every new byte does not begin it anew."""
    monkeypatch.setattr(door, "HEAD_S", 0.4)
    with closing(opened(desk, HALF)) as slow:
        dripped(slow, b"X-Slow: 1\r\n")


def test_a_second_head_has_its_time_too(desk: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A connection that was good once is not trusted for ever."""
    monkeypatch.setattr(door, "HEAD_S", 0.4)
    with closing(opened(desk, HALF + b"\r\n")) as slow:
        assert slow.recv(12) == b"HTTP/1.1 200"
        dripped(slow, b"X")


def test_a_body_that_drips_is_told_and_let_go(desk: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """A person on a bad connection reads that nothing was logged, and what to do."""
    monkeypatch.setattr(guard, "ARRIVES_S", 0.3)
    told = asked(desk, posted(b"stage=R3", length=500))
    assert told.startswith(b"HTTP/1.1 408")
    assert b"Nothing was logged" in told
    assert b"send it again" in told


def test_a_body_that_nobody_asked_for_is_let_go(desk: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where the page is answered long before."""
    monkeypatch.setattr(door, "BODY_S", 0.4)
    with closing(opened(desk, HALF + b"Content-Length: 900000\r\n\r\n")) as slow:
        dripped(slow, b"x")


def test_an_answer_that_nobody_reads_is_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """A device that went out of reach in the middle of a page does not hold it for ever."""
    monkeypatch.setattr(door, "READ_S", 0.3)
    size = 30_000_000

    async def large(scope: Scope, receive: Receive, send: Send) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"x" * size})

    with serving(large) as address, closing(opened(urlsplit(address).port or 0, WHOLE)) as away:
        time.sleep(1)
        assert len(answer(away)) < size


# --- crowded --------------------------------------------------------------------------------


@pytest.mark.parametrize("begun", [b"", HALF, posted(b"stage=R3", length=500)],
                         ids=["idle", "half a head", "half a body"])  # fmt: skip
def test_many_that_wait_do_not_keep_the_owner_out(desk: int, begun: bytes) -> None:
    """The one that waited longest makes room, so that who asks is answered at once."""
    with ExitStack() as open_ones:
        crowd = [open_ones.enter_context(opened(desk, begun)) for _ in range(3 * FROM_ONE)]
        assert asked(desk).startswith(b"HTTP/1.1 200")
        crowd[0].settimeout(PATIENCE_S)
        assert answer(crowd[0]) == b""


@pytest.mark.skipif(sys.platform != "linux", reason="other systems have one address of their own")
def test_strangers_take_only_what_is_theirs(desk: int) -> None:
    """Devices that open all they can lose their own; a phone and the owner are answered."""
    devices = [f"127.0.0.{number}" for number in range(2, 2 + FROM_OTHERS // FROM_ONE)]
    with ExitStack() as open_ones:
        mine = open_ones.enter_context(opened(desk))
        crowd = [
            open_ones.enter_context(opened(desk, HALF, device=device))
            for device in devices
            for _ in range(FROM_ONE + 5)
        ]
        assert asked(desk, device="127.0.0.99").startswith(b"HTTP/1.1 200")
        assert asked(desk).startswith(b"HTTP/1.1 200")
        mine.sendall(WHOLE)
        assert answer(mine).startswith(b"HTTP/1.1 200"), "what the owner had open is still good"
        for one in crowd:
            one.setblocking(False)
        assert sum(map(still_open, crowd)) < FROM_OTHERS


def still_open(connection: socket.socket) -> bool:
    """Whether the desk has not ended it."""
    try:
        return connection.recv(1) != b""
    except BlockingIOError:
        return True
    except ConnectionError:
        return False


@pytest.mark.skipif(os.name != "posix", reason="the number of open files is set as POSIX has it")
def test_a_desk_with_few_files_says_nothing_of_it(folder: Path) -> None:
    """256 open files, as some systems give: 300 half-open sockets bring no line of an error.

    And with one of them in the middle of a form the desk ends as ever, at once.
    """
    import resource

    def few() -> None:
        resource.setrlimit(resource.RLIMIT_NOFILE, (256, 256))

    ran = subprocess.Popen(
        [sys.executable, "-u", "-m", "stagecast", "desk", str(folder), "--as-of", "2026-07-07"],
        env=process_environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        preexec_fn=few,
    )  # fmt: skip
    try:
        assert ran.stdout is not None
        port = urlsplit(ran.stdout.readline().strip()).port or 0
        with ExitStack() as open_ones:
            for _ in range(300):
                open_ones.enter_context(opened(port, HALF))
            assert asked(port).startswith(b"HTTP/1.1 200")
            for nonsense in (b"\x16\x03\x01\x02\x00\x01", b"\xff\xfe\r\n\r\n"):
                assert asked(port, nonsense).startswith(b"HTTP/1.1 400")
            open_ones.enter_context(opened(port, posted(b"stage=R3", length=500)))
            assert asked(port).startswith(b"HTTP/1.1 200"), "those before it are let in by now"
            ran.send_signal(signal.SIGINT)
            _, err = ran.communicate(timeout=PATIENCE_S)
    finally:
        ran.kill()
    assert (ran.returncode, err) == (0, "")


# --- no request, and too much ---------------------------------------------------------------


@pytest.mark.parametrize(
    "sends",
    [b"\x16\x03\x01\x02\x00\x01\x00\xfc\xff\xff\r\n\r\n", b"\xff\xfeG\x00E\x00T\x00\r\n\r\n",
     b"GET /\xff HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n", b"SSH-2.0-x\r\n\r\n", b"\x00" * 70_000],
)  # fmt: skip
def test_what_is_no_request_is_refused_in_one_sentence(desk: int, sends: bytes) -> None:
    """An encrypted hello, another tongue, a head without end: one line, and it is over."""
    head, _, body = asked(desk, sends).partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 400")
    assert body.decode() == door.NOT_UNDERSTOOD


@pytest.mark.parametrize("place", ["/%ff", "/visit?field=%ff", "/?token=%c3%28"])
def test_an_address_that_is_no_text_is_refused_in_one_sentence(desk: int, place: str) -> None:
    """It is not looked for as something else: RFC 3986 leaves to us what such bytes mean."""
    told = asked(desk, f"GET {place} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode())
    assert told.startswith(b"HTTP/1.1 400")
    assert b"The address holds bytes that are no text." in told


@pytest.mark.parametrize("note", [b"%ff%fe", b"caf%e9", b"\xe9"])
def test_a_note_that_is_no_text_is_not_logged_as_another(desk: int, note: bytes) -> None:
    """UTF-8 is what our pages ask for (HTML, form submission): anything else is told."""
    told = asked(desk, posted(b"form_token=x&about=F1&stage=R3&notes=" + note))
    assert b"it holds bytes that are no text" in told


def test_too_much_is_answered_also_to_who_sends_it_all(desk: int) -> None:
    """A browser reads no answer before it has sent everything: so it is read on, and not kept."""
    for size in (LARGEST_BODY + 1, READ_ON // 2):
        told = asked(desk, posted(b"notes=" + b"x" * size))
        assert told.startswith(b"HTTP/1.1 413")
        assert b"shorten what was typed" in told
