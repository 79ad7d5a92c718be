"""Files written whole or not at all, and never over what is somebody else's."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from stagecast.base.errors import StoreError
from stagecast.base.savefile import save_file


def ours(beginning: bytes) -> bool:
    """Files of ours say so."""
    return beginning.startswith(b"ours")


def test_a_file_beside_it_is_never_touched(tmp_path: Path) -> None:
    """Whatever stands beside the file, under names that a program may use for a while, stays."""
    others = [tmp_path / f"week.gpx{end}" for end in (".part", ".tmp", ".bak", "~")]
    for other in others:
        other.write_text("precious", "utf-8")
    save_file(tmp_path / "week.gpx", b"ours 1", is_ours=ours)
    assert {other.read_text("utf-8") for other in others} == {"precious"}
    assert len(list(tmp_path.iterdir())) == len(others) + 1


def test_a_link_stays_a_link_and_what_it_leads_to_is_written(tmp_path: Path) -> None:
    """A calendar linked into another folder goes on there."""
    real, link = tmp_path / "real.ics", tmp_path / "link.ics"
    real.write_bytes(b"ours 1")
    link.symlink_to(real)
    save_file(link, b"ours 2", is_ours=ours)
    assert link.is_symlink()
    assert real.read_bytes() == b"ours 2"


@pytest.mark.skipif(os.name == "nt", reason="rights of files are others there")
def test_a_file_keeps_its_rights(tmp_path: Path) -> None:
    """What only its owner may read stays so."""
    path = tmp_path / "week.ics"
    save_file(path, b"ours 1", is_ours=ours)
    assert path.stat().st_mode & 0o777 == 0o644
    path.chmod(0o600)
    save_file(path, b"ours 2", is_ours=ours)
    assert path.stat().st_mode & 0o777 == 0o600


def test_what_is_not_ours_is_refused_as_it_is(tmp_path: Path) -> None:
    """A file of another kind, a folder and a link to nowhere are left alone, with what to do."""
    letter, folder, lost = tmp_path / "a.txt", tmp_path / "b", tmp_path / "c"
    letter.write_text("Dear grower", "utf-8")
    folder.mkdir()
    lost.symlink_to(tmp_path / "nowhere")
    for path in (letter, folder, lost):
        with pytest.raises(StoreError, match="is there already; choose another name, or move it"):
            save_file(path, b"ours", is_ours=ours)
    assert letter.read_text("utf-8") == "Dear grower"
    with pytest.raises(StoreError, match="there is no such folder; make the folder first"):
        save_file(tmp_path / "x" / "y.gpx", b"ours", is_ours=ours)


def test_a_name_too_long_is_told_by_that_name(tmp_path: Path) -> None:
    """The sentence names the file that was asked for, not one of ours."""
    path = tmp_path / ("n" * 400)
    with pytest.raises(StoreError) as told:
        save_file(path, b"ours", is_ours=ours)
    assert told.value.path == str(path)
    assert list(tmp_path.iterdir()) == []
