"""A weather source is one module in one folder; season.toml, ``weather`` and ``plan`` find it."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest
from commands import run_command as run
from season_builder import build_season

from stagecast.season.settings.settings import read_settings
from stagecast.weather import sources
from stagecast.weather.store import STORE_NAME, WeatherStore

AS_OF = "2026-07-01"

ALMANAC = '''
"""An invented service: every day of every year is alike."""

import numpy as np

from stagecast.weather.records import DayKind, Station, StationRecord
from stagecast.weather.sources import network_source


class Almanac:
    service = "almanac"

    def __init__(self, limits):
        self.attribution, self.notes = ("The Almanac (CC0)",), {"valley": ("guessed.",)}

    def cells(self, sites):
        return {"valley": tuple(sites)}

    def fetch(self, request):
        days = (request.last_day - request.first_day).days + 1
        low = 15.0 + np.arange(days) % 7
        kind = np.full(days, DayKind.OBSERVED, dtype=np.int8)
        site = request.places[0]
        valley = Station("valley", site.latitude, site.longitude)
        return [StationRecord(valley, request.first_day, low, low + 12.0, kind)]


SOURCE = network_source(Almanac)
'''

NOTEBOOK = '''
"""An invented file source: the station files lie in another folder."""

from stagecast.base.errors import Problem
from stagecast.weather.sources import WeatherSource
from stagecast.weather.sources.station_csv import read_station_folder

SOURCE = WeatherSource(
    read=lambda season: read_station_folder(season / "notebook"),
    nothing=Problem("notebook", "the notebook is empty"),
)
'''


@pytest.fixture
def added(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A second folder of source modules, as if they lay beside the others."""
    folder = tmp_path / "sources"
    folder.mkdir()
    (folder / "old_almanac.py").write_text(ALMANAC, encoding="utf-8")
    (folder / "notebook.py").write_text(NOTEBOOK, encoding="utf-8")
    monkeypatch.setattr(sources, "__path__", [*sources.__path__, str(folder)])
    for name in ("old_almanac", "notebook"):
        monkeypatch.delitem(sys.modules, f"{sources.__name__}.{name}", raising=False)
    return folder


@pytest.mark.usefixtures("added")
def test_a_service_in_one_new_file_is_fetched_from_and_planned_with(tmp_path: Path) -> None:
    """`weather` asks it for the season and its past, `plan` reads what it stored."""
    folder = build_season(
        tmp_path / "season", weather='source = "old almanac"\npast_seasons = 2', stations=()
    )
    before = run("plan", str(folder), "--as-of", AS_OF)
    assert (before.code, "stagecast weather DIR" in before.err) == (2, True)

    fetched = run("weather", str(folder), "--through", AS_OF)
    assert fetched.code == 0, fetched.err
    assert "valley: guessed." in fetched.out
    assert "The Almanac (CC0)" in fetched.out
    last = WeatherStore(folder / STORE_NAME).observed_by_year()
    assert {year for _, year in last} == {2024, 2025, 2026}

    planned = run("plan", str(folder), "--as-of", AS_OF)
    assert planned.code == 0, planned.err
    assert "F1" in planned.out


def test_a_day_that_a_service_gave_is_doubted_by_its_station(added: Path, tmp_path: Path) -> None:
    """There is no file of it that a person could mend."""
    stuck = ALMANAC.replace("np.arange(days) % 7", "np.arange(days) // 400 % 7")
    (added / "old_almanac.py").write_text(stuck, encoding="utf-8")
    folder = build_season(
        tmp_path / "season", weather='source = "old almanac"\npast_seasons = 2', stations=()
    )
    assert run("weather", str(folder), "--through", AS_OF).code == 0
    checked = run("check", str(folder), "--as-of", AS_OF)
    said = " ".join((checked.out + checked.err).split())
    assert "station valley: 2024-01-02" in said
    assert "weather/valley.csv" not in said


@pytest.mark.usefixtures("added")
def test_files_in_one_new_module_are_read_and_nothing_is_fetched(tmp_path: Path) -> None:
    """A source of files says itself what is wrong where it has nothing."""
    folder = build_season(tmp_path / "season", weather='source = "notebook"')
    empty = run("plan", str(folder), "--as-of", AS_OF)
    assert (empty.code, "the notebook is empty" in empty.err) == (2, True)

    shutil.move(folder / "weather", folder / "notebook")
    assert run("plan", str(folder), "--as-of", AS_OF).code == 0
    assert run("weather", str(folder), "--through", AS_OF).code == 0
    assert not (folder / STORE_NAME).exists()


@pytest.mark.usefixtures("added")
def test_a_refused_source_names_every_one_there_is(tmp_path: Path) -> None:
    """The default first; a helper module with a leading underscore is none."""
    folder = build_season(tmp_path / "season", weather='source = "noaa"')
    (problem,) = read_settings(folder, regions={"TN": "Tennessee"}).problems
    accepted = '"station csv" or "meteostat" or "notebook" or "old almanac"'
    assert (problem.column, problem.accepted) == ("weather.source", accepted)


def test_every_source_there_is_can_be_opened() -> None:
    """Each name leads to a module that says what it is; only the service can be connected to."""
    network = {name for name in sources.source_names() if sources.source_named(name).connect}
    assert network == {"meteostat"}


@pytest.mark.parametrize(
    ("module", "text", "words"),
    [
        ("torn", "SOURCE = WeatherSource(", "this weather source is broken (SyntaxError"),
        ("torn", "import nowhere_at_all", "this weather source is broken (ModuleNotFoundError"),
        ("torn", "SOURCES = 1", "this weather source has no SOURCE"),
        ("torn", "SOURCE = 'mine'", "this weather source has no SOURCE"),
        ("My torn-one", "SOURCE = 1 / 0", "this weather source is broken (ZeroDivisionError"),
    ],
)
def test_a_broken_source_is_one_sentence(
    module: str, text: str, words: str, added: Path, tmp_path: Path
) -> None:
    """A module that cannot be read, says nothing, or has an odd name ends in no traceback."""
    (added / f"{module}.py").write_text(text, encoding="utf-8")
    folder = build_season(tmp_path / "season", weather=f'source = "{module}"', stations=())
    for command in ("plan", "weather"):
        ran = run(command, folder, *(("--as-of", AS_OF) if command == "plan" else ()))
        assert ran.code != 0
        assert "Traceback" not in ran.err
        told = " ".join(ran.err.split())
        assert f"weather/sources/{module}.py: {words}" in told
