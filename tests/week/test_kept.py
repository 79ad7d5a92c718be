"""A season that is kept is found again only while nothing that it was made of has changed."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from commands import process_environment
from log_builder import sets_of, visit
from season_builder import FieldLine, StationFile, VisitLine, build_season, day

from stagecast.base.packed import packed, unpacked
from stagecast.base.shelf import Shelf
from stagecast.season.locks import Lock, keep_locks
from stagecast.season.log.store import LogStore
from stagecast.visits.season_day import SeasonDay
from stagecast.weather.sources import source_named
from stagecast.weather.store import WeatherStore
from stagecast.week import kept
from stagecast.week.kept import PACKAGE, name_of, season_on
from stagecast.week.week import walk_of

TODAY = day(7, 7)
ENTERED = dt.datetime(2026, 7, 6, 20)


@pytest.fixture(scope="module")
def everything(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season folder that has every file that one may have."""
    folder = build_season(
        tmp_path_factory.mktemp("kept") / "season",
        fields=[FieldLine("F1"), FieldLine("F2", day(5, 20), latitude=36.03)],
        stations=[StationFile(first=dt.date(2024, 1, 1), last=TODAY)],
        visits=[VisitLine("F1", day(6, 29), stage="R1")],
    )
    logged = visit(day(7, 2), sets_of("bean-leaf-beetle", [3, 5, 4]), stage="R2")
    LogStore(folder / "scouting.sqlite").add([logged], entered_at=ENTERED)
    keep_locks(folder, {"F2": Lock(day=TODAY)}, as_of=TODAY)
    own = (PACKAGE / "knowledge/pests/bean-leaf-beetle.toml").read_text(encoding="utf-8")
    ahead = [f"2026-07-08,{member},18,3{member}" for member in range(9)]
    for name, lines in {
        "traps.csv": ["trap,date,pest,catch", "S1,2026-06-30,corn earworm,3"],
        "blocked.csv": ["field_id,first_date,last_date,from_time,to_time", "F1,2026-07-08,,,"],
        "travel.csv": ["from,to,minutes", "F1,F2,25"],
        "pests/bean-leaf-beetle.toml": [own],
        "weather/S1.members.csv": ["date,member,tmin_c,tmax_c", *ahead],
    }.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text("\n".join([*lines, ""]), encoding="utf-8")
    return folder


@pytest.fixture
def season(everything: Path, tmp_path: Path) -> Path:
    """A copy of the same, of one's own."""
    return Path(shutil.copytree(everything, tmp_path / "season"))


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    """An empty shelf."""
    return Shelf(tmp_path / "shelf")


def _kept(season: Path, shelf: Shelf | None, as_of: dt.date = TODAY) -> SeasonDay:
    return season_on(season, as_of=as_of, shelf=shelf, routed=True)


def _told(season: SeasonDay) -> dict[str, object]:
    """What a season says of its fields."""
    return {one.field_id: (repr(walk_of(one)), repr(one.visit)) for one in season.fields}


def test_the_second_time_nothing_is_read(season: Path, shelf: Shelf, opened: list[Path]) -> None:
    """What was kept answers alone, with its route, and says what the season itself says."""
    first = _kept(season, shelf)
    second = _kept(season, shelf)
    assert opened == [season]
    assert second is not first
    assert "route" in second._kept
    assert _told(second) == _told(first) == _told(_kept(season, None))


def test_a_season_without_its_route_is_not_kept(
    season: Path, shelf: Shelf, opened: list[Path]
) -> None:
    """A command that shows no route keeps nothing; it takes what another one has kept."""
    for _ in range(2):
        season_on(season, as_of=TODAY, shelf=shelf, routed=False)
    assert opened == [season, season]
    _kept(season, shelf)
    season_on(season, as_of=TODAY, shelf=shelf, routed=False)
    assert len(opened) == 3


# --- every input ----------------------------------------------------------------------------------


def _one_byte(name: str) -> Callable[[Path], None]:
    def change(season: Path) -> None:
        raw = bytearray((season / name).read_bytes())
        raw[-1] ^= 1
        (season / name).write_bytes(raw)

    return change


def _new(name: str) -> Callable[[Path], None]:
    return lambda season: (season / name).write_bytes(b"")


FILES = (
    "season.toml", "fields.csv", "visits.csv", "traps.csv", "blocked.csv", "travel.csv",
    "locks.json", "scouting.sqlite", "pests/bean-leaf-beetle.toml", "weather/S1.csv",
    "weather/stations.csv", "weather/S1.members.csv",
)  # fmt: skip
ONES = {
    **{f"{name} changed": _one_byte(name) for name in FILES},
    **{f"{name} gone": lambda season, name=name: (season / name).unlink() for name in FILES},
    **{f"{name} new": _new(name) for name in ("weather.sqlite", "scouting.sqlite-wal")},
    "pests/own.toml new": _new("pests/own.toml"),
    "weather/S2.csv new": _new("weather/S2.csv"),
    "weather/S1.csv renamed": lambda season: (season / "weather/S1.csv").rename(
        season / "weather/S3.csv"
    ),
}


@pytest.mark.parametrize("what", ONES)
def test_a_byte_of_any_file_is_another_season(season: Path, shelf: Shelf, what: str) -> None:
    """One byte of one file, a file more or less: what was kept before is not found."""
    before = name_of(season, TODAY)
    assert before == name_of(season, TODAY)
    ONES[what](season)
    assert name_of(season, TODAY) not in (before, None)


def test_every_file_is_one_of_those(everything: Path) -> None:
    """The files that the test above changes are all that the folder has."""
    names = {path.relative_to(everything).as_posix() for path in everything.rglob("*.*")}
    assert names == set(FILES)


CHANGES: dict[str, tuple[str, str, str]] = {
    "planted later": ("fields.csv", "2026-05-20", "2026-05-28"),
    "nobody works on Tuesdays": ("season.toml", '"tue", ', ""),
    "another stage seen": ("visits.csv", ",R1,", ",R3,"),
    "closed on another day": ("blocked.csv", "2026-07-08", "2026-07-07"),
    "put on another day": ("locks.json", "2026-07-07", "2026-07-09"),
}


@pytest.mark.parametrize("what", CHANGES)
def test_what_was_changed_is_told(season: Path, shelf: Shelf, what: str) -> None:
    """After a change that matters the answer is the new one, and another one than before."""
    before = _told(_kept(season, shelf))
    name, old, new = CHANGES[what]
    text = (season / name).read_text(encoding="utf-8")
    assert old in text
    (season / name).write_text(text.replace(old, new), encoding="utf-8")
    now = _told(_kept(season, shelf))
    assert now == _told(_kept(season, None))
    assert now != before


def test_a_visit_that_is_logged_is_told(season: Path, shelf: Shelf) -> None:
    """A visit entered after the morning was kept moves the field's next visit."""
    before = _told(_kept(season, shelf))
    log = LogStore(season / "scouting.sqlite")
    log.add([visit(TODAY, sets_of("bean-leaf-beetle", [0, 0]))], entered_at=ENTERED)
    now = _told(_kept(season, shelf))
    assert now == _told(_kept(season, None)) != before


def test_another_day_is_another_season(season: Path, shelf: Shelf, opened: list[Path]) -> None:
    """Each day asked for is worked out for itself, and both are kept."""
    for as_of in (TODAY, day(7, 6), TODAY, day(7, 6)):
        assert _kept(season, shelf, as_of).as_of == as_of
    assert len(opened) == 2


def test_the_same_folder_elsewhere_is_another_season(
    season: Path, shelf: Shelf, opened: list[Path], tmp_path: Path
) -> None:
    """A copy of a folder is not told by the first one's name."""
    copy = Path(shutil.copytree(season, tmp_path / "copy"))
    _kept(season, shelf)
    assert _kept(copy, shelf).loaded.season.path == copy
    assert opened == [season, copy]


@pytest.mark.parametrize("name", ["mornings.json", "alerts.json", "pages/overview.html", "a.gpx"])
def test_what_commands_write_is_no_input(season: Path, name: str) -> None:
    """What a morning is told, alerts, pages and routes beside the season change nothing."""
    before = name_of(season, TODAY)
    (season / name).parent.mkdir(exist_ok=True)
    (season / name).write_bytes(b"written")
    assert name_of(season, TODAY) == before


def test_our_own_code_and_knowledge_are_inputs(season: Path, tmp_path: Path) -> None:
    """One byte of a module or of a file of knowledge, and nothing that was kept before is found."""
    package = tmp_path / "package"
    (package / "knowledge").mkdir(parents=True)
    files = package / "code.py", package / "knowledge" / "pest.toml"
    for file in files:
        file.write_bytes(b"1")
    seen = {name_of(season, TODAY, package=package), name_of(season, TODAY)}
    for file in files:
        file.write_bytes(b"2")
        seen.add(name_of(season, TODAY, package=package))
    (package / "__pycache__").mkdir()
    (package / "__pycache__" / "code.py").write_bytes(b"3")
    assert name_of(season, TODAY, package=package) in seen
    assert len(seen) == 4


def test_the_libraries_are_inputs(
    season: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A library that comes, goes or has another version is another season."""
    monkeypatch.setattr(kept, "LIBRARIES", ("invented_solver",))
    monkeypatch.syspath_prepend(tmp_path)
    seen = [name_of(season, TODAY)]
    (tmp_path / "invented_solver").mkdir()
    (tmp_path / "invented_solver" / "__init__.py").touch()
    for version in ("1.0", "1.1"):
        shutil.rmtree(tmp_path / "invented_solver-1.0.dist-info", ignore_errors=True)
        (tmp_path / f"invented_solver-{version}.dist-info").mkdir()
        seen.append(name_of(season, TODAY))
    assert len(set(seen)) == 3


def test_a_file_that_changes_while_it_is_read_is_not_kept(
    season: Path, shelf: Shelf, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody saves fields.csv while a plan is made: it is not kept under the old content."""
    before = name_of(season, TODAY)
    open_season = SeasonDay.open

    def saved_meanwhile(path: Path, **others: Any) -> SeasonDay:
        _one_byte("visits.csv")(season)
        return open_season(path, **others)

    _one_byte("visits.csv")(season)
    with monkeypatch.context() as patch:
        patch.setattr(SeasonDay, "open", saved_meanwhile)
        _kept(season, shelf)
    assert name_of(season, TODAY) == before
    assert not list(shelf.folder.glob("*"))


READ = """
import datetime as dt, json, os, sys
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname
from stagecast.visits.season_day import SeasonDay
from stagecast.week.week import season_route
season, read = Path(sys.argv[1]), set()
def watch(event, given):
    if event in ("open", "sqlite3.connect", "os.listdir", "os.scandir") and given:
        if isinstance(given[0], (str, bytes, os.PathLike)):
            name = os.fsdecode(given[0])
            read.add((event, url2pathname(urlsplit(name).path) if "file:" in name else name))
sys.addaudithook(watch)
route = season_route(SeasonDay.open(season, as_of=dt.date(2026, 7, 7)))
assert route.stops
print(json.dumps(sorted(read)))
"""


@pytest.mark.parametrize("source", ["station csv", "meteostat"])
def test_nothing_else_is_read(season: Path, source: str) -> None:
    """Every file that is opened for a season takes part in its name, whatever its source.

    Outside of the season folder nothing is opened but code, ours and that of libraries.
    """
    if source != "station csv":
        _store_weather(season, source)
    ran = subprocess.run(
        [sys.executable, "-c", READ, str(season)],
        env=process_environment(), capture_output=True, check=True, text=True, timeout=600,
    )  # fmt: skip
    read = {(event, Path(name)) for event, name in json.loads(ran.stdout)}
    inside = {(event, path) for event, path in read if path.is_relative_to(season)}
    files = {path for event, path in inside if event in ("open", "sqlite3.connect")}
    named = {season / name for name, _ in kept._folder_content(season)}
    assert {path for path in files if path.exists()} <= named
    store = set() if source == "station csv" else {"weather.sqlite"}
    assert files >= {season / n for n in {"fields.csv", "locks.json", "scouting.sqlite"} | store}
    listed = {path for event, path in inside if event in ("os.listdir", "os.scandir")}
    assert listed <= {season / folder for folder in kept.FOLDERS}
    code = (sys.prefix, sys.base_prefix, str(PACKAGE), "/dev", "/proc", "/sys")
    outside = {path for event, path in read - inside if event == "open"}
    assert {path for path in outside if not str(path).startswith(code)} == set()


def _store_weather(season: Path, source: str) -> None:
    """Let the season's temperatures come from the store instead of a station file."""
    records = source_named("station csv").read(season).records
    store = WeatherStore(season / "weather.sqlite")
    store.save(records, fetched_on=TODAY, source="invented")
    settings = season / "season.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace("[weather]", f'[weather]\nsource = "{source}"'), "utf-8")


# --- what is damaged, or somebody else's ----------------------------------------------------------


class _Payload:
    """What makes a file as soon as it is unpickled."""

    def __init__(self, marker: Path) -> None:
        self.marker = marker

    def __reduce__(self) -> tuple[Callable[[Path], None], tuple[Path]]:
        return Path.touch, (self.marker,)


def test_nothing_in_a_season_folder_is_unpickled(
    season: Path, shelf: Shelf, tmp_path: Path
) -> None:
    """What somebody put into a folder that he sent, under any name that is used, is never run."""
    name, marker = str(name_of(season, TODAY)), tmp_path / "was run"
    payload = packed(_Payload(marker))
    assert payload is not None
    planted = Shelf(season)
    planted.write(name, payload)
    for folder in (".stagecast", ".cache/stagecast", "stagecast"):
        Shelf(season / folder).write(name, payload)
    assert planted.read(name) is not None
    assert name_of(season, TODAY) == name
    for _ in range(2):
        _kept(season, shelf)
    assert not marker.exists()
    unpacked(b"".join(payload))
    assert marker.exists()  # so it would have been seen


@pytest.mark.parametrize(
    "raw", [b"", b"garbage", b"".join(packed(42) or []), b"".join(packed([None] * 9) or [])[:-3]]
)
def test_what_holds_no_season_is_worked_out(
    season: Path, shelf: Shelf, opened: list[Path], raw: bytes
) -> None:
    """Bytes on the shelf that are no season are passed over without a word, and replaced."""
    shelf.write(str(name_of(season, TODAY)), raw)
    first = _kept(season, shelf)
    assert _told(_kept(season, shelf)) == _told(first)
    assert opened == [season]


def test_without_a_place_the_season_is_told_all_the_same(season: Path, tmp_path: Path) -> None:
    """Where nothing can be kept, and in a folder that may not be written to, all is as ever."""
    (tmp_path / "file").touch()
    blocked = Shelf(tmp_path / "file" / "shelf")
    before = sorted(os.listdir(season))
    assert _told(_kept(season, blocked)) == _told(_kept(season, None))
    assert sorted(os.listdir(season)) == before
