"""Write the invented demo season: copied from the files that ship with the project."""

from __future__ import annotations

import shutil
from pathlib import Path

import stagecast
from stagecast.errors import StoreError

_SEASON_FILES = ("season.toml", "fields.csv", "visits.csv", "README.md")


def write_demo(folder: Path) -> str:
    """Copy the demo season and its weather; leave an existing folder as it is.

    Returns
    -------
    str
        What was done, in one sentence.

    Raises
    ------
    StoreError
        When the folder cannot be written, or the demo files are not installed.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        if (folder / "season.toml").exists():
            return f"{folder} is there already and was left as it is."
        raise StoreError(
            str(folder), "something else is there already", next_step="name another folder"
        )
    demo, weather = _shipped("demo"), _shipped("weather_fixtures")
    try:
        (folder / "weather").mkdir(parents=True, exist_ok=True)
        for name in _SEASON_FILES:
            shutil.copyfile(demo / name, folder / name)
        for file in sorted(weather.glob("*.csv")):
            shutil.copyfile(file, folder / "weather" / file.name)
    except OSError as error:
        raise StoreError(
            str(folder), error.strerror or str(error), next_step="name a folder you may write in"
        ) from error
    return f"Wrote an invented season to {folder}: places, growers and weather are made up."


def _shipped(name: str) -> Path:
    """The folder in an installed wheel, else in the repository."""
    package = Path(stagecast.__file__).parent
    for folder in (package / f"_{name}", package.parent / name):
        if folder.is_dir():
            return folder
    raise StoreError(name, "the demo files are not installed", next_step="install stagecast anew")
