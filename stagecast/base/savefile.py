"""Files and folders that are written whole or not at all."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from stagecast.base.errors import StoreError, write_step
from stagecast.base.unfinished import put_in_place, sweep, workplace

LOOKED_AT = 4096


def check_target(path: Path, *, is_ours: Callable[[bytes], bool]) -> None:
    """Refuse a place at which something of another kind stands.

    Parameters
    ----------
    path: where it is a link, what it leads to counts.
    is_ours: whether a file that begins with these bytes may be written over.

    Raises
    ------
    StoreError
    """
    try:
        taken = path.exists() or path.is_symlink()
        if taken and not (path.is_file() and is_ours(_beginning(path))):
            step = "choose another name, or move it away"
            raise StoreError(str(path), "something else is there already", next_step=step)
        if not path.resolve().parent.is_dir():
            step = "make the folder first, or choose another place"
            raise StoreError(str(path), "there is no such folder", next_step=step)
    except OSError as error:
        reason = error.strerror or str(error)
        raise StoreError(str(path), reason, next_step="choose another name") from error


@dataclass(frozen=True, slots=True)
class NewFile:
    """A file to be written.

    Attributes
    ----------
    data: the whole content, or its pieces in order.
    is_ours: as in :func:`check_target`.
    mode: rights of a new file; None for those that its owner gives all new files.
    """

    path: Path
    data: bytes | Sequence[bytes | memoryview]
    is_ours: Callable[[bytes], bool]
    mode: int | None = None


def save_file(
    path: Path,
    data: bytes | Sequence[bytes | memoryview],
    *,
    is_ours: Callable[[bytes], bool],
    mode: int | None = None,
) -> None:
    """Write a file in the place of an older one of the same kind; see :func:`save_files`."""
    save_files([NewFile(path, data, is_ours, mode)])


def save_files(files: Iterable[NewFile], *, gone: Iterable[Path] = ()) -> None:
    """Write files in the places of older ones of the same kind: those of a folder all, or none.

    What is ``gone`` is taken away with it, from folders that are written to. A link stays a link,
    and a file keeps the rights that it had; a new one has the usual ones.

    Raises
    ------
    StoreError
        Something else is there, or writing failed; what was there is as it was.
    """
    old = list(gone)
    by_folder: dict[Path, list[NewFile]] = {}
    for file in files:
        check_target(file.path, is_ours=file.is_ours)
        by_folder.setdefault(file.path.resolve().parent, []).append(file)
    for folder, of_folder in by_folder.items():
        at = of_folder[0].path
        try:
            with workplace(folder) as made:
                for file in of_folder:
                    at = file.path
                    _write(made / at.resolve().name, file)
                put_in_place(
                    made,
                    [file.path.resolve().name for file in of_folder],
                    gone=[path.name for path in old if path.parent.resolve() == folder],
                )
        except OSError as error:
            step = write_step(error, otherwise="choose a folder you may write to")
            raise StoreError(str(at), error.strerror or str(error), next_step=step) from error


def _write(part: Path, file: NewFile) -> None:
    """Write a file whole, to the disk, with the rights that it will have."""
    target = file.path.resolve()
    with part.open("xb") as stream:
        stream.writelines([file.data] if isinstance(file.data, bytes) else file.data)
        stream.flush()
        os.fsync(stream.fileno())
    mode = target.stat().st_mode & 0o7777 if target.exists() else file.mode
    if mode is not None:
        part.chmod(mode)


def _beginning(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(LOOKED_AT)


@contextmanager
def new_folder(path: Path) -> Iterator[Path]:
    """Yield a folder to write into; it takes its name once all is written.

    Parameters
    ----------
    path: A folder that does not exist yet, or is empty.

    Raises
    ------
    StoreError
        When anything is there already, or writing fails. Nothing that was there is touched, and
        of what was written nothing stays.
    """
    try:
        sweep(path)
        if _taken(path):
            step = "choose a folder that does not exist yet, or an empty one"
            raise StoreError(str(path), "something is there already", next_step=step)
        with _staged(path) as folder:
            yield folder
    except OSError as error:
        reason = f"the folder cannot be written ({error.strerror or error})"
        step = write_step(error, otherwise="choose a folder you may write to")
        raise StoreError(str(path), reason, next_step=step) from error


def _taken(path: Path) -> bool:
    if not path.exists():
        return path.is_symlink()
    return not path.is_dir() or any(path.iterdir())


@contextmanager
def _staged(path: Path) -> Iterator[Path]:
    """Write beside the folder to be, and rename; into an empty one that exists, move piecewise.

    An empty folder keeps its place, since a shell may stand in it.
    """
    exists = path.exists()
    made = [] if exists else [p for p in path.parents if not p.exists()]
    try:
        beside = path if exists else path.parent
        beside.mkdir(parents=True, exist_ok=True)
        with workplace(beside) as staging:
            if exists:
                yield staging
                names = sorted(entry.name for entry in staging.iterdir())
                for name in names:
                    if (path / name).exists() or (path / name).is_symlink():
                        reason = "something appeared there"
                        raise FileExistsError(None, reason, str(path / name))
                put_in_place(staging, names)
            else:
                folder = staging / "season"
                folder.mkdir()
                yield folder
                os.rename(folder, path)
    except BaseException:
        for parent in made:
            with contextlib.suppress(OSError):  # not made, or in use by somebody else
                parent.rmdir()
        raise
