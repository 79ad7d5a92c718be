"""Fixtures that several test files share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from browser import chromium, open_page  # noqa: F401
from commands import run_command
from hypothesis import settings

# A busy machine is no fault of the code: time is measured where it is meant to be.
settings.register_profile("no clock", deadline=None)
settings.load_profile("no clock")

KEPT_GROWERS = ("Grower A", "Grower B", "Grower E")
KEPT_FROM = "2024"


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Part of the demo season, which is quicker than all of it; tests leave it as it is.

    Three growers' eleven fields are kept, which use all three stations, and the latest years of
    weather, of which two are past seasons.
    """
    folder = tmp_path_factory.mktemp("seasons") / "demo"
    assert run_command("demo", folder).code == 0
    fields = _keep(folder / "fields.csv", lambda row: row.split(",")[1] in KEPT_GROWERS)
    ids = {row.split(",")[0] for row in fields}
    _keep(folder / "visits.csv", lambda row: row.split(",")[0] in ids)
    for station in (folder / "weather").glob("DEMO*.csv"):
        _keep(station, lambda row: row >= KEPT_FROM)
    return folder


def _keep(file: Path, wanted: Callable[[str], bool]) -> list[str]:
    """Leave out the other rows of a table, and return those that are kept."""
    header, *rows = file.read_text(encoding="utf-8").splitlines()
    kept = [row for row in rows if wanted(row)]
    file.write_text("\n".join([header, *kept, ""]), encoding="utf-8")
    return kept
