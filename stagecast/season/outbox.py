"""Alerts on their way out, kept in ``outbox.json`` of the season folder until they are gone.

A message is put here before its alerts count as told, and marked once it is sent. Between the
marks it is `handing`: a run that ends there leaves open whether it arrived, so it is never
handed over again.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict

from stagecast.season.kept import keep, read_kept
from stagecast.season.told import Tellable, ToldAlerts

FILE = "outbox.json"

Way = Literal["mail", "command"]
OutState = Literal["waiting", "handing", "sent", "perhaps", "lapsed"]
"""``perhaps``: handed over, and nobody answered; ``lapsed``: too old to be sent."""

Told = tuple[str, int]
"""Key and level of an alert that a message tells."""


class OutMessage(BaseModel):
    """One message to one place.

    Attributes
    ----------
    id: the same for the same alerts of a day to the same place.
    to: an address; empty for the command.
    day: of its alerts.
    told: what it tells.
    text: all of it, as it goes out.
    """

    model_config = ConfigDict(frozen=True)

    id: str
    way: Way
    to: str
    day: dt.date
    told: tuple[Told, ...]
    text: str
    state: OutState = "waiting"


@dataclass(frozen=True, slots=True)
class Post:
    """What is in the outbox, the oldest first."""

    messages: tuple[OutMessage, ...] = ()

    @property
    def waiting(self) -> tuple[OutMessage, ...]:
        """Those still to be handed over."""
        return tuple(one for one in self.messages if one.state == "waiting")

    def untold(
        self, alerts: Sequence[Tellable], told: ToldAlerts, *, way: Way, to: str, day: dt.date
    ) -> list[str]:
        """Keys of the alerts that no message to a place tells yet.

        A message of a later day than the alert was last told tells it: a run ended between the two.
        """
        before = {key: one.last for key, one in told.alerts.items()}
        here = {
            alert
            for one in self.messages
            if (one.way, one.to) == (way, to)
            for alert in one.told
            if one.day == day or one.day > before.get(alert[0], dt.date.min)
        }
        return [one.key for one in alerts if (one.key, one.level) not in here]

    def with_new(self, made: Iterable[OutMessage]) -> Post:
        """The same with messages that were not in it."""
        ids = {one.id for one in self.messages}
        return Post((*self.messages, *(one for one in made if one.id not in ids)))

    def marked(self, id_: str, state: OutState) -> Post:
        """The same with one message in another state."""
        return Post(tuple(
            one.model_copy(update={"state": state}) if one.id == id_ else one
            for one in self.messages
        ))  # fmt: skip

    def kept(self, since: dt.date) -> Post:
        """The same without what was done with before a day."""
        return Post(tuple(m for m in self.messages if m.state == "waiting" or m.day >= since))


@dataclass(slots=True)
class SentOut:
    """What became of all messages in a run.

    Attributes
    ----------
    perhaps: now, or in a run that ended in between.
    failed: why, for each that was tried and will be tried again.
    quiet: how many wait because of the hour.
    waiting: how many wait in all.
    """

    sent: list[OutMessage] = field(default_factory=list)
    perhaps: list[OutMessage] = field(default_factory=list)
    lapsed: list[OutMessage] = field(default_factory=list)
    failed: list[str] = field(default_factory=list)
    quiet: int = 0
    waiting: int = 0


def message_id(*, year: int, way: Way, to: str, day: dt.date, told: Iterable[Told]) -> str:
    """The same for the same alerts of a day to the same place."""
    parts = [str(year), way, to, day.isoformat(), *(f"{key} {level}" for key, level in told)]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:24]


class _File(BaseModel):
    messages: tuple[OutMessage, ...] = ()


def read_post(folder: Path) -> Post:
    """The outbox of a folder; empty where there is no file.

    Raises
    ------
    StoreError
        When the file is damaged: it says what must not be sent again.
    """
    step = "move it away; what waited in it is lost, and what was sent today may be sent again"
    return Post(read_kept(folder / FILE, _File, damaged_step=step).messages)


def keep_post(folder: Path, post: Post) -> None:
    """Write the outbox, whole or not at all.

    Raises
    ------
    StoreError
    """
    keep(folder / FILE, _File(messages=post.messages))
