"""Every screen and page says what its golden file holds: the one place where wording is tested."""

from __future__ import annotations

from pathlib import Path

import golden
import pytest


@pytest.fixture(scope="module")
def scratch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the season and its pages are made."""
    return tmp_path_factory.mktemp("golden")


@pytest.mark.parametrize("name", golden.NAMES)
def test_a_screen_says_what_its_golden_file_holds(name: str, scratch: Path) -> None:
    """Proves that no word, number or order of a screen changes unseen."""
    assert golden.difference(name, golden.shown(name, scratch)) == ""


def test_each_golden_file_is_held_against_a_screen() -> None:
    """Proves that no file is left of a screen that has gone."""
    assert {file.stem for file in golden.FOLDER.glob("*")} == set(golden.NAMES)


def test_a_changed_word_is_shown_with_the_way_to_keep_it() -> None:
    """Proves that a difference names its lines and the command that writes the file anew."""
    told = golden.difference("plan", golden.kept("plan").replace("stink bugs", "stink flies"))
    assert "stink flies" in told
    assert "python tests/helpers/golden.py --write plan" in told
