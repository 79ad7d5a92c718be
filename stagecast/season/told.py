"""Which alerts were told, kept in ``alerts.json`` of the season folder.

An alert is told once, and again only when it got worse or its day has come. A person may be done
with one, or put it off.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Protocol

from pydantic import BaseModel, ConfigDict

from stagecast.season.kept import keep, read_kept

FILE = "alerts.json"


class Tellable(Protocol):
    """What is asked of an alert here.

    ``day``: the day on which it is told again; ``level``: higher is worse.
    """

    @property
    def key(self) -> str: ...  # noqa: D102
    @property
    def level(self) -> int: ...  # noqa: D102
    @property
    def day(self) -> dt.date | None: ...  # noqa: D102


class ToldAlert(BaseModel):
    """One alert that was told.

    Attributes
    ----------
    last: the day on which it was last told as new.
    done: whether a person is done with it, at its level.
    later: the day up to which a person put it off.
    """

    model_config = ConfigDict(frozen=True)

    last: dt.date
    level: int
    done: bool = False
    later: dt.date | None = None

    def is_new(self, alert: Tellable, as_of: dt.date) -> bool:
        """Whether it is to be told on a day; on the day of its telling again, as a run may be."""
        if alert.level > self.level:
            return True
        if self.done or (self.later is not None and as_of < self.later):
            return False
        if self.later is not None and self.last < self.later:
            return True
        if alert.day is not None and self.last < alert.day <= as_of:
            return True
        return self.last == as_of


class ToldAlerts(BaseModel):
    """All that was told in a season.

    Attributes
    ----------
    alerts: by key.
    stages: field id -> stage -> the day that was last told, to see how far a forecast moved.
    """

    model_config = ConfigDict(frozen=True)

    alerts: dict[str, ToldAlert] = {}
    stages: dict[str, dict[str, dt.date]] = {}

    def is_new(self, alert: Tellable, as_of: dt.date) -> bool:
        """Whether an alert is to be told on a day."""
        told = self.alerts.get(alert.key)
        return told is None or told.is_new(alert, as_of)

    def telling(
        self,
        alerts: Iterable[Tellable],
        as_of: dt.date,
        stages: Mapping[str, Mapping[str, dt.date]],
    ) -> ToldAlerts:
        """The same once some alerts were told as new; ``stages`` that moved are told with them."""
        told = {one.key: ToldAlert(last=as_of, level=one.level) for one in alerts}
        moved = {field: {**self.stages.get(field, {}), **days} for field, days in stages.items()}
        return ToldAlerts(alerts={**self.alerts, **told}, stages={**self.stages, **moved})

    def put_away(self, key: str, *, later: dt.date | None) -> ToldAlerts:
        """The same with one alert done, or put off until a day."""
        found = self.alerts[key].model_copy(update={"done": later is None, "later": later})
        return ToldAlerts(alerts={**self.alerts, key: found}, stages=self.stages)


def read_told(folder: Path) -> ToldAlerts:
    """What was told in a folder; nothing where there is no file.

    Raises
    ------
    StoreError
        When the file is damaged: what a person put away is in it.
    """
    step = "delete it: all alerts are then told once more"
    return read_kept(folder / FILE, ToldAlerts, damaged_step=step)


def keep_told(folder: Path, told: ToldAlerts) -> None:
    """Write what was told, whole or not at all.

    Raises
    ------
    StoreError
    """
    keep(folder / FILE, told)
