"""Files that save work and nothing more, in a folder of the user's own, outside of any season.

A season folder may come from somebody else, by mail or on a shared drive; what is on the shelf is
trusted, so it lies where only this user writes, and what anybody else could have written there is
not read. All of it may be deleted at any time.
"""

from __future__ import annotations

import contextlib
import os
import stat
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path

from stagecast.base.errors import StoreError
from stagecast.base.savefile import save_file

SWITCH, OFF = "STAGECAST_CACHE", "off"
"""The variable of the environment, and its value, with which nothing is kept."""

MOST_FILES = 12
MOST_BYTES = 256 * 2**20

_ENDING = ".kept"
_MADE = (".stagecast-", _ENDING)
_DIGEST_BYTES = 32
_OWNER_ONLY = 0o700
_OWNERS_FILE = 0o600
_ROOT = 0  # who may do anything
_OTHERS_WRITE = stat.S_IWGRP | stat.S_IWOTH


def users_folder(environ: Mapping[str, str], *, home: Path | None, system: str) -> Path | None:
    """Where the shelf is: by the XDG Base Directory Specification, else as the system has it.

    Parameters
    ----------
    home: the user's home, None where there is none.
    system: as in ``sys.platform``.

    Returns
    -------
    Path or None
        None where nothing is to be kept, or there is no place for it.
    """
    if environ.get(SWITCH) == OFF:
        return None
    # "All paths set in these environment variables must be absolute", others are to be ignored.
    asked = Path(environ.get("XDG_CACHE_HOME", ""))
    if asked.is_absolute():
        return asked / "stagecast"
    if system == "win32":
        local = Path(environ.get("LOCALAPPDATA", ""))
        return local / "stagecast" if local.is_absolute() else None
    if home is None or not home.is_absolute():  # a relative one could lie in a season folder
        return None
    return home / ("Library/Caches" if system == "darwin" else ".cache") / "stagecast"


@dataclass(frozen=True, slots=True)
class Shelf:
    """Bytes by name. It never fails: what cannot be kept or read is not there."""

    folder: Path
    most_files: int = MOST_FILES
    most_bytes: int = MOST_BYTES

    def read(self, name: str) -> memoryview | None:
        """What was kept; None where there is nothing, or not all of it, or it is not ours."""
        try:
            if not self._is_ours():
                return None
            number = os.open(self.folder / f"{name}{_ENDING}", _READ)
            with os.fdopen(number, "rb") as stream:
                found = os.fstat(number)
                whole = stream.read() if stat.S_ISREG(found.st_mode) and _is_ours(found) else b""
        except OSError:
            return None
        digest, data = whole[:_DIGEST_BYTES], memoryview(whole)[_DIGEST_BYTES:]
        return data if digest == _digest(name, [data]) else None

    def write(self, name: str, data: bytes | Sequence[bytes | memoryview]) -> None:
        """Keep bytes, or pieces of them in order, whole or not at all.

        The oldest files go where there are too many.
        """
        pieces = [data] if isinstance(data, bytes) else data
        if sum(map(len, pieces)) > self.most_bytes:
            return
        with contextlib.suppress(OSError, StoreError):
            self.folder.mkdir(parents=True, exist_ok=True, mode=_OWNER_ONLY)
            if not self._is_ours():
                return
            path = self.folder / f"{name}{_ENDING}"
            whole = [_digest(name, pieces), *pieces]
            save_file(path, whole, is_ours=lambda _: True, mode=_OWNERS_FILE)
            self._sweep(path.stat().st_mtime_ns)

    def _is_ours(self) -> bool:
        """Whether the folder is, and where it is a link, who made it: it may lead anywhere."""
        if not _is_ours(self.folder.stat()):
            return False
        return sys.platform == "win32" or self.folder.lstat().st_uid in (os.geteuid(), _ROOT)

    def _sweep(self, now_ns: int) -> None:
        def age_ns(one: tuple[Path, os.stat_result]) -> int:
            age = now_ns - one[1].st_mtime_ns
            # The clock was wrong when it was written: else none but such would ever stay.
            return age if age >= 0 else now_ns

        count = size = 0
        for path, each in sorted(self._files(), key=age_ns):
            count, size = count + 1, size + each.st_size
            if count > self.most_files or size > self.most_bytes:
                path.unlink(missing_ok=True)

    def _files(self) -> Iterator[tuple[Path, os.stat_result]]:
        """Every file that a shelf has made, whole or left by a program that was killed."""
        for path in self.folder.iterdir():
            if path.name.startswith(_MADE[0]) or path.name.endswith(_MADE[1]):
                with contextlib.suppress(FileNotFoundError):  # another command swept it just now
                    found = path.lstat()
                    if not stat.S_ISDIR(found.st_mode):
                        yield path, found


# A link could lead to what somebody else wrote; a pipe would be waited for.
_HOW = ("O_NOFOLLOW", "O_NONBLOCK", "O_BINARY")
_READ = os.O_RDONLY | sum(getattr(os, name, 0) for name in _HOW)


def _is_ours(found: os.stat_result) -> bool:
    """Whether only this user could have written it; Windows keeps its own folder for each user."""
    if sys.platform == "win32":
        return True
    return found.st_uid == os.geteuid() and not found.st_mode & _OTHERS_WRITE


def _digest(name: str, data: Sequence[bytes | memoryview]) -> bytes:
    digest = blake2b(name.encode(), digest_size=_DIGEST_BYTES)
    for piece in data:
        digest.update(piece)
    return digest.digest()
