"""Alerts leave the house: mail over a server on loopback, and a command of one's own."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import ssl
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from mail_server import Killed, MailServer, mail_server

from stagecast.cli import ways
from stagecast.cli.ways import Hand, hook, send_out, smtp
from stagecast.season.outbox import (
    FILE,
    OutMessage,
    OutState,
    Post,
    SentOut,
    Way,
    keep_post,
    message_id,
    read_post,
)
from stagecast.season.settings.telling import MailSettings

pytestmark = pytest.mark.usefixtures("fresh")

DAY = dt.date(2026, 7, 7)
SECRET = "tell no one"
PLACES: set[tuple[Way, str]] = {("mail", "a@example.org"), ("command", "")}


def letter(number: int = 1) -> OutMessage:
    """A message to an address, with a line that begins with a dot."""
    told = ((f"F0{number}.near-R2", 1),)
    id_ = message_id(year=2026, way="mail", to="a@example.org", day=DAY, told=told)
    text = f"Message-ID: <{id_}@example.org>\r\n\r\nhello {number}\r\n.a line with a dot\r\n"
    return OutMessage(id=id_, way="mail", to="a@example.org", day=DAY, told=told, text=text)


def order(text: str = '{"alerts": []}') -> OutMessage:
    """A message for the command."""
    return OutMessage(id="one", way="command", to="", day=DAY, told=(), text=text)


def settings(server: MailServer, user: str | None = None) -> MailSettings:
    """Mail by a server on this computer."""
    return MailSettings.model_validate(
        {"server": "127.0.0.1", "port": server.port, "from": "me@example.org",
         "to": "a@example.org", **({"user": user} if user else {})}
    )  # fmt: skip


def send(folder: Path, hand: Hand, *, quiet: bool = False) -> SentOut:
    """One run of sending."""
    since = DAY - dt.timedelta(days=7)
    hands: dict[Way, Hand] = {"mail": hand, "command": hand}
    return send_out(folder, hands, places=PLACES, quiet=quiet, since=since)


def states(folder: Path) -> list[OutState]:
    """How far every message is."""
    return [one.state for one in read_post(folder).messages]


# --- mail -----------------------------------------------------------------------------------------


def test_what_is_accepted_is_sent_once(tmp_path: Path, server: MailServer) -> None:
    """Each message arrives as it was written, dots included; a second run sends nothing."""
    keep_post(tmp_path, Post((letter(1), letter(2))))
    hand = smtp(settings(server), password=None)
    assert len(send(tmp_path, hand).sent) == 2
    assert send(tmp_path, hand) == SentOut()
    assert server.taken == [letter(1).text.encode(), letter(2).text.encode()]
    assert states(tmp_path) == ["sent", "sent"]


@pytest.mark.parametrize("kind", ["busy", "no recipient", "no data", "refuse at the end"])
def test_what_is_refused_waits_and_is_tried_again(
    kind: str, tmp_path: Path, server: MailServer
) -> None:
    """The reply is told; the next run sends it, with the same Message-ID."""
    keep_post(tmp_path, Post((letter(),)))
    server.kind = kind
    refused = send(tmp_path, smtp(settings(server), password=None))
    assert refused.waiting == 1
    assert any(code in refused.failed[0] for code in ("421", "550", "554", "552"))
    assert (states(tmp_path), server.taken) == (["waiting"], [])
    server.kind = "accept"
    assert len(send(tmp_path, smtp(settings(server), password=None)).sent) == 1
    assert server.ids == [f"<{letter().id}@example.org>"]


def test_a_server_that_hangs_is_left_after_a_while(tmp_path: Path, server: MailServer) -> None:
    """No greeting: the rest of the mail is not tried one by one, and waits."""
    keep_post(tmp_path, Post((letter(1), letter(2), letter(3))))
    server.kind = "hang"
    found = send(tmp_path, smtp(settings(server), password=None, patience_s=0.3))
    assert "no answer in time" in found.failed[0]
    assert (len(found.failed), found.waiting) == (1, 3)


def test_nobody_listens(tmp_path: Path) -> None:
    """A port without a server is one sentence, and the mail waits."""
    with mail_server() as gone:
        mail = settings(gone)
    keep_post(tmp_path, Post((letter(),)))
    found = send(tmp_path, smtp(mail, password=None))
    assert f"port {mail.port}" in found.failed[0]
    assert states(tmp_path) == ["waiting"]


@pytest.mark.parametrize("kind", ["drop", "hang at the end", "garble"])
def test_what_was_handed_over_and_not_answered_is_not_sent_again(
    kind: str, tmp_path: Path, server: MailServer
) -> None:
    """The server has it and nobody said so: perhaps sent, told once, never handed over again."""
    keep_post(tmp_path, Post((letter(),)))
    server.kind = kind
    found = send(tmp_path, smtp(settings(server), password=None, patience_s=2))
    assert [one.id for one in found.perhaps] == [letter().id]
    server.kind = "accept"
    assert send(tmp_path, smtp(settings(server), password=None)) == SentOut()
    assert len(server.taken) == 1


def test_a_run_that_ended_while_handing_over_is_told_by_the_next(
    tmp_path: Path, server: MailServer
) -> None:
    """What stands as being handed over counts as perhaps sent."""
    keep_post(tmp_path, Post((letter(),)).marked(letter().id, "handing"))
    found = send(tmp_path, smtp(settings(server), password=None))
    assert [one.id for one in found.perhaps] == [letter().id]
    assert server.taken == []


def killing(at: int, *, written: bool, patch: pytest.MonkeyPatch) -> None:
    """Stop at a write of the outbox, before it or after it."""
    left = [at]

    def keep(folder: Path, post: Post) -> None:
        left[0] -= 1
        if left[0] == 0 and not written:
            raise Killed
        keep_post(folder, post)
        if left[0] == 0:
            raise Killed

    patch.setattr(ways, "keep_post", keep)


RUN = st.tuples(
    st.sampled_from(
        ["accept", "busy", "no recipient", "no data", "refuse at the end", "cut", "drop", "garble"]
    ),
    st.none() | st.tuples(st.integers(1, 6), st.booleans()),
)


@given(runs=st.lists(RUN, max_size=5), letters=st.integers(1, 3))
def test_nothing_is_sent_twice_and_what_can_be_is_sent(
    runs: list[tuple[str, tuple[int, bool] | None]],
    letters: int,
    tmp_path_factory: pytest.TempPathFactory,
    server: MailServer,
) -> None:
    """Whatever the server does and wherever the computer stops, each arrives at most once.

    Where the server takes it in the end, and no run ended between handing over and the answer, it
    arrives exactly once.
    """
    folder = tmp_path_factory.mktemp("post")
    server.taken.clear()
    keep_post(folder, Post(tuple(map(letter, range(1, letters + 1)))))
    for kind, kill in [*runs, ("accept", None)]:
        server.kind = kind
        with pytest.MonkeyPatch.context() as patch:
            if kill is not None:
                killing(kill[0], written=kill[1], patch=patch)
            try:
                send(folder, smtp(settings(server), password=None))
            except Killed:
                continue
    ids = server.ids
    assert len(ids) == len(set(ids))
    for one in read_post(folder).messages:
        arrived = f"<{one.id}@example.org>" in ids
        assert one.state in ("sent", "perhaps")
        assert arrived or one.state == "perhaps"
    doubtful = any(kind in ("cut", "drop", "garble") or kill for kind, kill in runs)
    assert doubtful or states(folder) == ["sent"] * letters


def test_quiet_hours_send_nothing(tmp_path: Path, server: MailServer) -> None:
    """What waits goes on waiting, and is counted."""
    keep_post(tmp_path, Post((letter(),)))
    assert send(tmp_path, smtp(settings(server), password=None), quiet=True).quiet == 1
    assert (server.heard, states(tmp_path)) == ([], ["waiting"])


def test_what_is_too_old_or_goes_to_nobody_is_not_sent(tmp_path: Path, server: MailServer) -> None:
    """It lapses, is told once, and is forgotten after the days for which messages are kept."""
    old = letter(1).model_copy(update={"day": DAY - dt.timedelta(days=8)})
    gone = letter(2).model_copy(update={"to": "b@example.org"})
    keep_post(tmp_path, Post((old, gone)))
    found = send(tmp_path, smtp(settings(server), password=None))
    assert [one.id for one in found.lapsed] == [old.id, gone.id]
    assert server.heard == []
    assert [one.id for one in read_post(tmp_path).messages] == [gone.id]


# --- the password ---------------------------------------------------------------------------------


def test_the_password_is_told_to_the_server_alone(tmp_path: Path) -> None:
    """A server that repeats what it was told does not bring it into our sentences or files."""
    with mail_server(user=True) as server:
        keep_post(tmp_path, Post((letter(),)))
        wrong = send(tmp_path, smtp(settings(server, "me"), password="grackle-77"))
        none = send(tmp_path, smtp(settings(server, "me"), password=None))
        good = send(tmp_path, smtp(settings(server, "me"), password=SECRET))
    assert "535" in wrong.failed[0]
    assert "STAGECAST_MAIL_PASSWORD" in none.failed[0]
    assert len(good.sent) == 1
    told = wrong.failed[0] + (tmp_path / FILE).read_text("utf-8")
    assert all(form not in told for form in ("grackle", "AG1lAGdyYWNrbGUtNzc", SECRET))


def test_a_password_does_not_go_in_the_clear(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A server elsewhere that offers no TLS is not told a password."""
    with mail_server(user=True) as server:
        monkeypatch.setattr(ways, "HERE", ())
        keep_post(tmp_path, Post((letter(),)))
        found = send(tmp_path, smtp(settings(server, "me"), password=SECRET))
    assert "no TLS" in found.failed[0]
    assert not any("AUTH" in line for line in server.heard)


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate for 127.0.0.1 with its key, made for this test."""
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("openssl, which makes the certificate, is not here")
    file = tmp_path_factory.mktemp("tls") / "server.pem"
    made = [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2",
            "-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1",
            "-keyout", str(file) + ".key", "-out", str(file)]  # fmt: skip
    subprocess.run(made, check=True, capture_output=True, timeout=600)
    return file


def test_tls_is_used_where_it_is_offered(tmp_path: Path, certificate: Path) -> None:
    """After STARTTLS with a good certificate the password goes; with a bad one nothing does."""
    own = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    own.load_cert_chain(certificate, str(certificate) + ".key")
    keep_post(tmp_path, Post((letter(),)))
    with mail_server(tls=own, user=True) as server:
        unknown = send(tmp_path, smtp(settings(server, "me"), password=SECRET))
        assert "certificate" in unknown.failed[0]
        assert not any("AUTH" in line for line in server.heard)
        trust = ssl.create_default_context(cafile=str(certificate))
        good = send(tmp_path, smtp(settings(server, "me"), password=SECRET, trust=trust))
    assert len(good.sent) == 1
    assert server.heard.index("STARTTLS") < next(
        place for place, line in enumerate(server.heard) if line.startswith("AUTH")
    )


# --- a command ------------------------------------------------------------------------------------


def program(folder: Path, body: str) -> tuple[str, ...]:
    """A command that runs some Python in the season folder."""
    (folder / "tell.py").write_text(body, "utf-8")
    return (sys.executable, "tell.py")


def test_a_command_gets_the_alerts_and_no_password(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On its standard input, in the season folder, without the password in its environment."""
    monkeypatch.setenv("STAGECAST_MAIL_PASSWORD", SECRET)
    body = (
        "import os, sys; open('got', 'w').write(sys.stdin.read() + str('STAGECAST_MAIL_PASSWORD' "
        "in os.environ))"
    )
    keep_post(tmp_path, Post((order(),)))
    hand = hook(tmp_path, program(tmp_path, body))
    assert len(send(tmp_path, hand).sent) == 1
    assert send(tmp_path, hand) == SentOut()
    assert (tmp_path / "got").read_text("utf-8") == order().text + "False"


@pytest.mark.skipif(os.name == "nt", reason="scripts with a first line are of other systems")
def test_a_script_of_the_season_folder_is_found(tmp_path: Path) -> None:
    """It is named as it lies in the folder, wherever the command was started."""
    script = tmp_path / "notify.sh"
    script.write_text("#!/bin/sh\ncat > got\n", "utf-8")
    script.chmod(0o755)
    keep_post(tmp_path, Post((order(),)))
    assert len(send(tmp_path, hook(tmp_path, ("notify.sh",))).sent) == 1
    assert (tmp_path / "got").read_text("utf-8") == order().text


@pytest.mark.parametrize(
    ("body", "said"),
    [("raise SystemExit(3)", "ended with 3"), ("import signal; signal.pause()", "not done in")],
)
def test_a_command_that_fails_or_hangs_is_told_and_run_again(
    body: str, said: str, tmp_path: Path
) -> None:
    """Its messages wait; the run does not wait for it longer than it may take."""
    keep_post(tmp_path, Post((order("x" * 200_000),)))
    patience = 1 if "pause" in body else 60
    found = send(tmp_path, hook(tmp_path, program(tmp_path, body), patience_s=patience))
    assert said in found.failed[0]
    assert (
        len(send(tmp_path, hook(tmp_path, program(tmp_path, "import sys; sys.stdin.read()"))).sent)
        == 1
    )


def test_a_command_that_is_not_there_is_told(tmp_path: Path) -> None:
    """By the name that season.toml gives it."""
    keep_post(tmp_path, Post((order(),)))
    assert "no-such-program" in send(tmp_path, hook(tmp_path, ("no-such-program",))).failed[0]
