"""What season.toml says of alerts: how far ahead, when it is quiet, and how they leave the house.

What it does not say is as in ``knowledge/alerts.toml``. The password of the mail server stands in
no file: it is taken from the environment when mail is sent.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field

from stagecast.base.dates import said_time
from stagecast.base.errors import Problem
from stagecast.knowledge import Knowledge
from stagecast.knowledge.references import YOURS
from stagecast.season.settings.pest_names import folded
from stagecast.season.settings.sections import Section, as_tuple
from stagecast.season.settings.toml import TomlFile, as_typed, kind_of
from stagecast.season.settings.work import Finite, ScoutName, Time

PASSWORD = "STAGECAST_MAIL_PASSWORD"
"""The variable of the environment in which the password of the mail server stands."""

EVERYBODY = "all"
"""Stands for all scouts where mail is told by scout."""

LONGEST_LEAD_DAYS = 30
MOST_WORDS, LONGEST_WORD = 20, 1000
MOST_ADDRESSES, LONGEST_ADDRESS = 50, 254  # RFC 5321, section 4.5.3.1.3
LAST_PORT = 65_535
_ADDRESS = re.compile(r"[!#-'*+/-9=?A-Z^-~.-]+@[A-Za-z0-9][A-Za-z0-9.-]*")
_SERVER = re.compile(r"[A-Za-z0-9][A-Za-z0-9.-]*|\[?[0-9A-Fa-f:]+\]?")

_LEAD = f"whole days from 1 to {LONGEST_LEAD_DAYS}"
_QUIET = 'a time of day in quotes, such as "20:00" or "8 pm"; both alike for no quiet hours'
_ONE_ADDRESS = 'an address in quotes, such as "me@example.org"'


def _address(text: object) -> str:
    if not isinstance(text, str):
        raise ValueError(f"this cannot be {kind_of(text)}")
    if len(text) > LONGEST_ADDRESS or not _ADDRESS.fullmatch(text):
        raise ValueError("this is not an address of mail, in plain letters")
    return text


def _server(text: str) -> str:
    if len(text) > LONGEST_ADDRESS or not _SERVER.fullmatch(text):
        raise ValueError("this is not the name of a server")
    return text


def _words(words: tuple[str, ...]) -> tuple[str, ...]:
    if len(words) > MOST_WORDS or any(len(w) > LONGEST_WORD or "\0" in w for w in words):
        raise ValueError("this is too long for a command")
    if words and not words[0].strip():
        raise ValueError("no program is named")
    return words


Recipients = tuple[tuple[str, str], ...]
"""Pairs of a scout, empty for everybody, and an address."""


def _recipients(given: object) -> Recipients:
    """An address, a list of them, or a table of scouts and ``all`` with one or more each."""
    table = given if isinstance(given, dict) else {EVERYBODY: given}
    found = [
        ("" if folded(name) == EVERYBODY else " ".join(name.split()), _address(one))
        for name, several in table.items()
        for one in (several if isinstance(several, list) else [several])
    ]
    if not found:
        raise ValueError("nobody is named")
    if len(found) > MOST_ADDRESSES:
        raise ValueError(f"{len(found)} addresses are too many")
    if len({address for _, address in found}) < len(found):
        raise ValueError("an address stands twice")
    return tuple(found)


Address = Annotated[str, BeforeValidator(_address)]
LeadDays = Annotated[int, Field(ge=1, le=LONGEST_LEAD_DAYS)]
Words = Annotated[tuple[str, ...], BeforeValidator(as_tuple), AfterValidator(_words)]


class AlertsSettings(Section):
    """How far ahead one is told, the quiet hours in seconds after midnight, and a command.

    None: as in ``knowledge/alerts.toml``, whose keys these are. ``command`` is a program with its
    arguments; empty for none.
    """

    coming_days: LeadDays | None = None
    moved_days: LeadDays | None = None
    bloom_days: LeadDays | None = None
    bloom_chance: Annotated[Finite, Field(gt=0, le=1)] | None = None
    window_days: LeadDays | None = None
    pest_days: LeadDays | None = None
    gap_days: LeadDays | None = None
    shift_days: LeadDays | None = None
    lapse_days: LeadDays | None = None
    quiet_from: Time | None = None
    quiet_to: Time | None = None
    command: Words = ()


class MailSettings(Section):
    """The server that takes mail, and who writes to whom; ``user`` is None where it asks none."""

    server: Annotated[str, AfterValidator(_server)]
    port: Annotated[int, Field(ge=1, le=LAST_PORT)] = 587
    user: ScoutName | None = None
    sender: Address = Field(alias="from")
    to: Annotated[Recipients, BeforeValidator(_recipients)]


ACCEPTED_TELLING: dict[str, str] = {
    "alerts": "an [alerts] section",
    **{
        f"alerts.{key}": _LEAD
        for key in AlertsSettings.model_fields
        if key.endswith("_days")
    },
    "alerts.bloom_chance": "a share above 0, to 1, such as 0.5",
    "alerts.quiet_from": _QUIET,
    "alerts.quiet_to": _QUIET,
    "alerts.command": 'a list of a program and its arguments, such as ["notify.sh"]',
    "mail": "a [mail] section with server, from and to",
    "mail.server": 'the name of a server in quotes, such as "mail.example.org"',
    "mail.port": f"a whole number from 1 to {LAST_PORT}, most often 587 or 465",
    "mail.user": "the name at the server, in quotes; the password stands in no file",
    "mail.from": _ONE_ADDRESS,
    "mail.to": f'{_ONE_ADDRESS}, a list of them, or {{ "Scout A" = "a@example.org" }}',
}  # fmt: skip


def telling_problems(toml: TomlFile) -> Iterator[Problem]:
    """A password in the file, and mail to scouts who are not there."""
    mail = toml.data.get("mail")
    if not isinstance(mail, dict):
        return
    if "password" in mail:
        message = "a password stands in no file of a season"
        step = f"delete it here and put it into the environment, as {PASSWORD}"
        yield toml.fault(("mail", "password"), message, next_step=step)
    scouts = toml.data.get("scouts")
    names = {folded(name) for one in (scouts if isinstance(scouts, list) else ())
             if isinstance(one, dict) and isinstance(name := one.get("name"), str)}  # fmt: skip
    to = mail.get("to")
    for name in to if isinstance(to, dict) else ():
        if folded(name) not in {EVERYBODY, *names}:
            message = "there is no scout of this name"
            step = f'write it as in [[scouts]], or "{EVERYBODY}" for everybody'
            yield toml.fault(("mail", "to"), message, found=as_typed(name), next_step=step)


def with_alerts(knowledge: Knowledge, own: AlertsSettings) -> Knowledge:
    """The rules of alerts with a season's own laid over them, marked as such."""
    rule: dict[str, Any] = {}
    for key in AlertsSettings.model_fields:
        value = getattr(own, key)
        if value is None or key == "command":
            continue
        if key in ("quiet_from", "quiet_to"):
            rule[key] = said_time(value)
        else:
            shipped = getattr(knowledge.alerts, key)
            rule[key] = shipped.model_copy(update={"value": value, "source": YOURS, "tag": "OWN"})
    return knowledge.model_copy(update={"alerts": knowledge.alerts.model_copy(update=rule)})
