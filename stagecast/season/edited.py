"""Files of a season folder changed by a program: checked as a whole first, and never over others'.

A change that brings an error which was not there before is refused; a file that somebody else has
changed since it was opened is left as it is.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import threading
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from stagecast.base.errors import Problem, SeasonProblems, StagecastError
from stagecast.base.savefile import save_file
from stagecast.base.textfiles import read_bytes
from stagecast.season.folder import read_season
from stagecast.season.log.entries import LOG_FILE
from stagecast.season.log.store import LogStore

LARGEST_BYTES = 5_000_000
_ENDS = (".csv", ".toml")
_PESTS = "pests"
_saving = threading.Lock()


class ChangedMeanwhile(StagecastError):
    """A file is not as it was when it was opened to be changed; nothing was written."""


def read_file(folder: Path, file: str) -> bytes:
    """What a file of the folder holds; nothing where there is none.

    Raises
    ------
    SeasonProblems
        It is there and cannot be read.
    """
    path = folder / file
    if not path.exists() and not path.is_symlink():
        return b""
    raw, problem = read_bytes(path, label=file, largest_bytes=LARGEST_BYTES)
    if problem is not None:
        raise SeasonProblems([problem])
    return raw


def digest_of(raw: bytes) -> str:
    """Stands for what a file holds."""
    return hashlib.sha256(raw).hexdigest()[:32]


def problems_of(folder: Path, *, file: str = "", data: bytes = b"") -> tuple[Problem, ...]:
    """What ``stagecast check`` finds wrong or doubtful in the folder's tables and settings.

    ``file`` and ``data``: one file as it is to be, in place of how it is.
    """
    with tempfile.TemporaryDirectory(prefix="stagecast-") as made:
        copy = Path(made)
        for place in ("", _PESTS):
            _copy(folder / place, copy / place)
        if file:
            (copy / file).write_bytes(data)
        try:
            return read_season(copy, log=LogStore(folder / LOG_FILE).read()).doubts
        except SeasonProblems as error:
            return error.problems


def save_checked(folder: Path, file: str, data: bytes, *, opened: str) -> list[Problem]:
    """Write a file of the folder if that makes nothing wrong.

    Parameters
    ----------
    opened: the digest of what the file held when the change was begun.

    Returns
    -------
    list of Problem
        The errors that the change would bring; none where it was written.

    Raises
    ------
    ChangedMeanwhile
    StoreError
        Writing failed; what was there is as it was.
    """
    brought = _new_errors(problems_of(folder), problems_of(folder, file=file, data=data))
    if brought:
        return brought
    with _saving:
        if digest_of(read_file(folder, file)) != opened:
            raise ChangedMeanwhile(f"{file} was changed meanwhile")
        save_file(folder / file, data, is_ours=lambda _: True)
    return []


def _new_errors(before: Iterable[Problem], after: Iterable[Problem]) -> list[Problem]:
    """The errors that were not there before, wherever their lines are now."""
    known = Counter(map(_key, before))
    found = []
    for problem in after:
        known[_key(problem)] -= 1
        if not problem.doubtful and known[_key(problem)] < 0:
            found.append(problem)
    return found


def _key(problem: Problem) -> tuple[object, ...]:
    return (
        problem.file, problem.message, problem.column, problem.found, problem.field_id,
        problem.doubtful,
    )  # fmt: skip


def _copy(folder: Path, to: Path) -> None:
    """The files of a folder that people write."""
    if not folder.is_dir():
        return
    to.mkdir(exist_ok=True)
    for path in folder.iterdir():
        if path.suffix in _ENDS and path.is_file():
            shutil.copyfile(path, to / path.name)
