"""What is kept to save work: read only where this user wrote all of it, and never in the way."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stagecast.base.shelf import Shelf, users_folder

HOME = Path("/someone")
NAME = "0" * 48


@pytest.mark.parametrize(
    ("environ", "system", "expected"),
    [
        ({"XDG_CACHE_HOME": "/caches"}, "linux", Path("/caches/stagecast")),
        ({"XDG_CACHE_HOME": "caches"}, "linux", HOME / ".cache/stagecast"),
        ({"XDG_CACHE_HOME": ""}, "linux", HOME / ".cache/stagecast"),
        ({}, "darwin", HOME / "Library/Caches/stagecast"),
        ({}, "win32", None),
        ({"STAGECAST_CACHE": "off", "XDG_CACHE_HOME": "/caches"}, "linux", None),
    ],
)
def test_the_folder_is_where_the_system_has_caches(
    environ: dict[str, str], system: str, expected: Path | None
) -> None:
    """An absolute XDG_CACHE_HOME counts, a relative or empty one is ignored; off is off.

    Source: XDG Base Directory Specification 0.8, "Basics" and "Environment variables". The folder
    of macOS is that of Apple's File System Programming Guide ("Library/Caches").
    """
    assert users_folder(environ, home=HOME, system=system) == expected


def test_without_a_home_nothing_is_kept() -> None:
    """A user who has no home folder has no shelf either, nor one whose home is where he stands.

    He may stand in a season folder that somebody else sent, with anything in it.
    """
    for home in (None, Path(), Path("someone")):
        for system in ("linux", "darwin"):
            assert users_folder({}, home=home, system=system) is None


def test_only_the_owner_may_look_in(tmp_path: Path) -> None:
    """The folder is made for its owner alone, and gives back what was put in."""
    shelf = Shelf(tmp_path / "new" / "shelf")
    shelf.write(NAME, b"plain bytes")
    assert shelf.read(NAME) == b"plain bytes"
    assert shelf.folder.stat().st_mode & 0o777 == 0o700


def _only_file(shelf: Shelf) -> Path:
    (file,) = shelf.folder.iterdir()
    return file


@given(data=st.binary(max_size=60), cut=st.data())
def test_a_damaged_file_is_no_file(
    tmp_path_factory: pytest.TempPathFactory, data: bytes, cut: st.DataObject
) -> None:
    """Cut short anywhere, with one byte changed anywhere, or more after it: nothing is read."""
    shelf = Shelf(tmp_path_factory.mktemp("shelf"))
    shelf.write(NAME, data)
    file = _only_file(shelf)
    whole = file.read_bytes()
    at = cut.draw(st.integers(0, len(whole) - 1))
    other = bytes([whole[at] ^ cut.draw(st.integers(1, 255))])
    for damaged in (whole[:at], whole[:at] + other + whole[at + 1 :], whole + b"\0"):
        file.write_bytes(damaged)
        assert shelf.read(NAME) is None
    file.write_bytes(whole)
    assert shelf.read(NAME) == data


def test_another_name_is_another_content(tmp_path: Path) -> None:
    """A file that was kept under one name is not read under another one."""
    shelf = Shelf(tmp_path)
    shelf.write(NAME, b"yesterday")
    other = "1" * 48
    _only_file(shelf).rename(tmp_path / f"{other}.kept")
    assert shelf.read(other) is None


def test_what_others_could_have_written_is_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file or folder that others may write to, a link, another user's: not read, nor written."""
    shelf = Shelf(tmp_path / "shelf")
    shelf.write(NAME, b"ours")
    file = _only_file(shelf)
    for path, loose, tight in ((file, 0o666, 0o644), (shelf.folder, 0o777, 0o700)):
        path.chmod(loose)
        assert shelf.read(NAME) is None
        path.chmod(tight)
        assert shelf.read(NAME) == b"ours"
    shelf.folder.chmod(0o777)
    shelf.write("2" * 48, b"new")
    shelf.folder.chmod(0o700)
    assert shelf.read("2" * 48) is None
    elsewhere = file.rename(tmp_path / "elsewhere")
    file.symlink_to(elsewhere)
    assert shelf.read(NAME) is None
    file.unlink()
    elsewhere.rename(file)
    assert shelf.read(NAME) == b"ours"
    user = os.geteuid() + 1
    monkeypatch.setattr(os, "geteuid", lambda: user)
    assert shelf.read(NAME) is None


def test_a_link_that_somebody_else_made_is_not_followed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One's own link to a folder is good; another user's may lead into a season that he sent.

    What was unpacked of it belongs to this user, and could hold anything.
    """
    there, shelf = Shelf(tmp_path / "there"), Shelf(tmp_path / "shelf")
    there.write(NAME, b"bytes")
    shelf.folder.symlink_to(there.folder, target_is_directory=True)
    assert shelf.read(NAME) == b"bytes"
    made_by = os.geteuid() + 1
    found = os.lstat

    def of_another(path: Path) -> os.stat_result:
        fields = list(found(path))
        fields[stat.ST_UID] = made_by
        return os.stat_result(fields)

    monkeypatch.setattr(Path, "lstat", of_another)
    assert shelf.read(NAME) is None
    shelf.write("3" * 48, b"new")
    assert [path.name for path in there.folder.iterdir()] == [f"{NAME}.kept"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are POSIX's")
def test_a_pipe_in_the_place_of_a_file_is_not_waited_for(tmp_path: Path) -> None:
    """Nobody will ever write into it: there is nothing to read, at once."""
    os.mkfifo(tmp_path / f"{NAME}.kept", 0o600)
    found: list[object] = []
    reader = threading.Thread(target=lambda: found.append(Shelf(tmp_path).read(NAME)), daemon=True)
    reader.start()
    reader.join(30)
    assert found == [None]


def test_the_oldest_files_go(tmp_path: Path) -> None:
    """No more files and bytes than it has room for; the newest stay, with what a kill left."""
    shelf = Shelf(tmp_path, most_files=3, most_bytes=1000)
    (tmp_path / ".stagecast-left").write_bytes(b"half")
    (tmp_path / "somebody's.txt").write_bytes(b"x" * 5000)
    for number, path in enumerate(sorted(tmp_path.iterdir())):
        os.utime(path, ns=(number, number))
    for number in range(5):
        shelf.write(f"{number}", b"small")
        os.utime(tmp_path / f"{number}.kept", ns=(number + 10, number + 10))
    assert [shelf.read(f"{n}") for n in range(5)] == [None, None, b"small", b"small", b"small"]
    shelf.write("large", b"x" * 900)
    assert shelf.read("large") == b"x" * 900
    assert [shelf.read(f"{n}") for n in range(5)] == [None, None, None, None, b"small"]
    shelf.write("too large", b"x" * 1001)
    names = {path.name for path in tmp_path.iterdir()}
    assert names == {"somebody's.txt", "4.kept", "large.kept"}


def test_files_of_a_clock_that_was_ahead_keep_no_others_away(tmp_path: Path) -> None:
    """Once the clock is right again, what it dated in years to come goes first, not what is new."""
    shelf = Shelf(tmp_path, most_files=3)
    for name in ("ahead", "far ahead", "farther ahead"):
        shelf.write(name, b"old")
        year_ahead_s = (tmp_path / f"{name}.kept").stat().st_mtime + 365 * 86400
        os.utime(tmp_path / f"{name}.kept", (year_ahead_s, year_ahead_s))
    for name in ("one", "two", "three"):
        shelf.write(name, b"new")
    assert [shelf.read(name) for name in ("one", "two", "three")] == [b"new"] * 3
    assert len(list(tmp_path.iterdir())) == 3


def test_where_nothing_can_be_kept_nothing_happens(tmp_path: Path) -> None:
    """A folder that cannot be made, or a place taken by a folder: no error, and nothing to read."""
    taken = tmp_path / "a file"
    taken.write_bytes(b"")
    below = Shelf(taken / "shelf")
    below.write(NAME, b"bytes")
    assert below.read(NAME) is None
    shelf = Shelf(tmp_path / "shelf")
    (shelf.folder / f"{NAME}.kept").mkdir(parents=True)
    shelf.write(NAME, b"bytes")
    assert shelf.read(NAME) is None


def test_nobody_ever_sees_half_a_file(tmp_path: Path) -> None:
    """While two write the same name over and over, a reader has the one content or the other."""
    shelf = Shelf(tmp_path)
    contents = b"a" * 200_000, b"b" * 100_000
    shelf.write(NAME, contents[0])
    done = threading.Event()

    def write(data: bytes) -> None:
        while not done.is_set():
            shelf.write(NAME, data)

    writers = [threading.Thread(target=write, args=(data,)) for data in contents]
    for writer in writers:
        writer.start()
    try:
        seen = {shelf.read(NAME) for _ in range(200)}
    finally:
        done.set()
        for writer in writers:
            writer.join()
    assert seen <= set(contents)
