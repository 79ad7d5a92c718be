"""A small season at the desk, and both sides of it; a test file may have its own in their place."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_season import TestClient, build, client_of
from desk_server import served


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The season, which tests copy."""
    return build(tmp_path_factory.mktemp("built") / "season")


@pytest.fixture
def season(built: Path, tmp_path: Path) -> Path:
    """A copy of it to log into and to change."""
    return Path(shutil.copytree(built, tmp_path / "season"))


@pytest.fixture
def client(season: Path) -> TestClient:
    """A browser's side of the desk of that copy."""
    return client_of(season)


@pytest.fixture
def address(season: Path) -> Iterator[str]:
    """Where the desk of that copy is, for a real browser."""
    with served(season) as found:
        yield found
