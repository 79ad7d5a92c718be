"""Write the invented demo season: copied from the files that ship with the project."""

from __future__ import annotations

import shutil
from pathlib import Path

import stagecast
from stagecast.errors import StoreError
from stagecast.season.staging import new_folder

_SEASON_FILES = ("fields.csv", "visits.csv", "traps.csv", "log.csv", "README.md", "season.toml")


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
    with new_folder(folder) as made:
        (made / "weather").mkdir()
        for file in sorted(weather.glob("*.csv")):
            shutil.copyfile(file, made / "weather" / file.name)
        for name in _SEASON_FILES:
            shutil.copyfile(demo / name, made / name)
    return f"Wrote an invented season to {folder}: places, growers and weather are made up."


def _shipped(name: str) -> Path:
    """The folder in an installed wheel, else in the repository."""
    package = Path(stagecast.__file__).parent
    for folder in (package / f"_{name}", package.parent / name):
        if folder.is_dir():
            return folder
    raise StoreError(name, "the demo files are not installed", next_step="install stagecast anew")
