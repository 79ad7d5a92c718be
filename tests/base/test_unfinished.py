"""Programs that are killed while they write: what they leave is swept, and a set is all or none."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from commands import process_environment

from stagecast.base import unfinished
from stagecast.base.errors import StoreError
from stagecast.base.savefile import NewFile, new_folder, save_file, save_files
from stagecast.base.unfinished import PREFIX, sweep, workplace

POSIX = pytest.mark.skipif(os.name != "posix", reason="killed by a signal, and rights of POSIX")
NAMES = ("a.html", "b.html", "c.html")

KILLED = """
import os, signal, sys
from pathlib import Path
from stagecast.base.savefile import NewFile, new_folder, save_files

what, place, moment = sys.argv[1], Path(sys.argv[2]), int(sys.argv[3])
calls = 0

def until_then(real):
    def call(*args, **more):
        global calls
        calls += 1
        if calls == moment:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*args, **more)
    return call

for name in ("fsync", "replace", "rename"):
    setattr(os, name, until_then(getattr(os, name)))
if what == "set":
    save_files([NewFile(place / name, b"new " + name.encode(), lambda _: True)
                for name in ("a.html", "b.html", "c.html")], gone=[place / "d.html"])
else:
    with new_folder(place) as folder:
        for name in ("a.html", "b.html", "c.html"):
            (folder / name).write_bytes(b"new " + name.encode())
print(calls)
"""


def run_until(what: str, place: Path, moment: int) -> tuple[int, str]:
    """Write in a process that kills itself before a call to the disk: its end, what it said."""
    command = [sys.executable, "-c", KILLED, what, str(place), str(moment)]
    ran = subprocess.run(
        command, capture_output=True, text=True, check=False, env=process_environment()
    )
    assert ran.returncode in (0, -signal.SIGKILL), ran.stderr
    return ran.returncode, ran.stdout.strip()


def contents(folder: Path) -> dict[str, bytes]:
    """Name -> bytes of every file of a folder; a folder in it has none."""
    return {one.name: one.read_bytes() if one.is_file() else b"" for one in folder.iterdir()}


def new(*names: str) -> list[NewFile]:
    """New files of a folder's."""
    return [
        NewFile(Path(name), f"new {Path(name).name}".encode(), lambda _: True) for name in names
    ]


@POSIX
def test_a_set_is_all_new_or_all_old_wherever_the_program_is_killed(tmp_path: Path) -> None:
    """Killed before every call to the disk in turn; after the next sweep nothing is left behind."""
    folder = tmp_path / "whole"
    folder.mkdir()
    code, calls = run_until("set", folder, 0)
    assert code == 0
    seen = set()
    for moment in range(1, int(calls) + 1):
        folder = tmp_path / str(moment)
        folder.mkdir()
        before = {name: f"old {name}".encode() for name in (*NAMES[:1], "d.html")}
        for name, data in before.items():
            (folder / name).write_bytes(data)
        code, _ = run_until("set", folder, moment)
        assert code == -signal.SIGKILL
        sweep(folder)
        after = {name: f"new {name}".encode() for name in NAMES}
        assert contents(folder) in (before, after)
        seen.add(len(contents(folder)))
    assert seen == {2, 3}, "killed both before it was ready and after"


@POSIX
@pytest.mark.parametrize("exists", [True, False])
def test_a_folder_can_be_made_after_a_killed_program(tmp_path: Path, *, exists: bool) -> None:
    """The next run is not refused for what a killed one left, and leaves nothing of it."""
    for moment in range(1, 9):
        place = tmp_path / f"at-{moment}" / "season"
        place.parent.mkdir()
        if exists:
            place.mkdir()
        code, _ = run_until("folder", place, moment)
        if code == 0:
            assert moment > 1, "it was killed at least once"
            break
        sweep(place)
        if not (exists and (place / NAMES[0]).exists()):  # else it was ready, and is there whole
            with new_folder(place) as folder:
                for name in NAMES:
                    (folder / name).write_bytes(f"new {name}".encode())
        assert contents(place) == {name: f"new {name}".encode() for name in NAMES}
        assert [one.name for one in place.parent.iterdir()] == ["season"]
    else:
        pytest.fail("it never came to its end")


def test_what_a_living_program_holds_is_left_alone(tmp_path: Path) -> None:
    """A sweep beside a program that is writing takes nothing from it; then nothing is left."""
    with workplace(tmp_path) as place:
        (place / "half").write_bytes(b"half")
        command = [
            sys.executable, "-c",
            "import sys; from pathlib import Path; from stagecast.base.unfinished import sweep; "
            "sweep(Path(sys.argv[1]))", str(tmp_path),
        ]  # fmt: skip
        subprocess.run(command, check=True, env=process_environment())
        sweep(tmp_path)
        assert (place / "half").read_bytes() == b"half"
    assert list(tmp_path.iterdir()) == []


def test_only_our_own_is_swept_and_nothing_is_moved_out_of_its_folder(tmp_path: Path) -> None:
    """A person's folder of a like name stays; names that lead elsewhere are not gone after."""
    mine = tmp_path / f"{PREFIX}notes"
    mine.mkdir()
    (mine / "letter").write_text("Dear grower", "utf-8")
    folder, outside = tmp_path / "pages", tmp_path / "outside"
    bad = folder / f"{PREFIX}bad"
    (bad / "files").mkdir(parents=True)
    (bad / "owner").touch()
    (bad / "files" / "x").write_bytes(b"x")
    (tmp_path / "kept").touch()
    names = '{"new": ["../outside", "..", 7, "x"], "gone": ["../kept", "..", 7, "y"]}'
    (bad / "ready.json").write_text(names, "utf-8")
    sweep(tmp_path)
    sweep(folder)
    assert (mine / "letter").exists()
    assert not outside.exists()
    assert (tmp_path / "kept").exists()
    assert contents(folder) == {"x": b"x"}


def test_a_set_of_which_one_cannot_be_moved_is_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A viewer that keeps a page open, say: the others are put back, a new one is gone again."""
    for name in (*NAMES[1:], "d.html"):
        (tmp_path / name).write_bytes(b"old")
    before, real = contents(tmp_path), os.replace

    def kept_open(source: Path, target: Path) -> None:
        if Path(source).parent.name == "files" and Path(target).name == NAMES[2]:
            raise PermissionError(13, "in use")
        real(source, target)

    monkeypatch.setattr(unfinished.os, "replace", kept_open)
    with pytest.raises(StoreError, match="in use"):
        save_files(new(*(str(tmp_path / name) for name in NAMES)), gone=[tmp_path / "d.html"])
    assert contents(tmp_path) == before


@POSIX
@pytest.mark.parametrize(("umask", "mode"), [(0o022, 0o644), (0o002, 0o664), (0o077, 0o600)])
def test_a_new_file_has_the_rights_that_its_owner_gives_new_files(
    umask: int, mode: int, tmp_path: Path
) -> None:
    """As other programs make them: a group's folder stays the group's, a private one private."""
    before = os.umask(umask)
    try:
        save_file(tmp_path / "a.html", b"a", is_ours=lambda _: True)
        with new_folder(tmp_path / "season") as folder:
            (folder / "x").touch()
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a.html").stat().st_mode) == mode
    assert stat.S_IMODE((tmp_path / "season").stat().st_mode) == mode | (mode & 0o444) >> 2
