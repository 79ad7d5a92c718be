"""Edges of the map and of the calendar: the commands of a morning hold, or refuse in a sentence."""

from __future__ import annotations

import datetime as dt
import os
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from commands import run_command
from season_builder import FieldLine, StationFile, build_season, day

MORNING = ("today", "plan", "week")
LEAP = 2028


def mornings(folder: Path, as_of: dt.date) -> dict[str, str]:
    """What each command of the morning says; each must come to its end without a complaint."""
    told = {}
    for command in MORNING:
        ran = run_command(command, folder, "--as-of", as_of.isoformat())
        assert ran.code == 0, ran.err
        assert "Traceback" not in ran.err
        told[command] = ran.out
    return told


@pytest.mark.parametrize("latitude", [-33.0, 60.0, -60.0])
@pytest.mark.parametrize("command", [*MORNING, "check"])
def test_a_latitude_that_the_crop_model_does_not_cover_is_refused_in_one_sentence(
    command: str, latitude: float, tmp_path: Path
) -> None:
    """South of the equator and at 60 N: the file, the line, the value and what is accepted.

    Day length and seasons are checked from 25 to 50 N alone (fields.toml, our own limit).
    """
    folder = build_season(tmp_path, fields=[replace(FieldLine(), latitude=latitude)])
    ran = run_command(command, folder, "--as-of", "2026-07-06")
    assert ran.code == 2
    (told,) = [line for line in (ran.out + ran.err).splitlines() if "fields.csv line 2" in line]
    assert "latitude" in told
    assert f"{latitude:g}" in told
    assert "25 to 50" in " ".join((ran.out + ran.err).split())


@pytest.fixture
def chicago() -> Iterator[None]:
    """A computer whose clock changes for summer on 8 March and back on 1 November 2026."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = "America/Chicago"
    time.tzset()
    yield
    os.environ.pop("TZ")
    if before is not None:
        os.environ["TZ"] = before
    time.tzset()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone cannot be set there")
@pytest.mark.usefixtures("chicago")
@pytest.mark.parametrize("as_of", [day(3, 7), day(3, 8), day(10, 31), day(11, 1), day(11, 2)])
def test_the_mornings_around_a_change_of_the_clock(as_of: dt.date, tmp_path: Path) -> None:
    """A day of 23 or 25 hours is a day: the commands hold, and name the day they were asked for."""
    told = mornings(build_season(tmp_path), as_of)
    for command in ("plan", "week"):
        assert f"{as_of.day} {as_of:%b}" in told[command]


@pytest.mark.parametrize("as_of", [day(1, 1), day(12, 31), dt.date(2027, 1, 1)])
def test_the_turn_of_the_year(as_of: dt.date, tmp_path: Path) -> None:
    """On the first and the last day of the season's year, and on the day after it."""
    for command in MORNING:
        ran = run_command(command, build_season(tmp_path / command), "--as-of", as_of.isoformat())
        assert ran.code in (0, 2)
        assert "Traceback" not in ran.err
        assert ran.out or ran.err.count("\n") <= 3, "refused in a sentence where it is refused"
        if as_of.year == 2026:
            assert ran.code == 0, ran.err


def test_a_leap_day(tmp_path: Path) -> None:
    """In a season of 366 days the morning of 29 February holds, and that of a day in July too."""
    field = replace(FieldLine(), planting_date=dt.date(LEAP, 5, 4))
    station = replace(StationFile(), last=dt.date(LEAP, 7, 6))
    folder = build_season(tmp_path, fields=[field], stations=[station])
    settings = folder / "season.toml"
    settings.write_text(settings.read_text("utf-8").replace("2026", str(LEAP)), "utf-8")
    assert "29 Feb" in mornings(folder, dt.date(LEAP, 2, 29))["plan"]
    assert "F1" in mornings(folder, dt.date(LEAP, 7, 6))["plan"]


def test_fields_at_one_and_the_same_place(tmp_path: Path) -> None:
    """Two rows at one point are doubted, not refused; no drive lies between their stops."""
    fields = [replace(FieldLine(), field_id=name) for name in ("F1", "F2", "F3")]
    folder = build_season(tmp_path, fields=fields)
    told = mornings(folder, day(7, 6))
    for name in ("F1", "F2", "F3"):
        assert name in told["week"]
    checked = run_command("check", folder, "--as-of", "2026-07-06")
    assert checked.code == 0
    assert "the same latitude and longitude as line 2" in " ".join(
        (checked.out + checked.err).split()
    )
