"""Fields that a person put on a day and a scout, kept in ``locks.json`` of the season folder.

A lock lapses once its day is past, or once the field was walked since it was made.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from stagecast.base.lock import held
from stagecast.season.kept import keep, read_kept

FILE, GUARD = "locks.json", "locks.lock"
LONGEST_WAIT_S = 10.0
"""For another desk that writes the file."""


class Lock(BaseModel):
    """Where one field was put.

    Attributes
    ----------
    scout: "" for the one scout of a season that names none.
    seen: the last visit to the field when it was put there.
    """

    model_config = ConfigDict(frozen=True)

    day: dt.date
    scout: str = ""
    seen: dt.date | None = None

    def holds(self, as_of: dt.date, last_visit: dt.date | None) -> bool:
        """Whether it has not lapsed on a day; ``last_visit`` is that of the field.

        A visit that was put right to an earlier day, or taken back, is no walk since. On a day
        before the visit that it knows it was not made yet.
        """
        walked = last_visit is not None and (self.seen is None or last_visit > self.seen)
        made = self.seen is None or self.seen <= as_of
        return self.day >= as_of and made and not walked


class _File(BaseModel):
    fields: dict[str, Lock] = {}


def read_locks(folder: Path) -> dict[str, Lock]:
    """The locks of a folder by field, lapsed ones too; none where there is no file.

    Raises
    ------
    StoreError
        When the file is damaged: what a person decided is in it.
    """
    step = "delete it: every field is then walked where the route has it"
    return read_kept(folder / FILE, _File, damaged_step=step).fields


def put(folder: Path, field_id: str, lock: Lock | None, *, as_of: dt.date) -> None:
    """Put a field somewhere, or with None let the route decide again; all others stay.

    Also where another desk writes at the same time: each waits for the other, and reads what that
    one wrote before it adds its own.

    Raises
    ------
    StoreError
        When the file is damaged or cannot be written; what was there is as it was.
    """
    with held(folder / GUARD, busy="another program writes locks.json", wait_s=LONGEST_WAIT_S):
        locks = read_locks(folder)
        locks.pop(field_id, None)
        if lock is not None:
            locks[field_id] = lock
        keep_locks(folder, locks, as_of=as_of)


def keep_locks(folder: Path, locks: Mapping[str, Lock], *, as_of: dt.date) -> None:
    """Write the locks, whole or not at all; those of days past are left out.

    Raises
    ------
    StoreError
    """
    left = {name: lock for name, lock in locks.items() if lock.day >= as_of}
    keep(folder / FILE, _File(fields=left))
