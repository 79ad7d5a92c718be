"""How alerts leave the house: over SMTP, and through a command of one's own.

What goes out waits in the outbox (``season/outbox.py``). Mail is never handed over twice: it is
marked before the line that ends it, and where no answer to that line comes it counts as perhaps
sent. A command is run again until it ends well.
"""

from __future__ import annotations

import base64
import contextlib
import datetime as dt
import os
import re
import signal
import smtplib
import socket
import ssl
import subprocess
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from stagecast.season.outbox import OutMessage, OutState, SentOut, Way, keep_post, read_post
from stagecast.season.settings.telling import PASSWORD

if TYPE_CHECKING:
    from stagecast.season.settings.telling import MailSettings

MAIL_PATIENCE_S = 30.0
COMMAND_PATIENCE_S = 60.0
TLS_FROM_THE_START = 465
"""Port of mail submission under TLS (RFC 8314, section 3.3)."""

HERE = ("localhost", "127.0.0.1", "::1")
DONE, GO_ON = 2, 3
REFUSED = (4, 5)
"""First digits of replies (RFC 5321, section 4.2.1)."""

_LONGEST_REPLY = 120


@dataclass(frozen=True, slots=True)
class Handed:
    """What became of a message that was to be handed over.

    ``others``: whether it is worth trying the next message of this way.
    """

    state: Literal["sent", "waiting", "perhaps"]
    why: str = ""
    others: bool = True


Hand = Callable[[OutMessage, Callable[[], None]], Handed]
"""Hands one message over; calls its second argument before the server may count it as received."""


def send_out(
    folder: Path,
    hands: Mapping[Way, Hand],
    *,
    places: Collection[tuple[Way, str]],
    quiet: bool,
    since: dt.date,
) -> SentOut:
    """Hand over what waits in the outbox, the oldest first; the outbox knows of every step.

    Parameters
    ----------
    places: to which messages still go.
    quiet: nothing goes out now.
    since: what waits of days before is too old to be sent.
    """
    found, post = SentOut(), read_post(folder)

    def mark(one: OutMessage, state: OutState) -> None:
        nonlocal post
        post = post.marked(one.id, state)
        keep_post(folder, post)

    for one in post.messages:
        if one.state == "handing":
            mark(one, "perhaps")
            found.perhaps.append(one)
        elif one.state == "waiting" and (one.day < since or (one.way, one.to) not in places):
            mark(one, "lapsed")
            found.lapsed.append(one)
    if quiet:
        found.quiet = len(post.waiting)
        return found
    silent: set[Way] = set()
    for one in post.waiting:
        if one.way in silent:
            continue
        handed = hands[one.way](one, partial(mark, one, "handing"))
        mark(one, handed.state)
        if handed.state == "sent":
            found.sent.append(one)
        elif handed.state == "perhaps":
            found.perhaps.append(one)
        else:
            found.failed.append(handed.why)
            if not handed.others:
                silent.add(one.way)
    found.waiting = len(post.waiting)
    if (less := post.kept(since)) != post:
        keep_post(folder, less)
    return found


# --- mail -----------------------------------------------------------------------------------------


def smtp(
    mail: MailSettings,
    *,
    password: str | None,
    patience_s: float = MAIL_PATIENCE_S,
    trust: ssl.SSLContext | None = None,
) -> Hand:
    """Hand mail to a server, under TLS where it offers it.

    Parameters
    ----------
    password: of ``mail.user``; goes over TLS only, but for a server on this computer.
    patience_s: for each answer of the server.
    trust: whose certificates are good; default those of the system.

    References
    ----------
    RFC 5321 (2008), SMTP: section 4.1.1.4 for DATA, 4.5.2 for lines that begin with a dot,
    https://www.rfc-editor.org/rfc/rfc5321
    """

    def hand(one: OutMessage, handing: Callable[[], None]) -> Handed:
        talk = None
        ended = False
        try:
            talk = _connected(mail, patience_s, trust or ssl.create_default_context())
            if refused := _logged_in(talk, mail, password):
                return Handed("waiting", refused, others=False)
            steps: tuple[tuple[Callable[[], tuple[int, bytes]], int], ...] = (
                (lambda: talk.mail(mail.sender), DONE),
                (lambda: talk.rcpt(one.to), DONE),
                (lambda: talk.docmd("data"), GO_ON),
            )
            for ask, good in steps:
                code, text = ask()
                if code // 100 != good:
                    return Handed("waiting", f"{one.to}: {_reply(code, text)}")
            talk.send(_body(one.text))
            handing()
            ended = True
            talk.send(b".\r\n")
            code, text = talk.getreply()
            if code // 100 == DONE:
                _leave(talk)
                return Handed("sent")
            if code // 100 not in REFUSED:
                return Handed("perhaps")
            return Handed("waiting", f"{one.to}: {_reply(code, text)}")
        except (OSError, UnicodeError) as error:  # smtplib's own errors are of the first kind
            if ended:
                return Handed("perhaps")
            why = f"{mail.server} port {mail.port}: {_fault(error, password)}"
            return Handed("waiting", why, others=False)
        finally:
            if talk is not None:
                talk.close()

    return hand


def _connected(mail: MailSettings, patience_s: float, trust: ssl.SSLContext) -> smtplib.SMTP:
    """A connection on which both sides have said who they are, under TLS where it can be had."""
    if mail.port == TLS_FROM_THE_START:
        talk: smtplib.SMTP = smtplib.SMTP_SSL(
            mail.server, mail.port, timeout=patience_s, context=trust
        )
        talk.ehlo_or_helo_if_needed()
        return talk
    talk = smtplib.SMTP(mail.server, mail.port, timeout=patience_s)
    try:
        talk.ehlo_or_helo_if_needed()
        if talk.has_extn("starttls"):
            code, text = talk.starttls(context=trust)
            if code != 220:
                raise smtplib.SMTPResponseException(code, text)
            talk.ehlo()
    except BaseException:
        talk.close()
        raise
    return talk


def _logged_in(talk: smtplib.SMTP, mail: MailSettings, password: str | None) -> str | None:
    """Log in where a user is named; else why not. The password is in no sentence."""
    if mail.user is None:
        return None
    if not password:
        return f"no password: set {PASSWORD} in the environment"
    if not isinstance(talk.sock, ssl.SSLSocket) and mail.server not in HERE:
        return f"{mail.server} offers no TLS, and a password is not sent in the clear"
    try:
        talk.login(mail.user, password)
    except smtplib.SMTPAuthenticationError as error:
        return f"{mail.server} does not take this user with this password ({error.smtp_code})"
    except UnicodeError:
        return f"user or {PASSWORD} has letters that cannot be told to {mail.server}"
    return None


def _body(text: str) -> bytes:
    """The message as DATA wants it: lines that begin with a dot get another, CRLF at the end."""
    data = re.sub(rb"(?m)^\.", b"..", text.encode("ascii"))
    return data if data.endswith(b"\r\n") else data + b"\r\n"


def _leave(talk: smtplib.SMTP) -> None:
    with contextlib.suppress(OSError):
        talk.quit()


def _reply(code: int, text: bytes) -> str:
    said = " ".join(text.decode("utf-8", "replace").split())[:_LONGEST_REPLY]
    return f"the server says {code} {said}".strip()


def _fault(error: Exception, password: str | None) -> str:
    """What went wrong, without anything that came from the password."""
    if isinstance(error, TimeoutError) or isinstance(error.__context__, TimeoutError):
        return "no answer in time"
    if isinstance(error, smtplib.SMTPServerDisconnected):
        return "the server hung up"
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate cannot be trusted ({error.verify_message})"
    if isinstance(error, smtplib.SMTPResponseException):
        text = error.smtp_error
        said = _reply(error.smtp_code, text if isinstance(text, bytes) else text.encode())
    elif isinstance(error, socket.gaierror):
        said = "no server of this name can be found"
    elif isinstance(error, UnicodeError):
        said = "this cannot be the name of a server"
    else:
        said = getattr(error, "strerror", None) or str(error) or type(error).__name__
    for secret in _forms(password):
        said = said.replace(secret, "***")
    return said[:_LONGEST_REPLY]


def _forms(password: str | None) -> list[str]:
    if not password:
        return []
    return [password, base64.b64encode(password.encode()).decode()]


# --- a command ------------------------------------------------------------------------------------


def hook(folder: Path, words: Sequence[str], *, patience_s: float = COMMAND_PATIENCE_S) -> Hand:
    """Run a command in the season folder with a document on its standard input.

    A program of the folder itself stands before others of its name. It does not get the password
    of the mail server, and what it prints goes nowhere.
    """
    own = folder / words[0]
    command = [str(own.resolve()) if own.is_file() else words[0], *words[1:]]
    name = words[0]

    def hand(one: OutMessage, _: Callable[[], None]) -> Handed:
        environment = {key: text for key, text in os.environ.items() if key != PASSWORD}
        try:
            program = subprocess.Popen(
                command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL, cwd=folder, env=environment, start_new_session=True,
            )  # fmt: skip
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            return Handed("waiting", f"{name}: {reason}", others=False)
        try:
            program.communicate(one.text.encode("utf-8", "replace"), timeout=patience_s)
        except subprocess.TimeoutExpired:
            return Handed("waiting", f"{name}: not done in {patience_s:g} s", others=False)
        finally:
            if program.poll() is None:
                _end(program)
        if program.returncode == 0:
            return Handed("sent")
        return Handed("waiting", f"{name}: ended with {program.returncode}")

    return hand


def _end(program: subprocess.Popen[bytes]) -> None:
    """End a program and what it started."""
    with contextlib.suppress(OSError):
        if hasattr(os, "killpg"):
            os.killpg(program.pid, signal.SIGKILL)
        else:
            program.kill()
    program.wait()
    if program.stdin is not None:
        with contextlib.suppress(OSError):
            program.stdin.close()
