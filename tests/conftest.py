"""Fixtures that several test files share."""

from __future__ import annotations

import datetime as dt
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from browser import chromium, open_page  # noqa: F401
from slow_tier import (  # noqa: F401
    chance,
    choose,
    figure,
    pytest_addoption,
    pytest_configure,
    pytest_terminal_summary,
)
from small_demo import logged_demo, small_demo

if TYPE_CHECKING:
    from stagecast.knowledge import Knowledge
    from stagecast.pages.phone.rules import FieldPlace


# No test writes to the cache of whoever runs it; those of the cache name a folder of their own.
os.environ["STAGECAST_CACHE"] = "off"


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Part of the demo season; tests leave it as it is."""
    return small_demo(tmp_path_factory.mktemp("seasons") / "demo")


@pytest.fixture(scope="session")
def logged_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The part of the demo season to which its log belongs, with it; tests leave it as it is."""
    return logged_demo(tmp_path_factory.mktemp("seasons") / "logged")


@pytest.fixture
def own_logged(logged_once: Path, tmp_path: Path) -> Path:
    """A copy of the same, of one's own."""
    return Path(shutil.copytree(logged_once, tmp_path / "season"))


@pytest.fixture(scope="module")
def planned_once() -> Iterator[None]:
    """A season is planned once for several commands on one day, until a file of it changes."""
    from stagecast.visits.season_day import SeasonDay

    kept: dict[object, SeasonDay] = {}
    open_season = SeasonDay.open

    def once(path: Path, *, as_of: dt.date, **others: Any) -> SeasonDay:
        files = (file.stat() for file in sorted(path.rglob("*")))
        key = path, as_of, tuple((file.st_mtime_ns, file.st_size) for file in files)
        if others:
            return open_season(path, as_of=as_of, **others)
        if key not in kept:
            kept[key] = open_season(path, as_of=as_of)
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(SeasonDay, "open", once)
        yield


@pytest.fixture(scope="module")
def rules_once() -> Iterator[None]:
    """The part of a field sheet that does not depend on the day is made once per knowledge."""
    kept: list[tuple[str, Knowledge, dict[str, FieldPlace], dict[str, Any]]] = []

    def once(*, region: str, knowledge: Knowledge, fields: dict[str, FieldPlace]) -> dict[str, Any]:
        for place, known, these, rules in kept:
            if (place, these) == (region, fields) and known == knowledge:
                return rules
        rules = sheet_rules(region=region, knowledge=knowledge, fields=fields)
        kept.append((region, knowledge, fields, rules))
        return rules

    from stagecast.pages.phone import sheet as sheet_data
    from stagecast.pages.phone.rules import sheet_rules

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sheet_data, "sheet_rules", once)
        yield


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """The season folders that are read from now on, and not taken from a shelf."""
    from stagecast.visits.season_day import SeasonDay

    read: list[Path] = []
    open_season = SeasonDay.open

    def counted(path: Path, **others: Any) -> SeasonDay:
        read.append(path)
        return open_season(path, **others)

    monkeypatch.setattr(SeasonDay, "open", counted)
    return read


LONG = (
    # Whole commands, processes, servers and pages; the screens are in screens/test_golden.py too.
    "cli/", "desk/", "pages/", "region/", "words/", "test_docs.py", "test_documents_run.py",
    "test_lazy_imports.py",
    "base/test_hostile_input.py", "visits/test_reentry.py", "visits/test_season_day.py",
    "visits/test_words_decide_nothing.py", "week/test_week.py", "week/test_walked_season.py",
    "screens/test_today.py", "week/test_alerts.py",
    # The network's worker, the demo's weather made anew, killed writers.
    "weather/test_meteostat_source.py", "weather/test_fixtures.py", "season/log/test_log_store.py",
    # Simulations, fits, solvers, and every pest at every stage.
    "counts/test_operating_characteristic.py", "counts/test_posterior.py",
    "counts/test_assess.py::test_every_pest_at_every_stage",
    "forecast/test_forecast.py", "forecast/test_observations.py", "forecast/test_skill.py",
    "forecast/test_simulated_stages.py",
    "phenology/test_bars.py", "phenology/test_degree_day_properties.py",
    "phenology/test_degree_days.py::test_closed_form_is_the_integral_of_the_rate",
    "phenology/test_learning.py", "phenology/test_refit_stage_model.py",
    "week/test_route_solvers.py",
)  # fmt: skip
"""What takes long; everything else is the fast tier."""


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what takes long, so that the fast tier can leave it out, and choose by tier."""
    here = Path(__file__).parent
    moved = [one for one in LONG if not (here / one.partition("::")[0]).exists()]
    assert not moved, f"these have moved: {moved}"
    for item in items:
        if item.nodeid.removeprefix("tests/").startswith(LONG):
            item.add_marker(pytest.mark.long)
    choose(config, items)
