"""Next year's season folder: what stays the same is taken from the last, its dates are not."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from stagecast.base.cells import table_text
from stagecast.base.errors import Problem, SeasonProblems
from stagecast.base.savefile import new_folder
from stagecast.base.tables import open_table
from stagecast.knowledge import load
from stagecast.season.boundaries import BOUNDARIES_FILE
from stagecast.season.folder import require_folder
from stagecast.season.new import readme_text
from stagecast.season.rules import place_limits
from stagecast.season.settings.settings import read_settings
from stagecast.season.settings.work import SETTINGS_FILE
from stagecast.season.tables.fields import COLUMNS, FIELDS_FILE, OPTIONAL_COLUMNS
from stagecast.season.tables.traps import TRAPS_FILE
from stagecast.season.tables.travel import TRAVEL_FILE
from stagecast.weather.store import STORE_NAME

OF_A_YEAR = (
    "planting_date", "planned", "replanted", "emergence_date", "maturity_group", "mg",
    "growth_habit",
)  # fmt: skip
"""Columns of fields.csv that are blank next year: dates, and the variety that was sown."""

AS_THEY_ARE = (
    TRAPS_FILE, TRAVEL_FILE, BOUNDARIES_FILE, STORE_NAME, f"{STORE_NAME}-wal", "weather", "pests",
)  # fmt: skip

_YEAR = re.compile(r"^(\s*year\s*=\s*)[0-9_+]+", re.MULTILINE)


def write_next_season(path: Path, last: Path, *, year: int | None = None) -> list[Path]:
    """Write a season folder with what last year's has of lasting worth.

    Fields without dates and varieties, traps with their past catches, weather, settings with
    thresholds and scouts, own pests, distances and boundaries are taken. Visits, the scouting log
    and blocked times stay with last year's.

    Parameters
    ----------
    path: A folder that does not exist yet, or is empty.
    last: last year's folder; nothing in it is written.
    year: default the year after that of ``last``.

    Returns
    -------
    list of Path
        The files and folders written.

    Raises
    ------
    SeasonProblems
        With what is wrong in season.toml or fields.csv of ``last``; or the year is not after its.
    StoreError
        As :func:`stagecast.season.new.write_new_season`.
    """
    require_folder(last)
    shipped = load()
    limits = place_limits(shipped)
    settings = read_settings(last, regions=shipped.regions, limits=limits)
    fields, problems = _fields_text(last)
    if settings.settings is None or problems:
        raise SeasonProblems([*(p for p in settings.problems if not p.doubtful), *problems])
    was = settings.settings.year
    chosen = was + 1 if year is None else year
    if chosen <= was:
        message, accepted = "not after the season it is taken from", f"a year after {was}"
        raise SeasonProblems.of("--year", message, found=str(chosen), accepted=accepted)
    toml = (last / SETTINGS_FILE).read_text(encoding="utf-8-sig")
    with new_folder(path) as folder:
        texts = {
            SETTINGS_FILE: _YEAR.sub(rf"\g<1>{chosen}", toml, count=1),
            FIELDS_FILE: fields,
            "README.txt": readme_text(chosen),
        }
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
        taken = [name for name in AS_THEY_ARE if (last / name).exists()]
        for name in taken:
            _copy(last / name, folder / name)
    return [path / name for name in (*texts, *taken)]


def _fields_text(last: Path) -> tuple[str, list[Problem]]:
    """fields.csv with every cell as it was typed but those of a year, and what is wrong with it."""
    table = open_table(last / FIELDS_FILE, label=FIELDS_FILE)
    problems = [problem for problem in table.problems if not problem.doubtful]
    own = [name for name in table.header if name not in OPTIONAL_COLUMNS]
    columns = [*own, *OPTIONAL_COLUMNS] if table.header else [*COLUMNS, *OPTIONAL_COLUMNS]
    rows = [
        ["" if name in OF_A_YEAR else cells.get(name, "") for name in columns]
        for _, cells in table.lines
    ]
    return table_text([columns, *rows], delimiter=table.delimiter), problems


def _copy(source: Path, target: Path) -> None:
    if source.is_dir():
        shutil.copytree(source, target)
    else:
        shutil.copyfile(source, target)
