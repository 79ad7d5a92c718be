"""Broken season folders through the commands: exit code 2, one sentence, nothing written."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from broken import BROKEN, GOOD, STATION, Case, build
from commands import run_command
from season_builder import snapshot, write_weather

AS_OF = "2026-06-20"
"""A whole past year and this one up to the day asked for, within a few km of every field."""

PLACES, READINGS = Path("weather", "stations.csv"), Path("weather", "S1.csv")


def season(folder: Path, case: Case | None = None) -> Path:
    """The good season, or one broken in one place, with weather that has nothing wrong."""
    write_weather(build(folder, case.changes if case else None), [STATION])
    return folder


@pytest.mark.parametrize("command", ["check", "plan"])
def test_the_good_season_passes(command: str, tmp_path: Path) -> None:
    """What all cases mutate is itself accepted: the only fault in them is their own."""
    ran = run_command(command, season(tmp_path), "--as-of", AS_OF)
    assert (ran.code, ran.err) == (0, "")


@pytest.mark.parametrize("command", ["check", "plan"])
@pytest.mark.parametrize("case", BROKEN, ids=lambda case: case.name)
def test_a_fault_is_one_sentence_and_exit_code_2(case: Case, command: str, tmp_path: Path) -> None:
    """Each fault, met by a command, is told in one line at its place; nothing else happens.

    Nothing is printed as if it were a result, there is no traceback, and no file changes.
    """
    folder = season(tmp_path, case)
    before = snapshot(folder)
    ran = run_command(command, folder, "--as-of", AS_OF)
    told, silent = (ran.out, ran.err) if command == "check" else (ran.err, ran.out)
    assert ran.code == 2
    assert silent == ""
    assert told.count("\n") == 1
    assert told.endswith("\n")
    place, _, rest = told.partition(": ")
    assert place == case.place
    for word in case.words:
        assert word in rest
    assert snapshot(folder) == before


# --- weather --------------------------------------------------------------------------------


@dataclass(frozen=True)
class WeatherCase:
    """A good season whose weather, or what it says of weather, is broken.

    ``places`` is how each sentence begins, in order; ``words`` stand in every one. ``going_on``
    are the fields that are forecast nevertheless; ``doubts`` are patterns of what `check` doubts.
    """

    name: str
    spoil: Callable[[Path], object]
    places: tuple[str, ...]
    words: tuple[str, ...] = ()
    going_on: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()


def _replace(file: Path, old: str, new: str) -> Callable[[Path], object]:
    def spoil(folder: Path) -> None:
        text = (folder / file).read_text("utf-8")
        assert text.count(old) == 1
        (folder / file).write_text(text.replace(old, new), "utf-8")

    return spoil


def _days(change: Callable[[str], str | None]) -> Callable[[Path], object]:
    """Change each line of the station's days; None leaves it out."""

    def spoil(folder: Path) -> None:
        header, *days = (folder / READINGS).read_text("utf-8").splitlines()
        kept = [line for day in days if (line := change(day)) is not None]
        (folder / READINGS).write_text("\n".join([header, *kept, ""]), "utf-8")

    return spoil


def _warm_word(line: str) -> str:
    day, _, tmax = line.split(",")
    return f"{day},warm,{tmax}" if day == "2026-05-15" else line


def _both_units(folder: Path) -> None:
    header, *days = (folder / READINGS).read_text("utf-8").splitlines()
    both = [f"{header},tmin_f,tmax_f", *(f"{line},50,70" for line in days), ""]
    (folder / READINGS).write_text("\n".join(both), "utf-8")


def _day_again(folder: Path) -> None:
    with (folder / READINGS).open("a", encoding="utf-8") as stream:
        stream.write("2026-05-15,1.0,20.0\n")


def _upside_down(line: str) -> str:
    day, tmin, tmax = line.split(",")
    return f"{day},{tmax},{tmin}"


def _without(first: str, last: str) -> Callable[[str], str | None]:
    return lambda line: None if first <= line[:10] <= last else line


def _refusing(folder: Path) -> None:
    _replace(Path("season.toml"), 'gap_policy = "bridge"', 'gap_policy = "refuse"')(folder)
    _days(_without("2026-06-10", "2026-06-10"))(folder)


def _no_folder(folder: Path) -> None:
    (folder / PLACES).unlink()
    (folder / READINGS).unlink()
    (folder / "weather").rmdir()


def _chosen_station(folder: Path) -> None:
    rows = GOOD["fields.csv"].splitlines()
    rows = [f"{rows[0]},station", f"{rows[1]},S9", *(f"{row}," for row in rows[2:]), ""]
    (folder / "fields.csv").write_text("\n".join(rows), "utf-8")


EACH_FIELD = tuple(f"fields.csv line {i + 1} (field F{i})" for i in (1, 2, 3))
ALL_AT_ONCE, THE_OTHERS = EACH_FIELD[:1], "; the same for F2, F3;"
_PLACE_LINE = "S1,36.15,-89.3,100.0"

WEATHER = [
    WeatherCase("no weather folder", _no_folder, ("weather/stations.csv",), ("put stations.csv",)),
    WeatherCase(
        "no stations.csv",
        lambda folder: (folder / PLACES).unlink(),
        ("weather/stations.csv", "weather/S1.csv"),
    ),
    WeatherCase(
        "stations.csv without stations",
        _replace(PLACES, _PLACE_LINE, ""),
        ("weather/stations.csv", "weather/S1.csv"),
    ),
    WeatherCase(
        "station without a file",
        _replace(PLACES, _PLACE_LINE, f"{_PLACE_LINE}\nS2,36.1,-89.2,90"),
        ("weather/S2.csv",),
        ("no such file",),
    ),
    WeatherCase(
        "station outside the globe",
        _replace(PLACES, "36.15", "361.5"),
        ("weather/stations.csv line 2, latitude",),
        ("'361.5'", "-90 to 90"),
    ),
    WeatherCase(
        "station id that leaves the folder",
        _replace(PLACES, "S1,", "../S1,"),
        ("weather/stations.csv line 2, station", "weather/S1.csv"),
    ),
    WeatherCase(
        "temperature in words",
        _days(_warm_word),
        ("weather/S1.csv line 501, tmin_c",),
        ("not a number", "'warm'"),
    ),
    WeatherCase("both units", _both_units, ("weather/S1.csv line 1",), ("degC and degF",)),
    WeatherCase(
        "day twice, different",
        _day_again,
        ("weather/S1.csv line 538, date",),
        ("2026-05-15", "line 501", "different values"),
    ),
    WeatherCase(
        "day first",
        _days(lambda line: line.replace("2026-05-15", "15/5/2026")),
        ("weather/S1.csv line 501, date",),
        ("'15/5/2026'", "month/day/year"),
    ),
    WeatherCase(
        "a workbook",
        lambda folder: (folder / READINGS).write_bytes(b"PK\x03\x04rest"),
        ("weather/S1.csv",),
        ("workbook", "CSV"),
    ),
    WeatherCase(
        "an empty station file",
        lambda folder: (folder / READINGS).write_bytes(b""),
        ("weather/S1.csv",),
        ("empty",),
    ),
    WeatherCase(
        "tmin above tmax on every day",
        _days(_upside_down),
        ALL_AT_ONCE,
        ("S1", THE_OTHERS),
        doubts=(
            r"weather/S1\.csv: 2025-01-01 to 2026-06-20: tmin is above tmax; 536 days taken as "
            r"missing; found 'tmin -?[0-9.]+, tmax -?[0-9.]+ degC'",
        ),
    ),
    WeatherCase(
        "a hole too long to bridge",
        _days(_without("2026-06-05", "2026-06-12")),
        ALL_AT_ONCE,
        ("S1", "2026-06-05 to 2026-06-12 missing", THE_OTHERS),
    ),
    WeatherCase(
        "a hole of a day, gaps refused",
        _refusing,
        ALL_AT_ONCE,
        ("S1", "2026-06-10 to 2026-06-10 missing", THE_OTHERS),
    ),
    WeatherCase(
        "no past season",
        _days(_without("2025-01-01", "2025-12-31")),
        ALL_AT_ONCE,
        ("S1", "no past season", THE_OTHERS),
    ),
    WeatherCase(
        "no station in reach",
        _replace(PLACES, "36.15", "46.15"),
        EACH_FIELD,
        ("no station lies within", "km"),
    ),
    WeatherCase(
        "unknown station chosen",
        _chosen_station,
        ("fields.csv line 2, station (field F1)",),
        ("'S9'", "accepted: S1"),
        going_on=("F2", "F3"),
    ),
]


@pytest.mark.parametrize("command", ["check", "plan"])
@pytest.mark.parametrize("case", WEATHER, ids=lambda case: case.name)
def test_broken_weather_names_its_file(case: WeatherCase, command: str, tmp_path: Path) -> None:
    """Weather that cannot be used is exit code 2, one line per file, field or cause it stops.

    Fields it does not stop are forecast; where it stops all, nothing but doubts is printed.
    """
    folder = season(tmp_path)
    case.spoil(folder)
    before = snapshot(folder)
    ran = run_command(command, folder, "--as-of", AS_OF)
    assert ran.code == 2
    shown, told = ran.out.splitlines(), ran.err.splitlines()
    if command == "check":  # its report is all of it
        assert told == []
        shown, told = shown[: -len(case.places)], shown[-len(case.places) :]
    printed = " ".join(" ".join(shown).split())
    if case.going_on and command == "check":
        assert f"3 fields, {len(case.places)} wrong, 1 doubtful" in printed
    elif case.going_on:
        forecast = printed.partition(" The week")[0]
        assert {f"F{i}" for i in (1, 2, 3) if f" F{i} " in forecast} == set(case.going_on)
    else:
        start, *doubts = printed.split("doubtful: ")
        assert start == ""
        assert len(doubts) == (len(case.doubts) if command == "check" else 0)
        for doubt, pattern in zip(doubts, case.doubts, strict=False):
            assert re.fullmatch(pattern, doubt.strip())
    assert [line.partition(": ")[0] for line in told] == list(case.places)
    for word in case.words:
        assert all(word in line for line in told)
    assert snapshot(folder) == before


def test_faults_of_season_and_weather_are_told_together(tmp_path: Path) -> None:
    """One run is enough to learn of a wrong setting, a wrong field and a wrong temperature."""
    folder = season(tmp_path)
    _replace(Path("season.toml"), '"us"', '"imperial"')(folder)
    _replace(Path("fields.csv"), "45.5", "-45.5")(folder)
    _days(_warm_word)(folder)
    ran = run_command("check", folder, "--as-of", AS_OF)
    assert ran.code == 2
    assert [line.partition(": ")[0] for line in ran.out.splitlines()] == [
        "season.toml line 2, units",
        "fields.csv line 3, area_acres (field F2)",
        "weather/S1.csv line 501, tmin_c",
    ]
