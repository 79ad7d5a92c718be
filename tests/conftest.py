"""Fixtures that several test files share."""

from __future__ import annotations

from pathlib import Path

import pytest
from commands import run_command

KEPT_FROM = "2024"
"""Earlier years are cut from the demo's weather: a few past seasons do, and read quicker."""


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo season with its latest years of weather; tests leave it as it is."""
    folder = tmp_path_factory.mktemp("seasons") / "demo"
    assert run_command("demo", folder).code == 0
    for file in (folder / "weather").glob("*.csv"):
        if file.name != "stations.csv":
            header, *days = file.read_text(encoding="utf-8").splitlines()
            kept = [line for line in days if line >= KEPT_FROM]
            file.write_text("\n".join([header, *kept, ""]), encoding="utf-8")
    return folder
