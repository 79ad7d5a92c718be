"""Part of the demo season, which is quicker than all of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from commands import run_command

KEPT_GROWERS = ("Grower A", "Grower B", "Grower E")
KEPT_FROM = "2024"

LOGGED_GROWERS = ("Grower B", "Grower C", "Grower D")
"""Those to whose fields the demo's log belongs."""


def small_demo(folder: Path, growers: Sequence[str] = KEPT_GROWERS) -> Path:
    """Write the fields of some growers and the latest years of weather, two of them past seasons.

    The growers who are kept unless others are named have eleven fields, on all three stations.
    """
    assert run_command("demo", folder).code == 0
    fields = _keep(folder / "fields.csv", lambda row: row.split(",")[1] in growers)
    ids = {row.split(",")[0] for row in fields}
    _keep(folder / "visits.csv", lambda row: row.split(",")[0] in ids)
    for station in (folder / "weather").glob("DEMO*.csv"):
        _keep(station, lambda row: row >= KEPT_FROM)
    return folder


def logged_demo(folder: Path) -> Path:
    """The fields to which the demo's log belongs, with that log."""
    made = small_demo(folder, LOGGED_GROWERS)
    ran = run_command("log", "import", made, made / "log.csv")
    assert ran.code == 0, ran.err
    return made


def _keep(file: Path, wanted: Callable[[str], bool]) -> list[str]:
    """Leave out the other rows of a table, and return those that are kept."""
    header, *rows = file.read_text(encoding="utf-8").splitlines()
    kept = [row for row in rows if wanted(row)]
    file.write_text("\n".join([header, *kept, ""]), encoding="utf-8")
    return kept
