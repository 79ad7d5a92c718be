"""A page as PDF where it can be made; one sentence, and no file, where it cannot."""

from __future__ import annotations

import importlib
import importlib.util
import sys
from pathlib import Path

import pytest
from commands import run_command

from stagecast.base.errors import SeasonProblems
from stagecast.pages.pdf import pdf_bytes

PAGES = [("brief", "F05"), ("letter", "Grower B")]


@pytest.mark.parametrize(("command", "whose"), PAGES)
def test_a_page_is_written_as_pdf(demo: Path, tmp_path: Path, command: str, whose: str) -> None:
    """Proves that --pdf writes a PDF."""
    try:
        pdf_bytes("<p>page</p>")
    except SeasonProblems as error:
        pytest.skip(str(error))
    path = tmp_path / "page.pdf"
    ran = run_command(command, demo, whose, "--pdf", "-o", path, "--as-of", "2026-07-07")
    assert (ran.code, ran.err) == (0, "")
    assert path.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(("command", "whose"), PAGES)
def test_without_weasyprint_it_says_what_to_install(
    demo: Path, tmp_path: Path, command: str, whose: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Proves that without WeasyPrint one sentence says so, and nothing is written."""
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    path = tmp_path / "page.pdf"
    ran = run_command(command, demo, whose, "--pdf", "-o", path, "--as-of", "2026-07-07")
    assert ran.code == 2
    assert 'pip install "stagecast[pdf]"' in ran.err
    assert ran.err.count("\n") == 1
    assert not path.exists()


def test_without_pango_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Proves that where only the libraries below WeasyPrint are missing, those are named."""

    def no_library(name: str) -> None:
        raise OSError(f"cannot load library of {name}")

    monkeypatch.setattr(importlib.util, "find_spec", lambda name: name)
    monkeypatch.setattr(importlib, "import_module", no_library)
    with pytest.raises(SeasonProblems, match="does not find the libraries it needs") as raised:
        pdf_bytes("<p>page</p>")
    assert "Pango" in str(raised.value.problems[0].next_step)
