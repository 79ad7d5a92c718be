"""The empty season folder: valid from the start, and never written over anything."""

from __future__ import annotations

import errno
import os
import re
from dataclasses import astuple
from pathlib import Path

import pytest
from season_builder import build_season

from stagecast.base.errors import StoreError
from stagecast.base.savefile import new_folder
from stagecast.knowledge import load
from stagecast.season.folder import SeasonFolder, read_season
from stagecast.season.new import write_new_season
from stagecast.season.settings.settings import (
    ConsultantSettings,
    OwnThreshold,
    Settings,
    WeatherSettings,
)
from stagecast.season.settings.telling import AlertsSettings, MailSettings
from stagecast.season.settings.work import (
    DrivingSettings,
    Home,
    MoneySettings,
    ScoutSettings,
    WorkdaySettings,
)
from stagecast.season.settings.workday import crew, driving_rules, money
from stagecast.season.tables import blocked, travel
from stagecast.season.tables.fields import COLUMNS, HECTARES, OPTIONAL_COLUMNS
from stagecast.weather.sources.station_csv import read_station_folder


def snapshot(folder: Path) -> dict[str, bytes]:
    """Every file under a folder with its bytes."""
    files = (path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def test_new_folder_is_valid_and_empty(tmp_path: Path) -> None:
    """What is written is read back without an error or a doubt, for the year asked for."""
    write_new_season(tmp_path / "2027", year=2027)
    season = read_season(tmp_path / "2027")
    assert season.settings.year == 2027
    assert season.fields == ()
    assert season.visits == ()
    assert season.doubts == ()


def test_the_files_written_are_the_files_named(tmp_path: Path) -> None:
    """The returned paths are all there is, no more and no fewer."""
    written = write_new_season(tmp_path / "new", year=2026)
    names = {str(path.relative_to(tmp_path / "new")) for path in written}
    assert names == set(snapshot(tmp_path / "new"))
    assert names == {"season.toml", "fields.csv", "weather/stations.csv", "README.txt"}


def test_a_station_under_the_written_header_is_read(tmp_path: Path) -> None:
    """The station header is the one the station reader expects."""
    write_new_season(tmp_path / "new", year=2026)
    weather = tmp_path / "new" / "weather"
    with (weather / "stations.csv").open("a", encoding="utf-8") as stream:
        stream.write("S1,36.1,-89.2,90,Mill\n")
    (weather / "S1.csv").write_text("date,tmin_c,tmax_c\n2026-05-01,9.5,21\n", encoding="utf-8")
    stations = read_station_folder(weather)
    assert stations.problems == ()
    (record,) = stations.records
    assert (record.station.station, record.station.name) == ("S1", "Mill")
    assert record.station.elevation_m == 90.0


def test_every_setting_and_column_is_explained(tmp_path: Path) -> None:
    """No setting is missing from the commented file and no column from its README.txt."""
    write_new_season(tmp_path / "new", year=2026)
    toml = (tmp_path / "new" / "season.toml").read_text(encoding="utf-8")
    work = (WorkdaySettings, DrivingSettings, MoneySettings, ScoutSettings)
    telling = (AlertsSettings, MailSettings)
    for model in (
        Settings,
        Home,
        ConsultantSettings,
        WeatherSettings,
        OwnThreshold,
        *work,
        *telling,
    ):
        for name in (field.alias or key for key, field in model.model_fields.items()):
            explained = rf"^((# )?{name} = |(# )?\[+{name}\])|^# .*\b{name} = [0-9]"
            assert re.search(explained, toml, re.MULTILINE), name
    readme = (tmp_path / "new" / "README.txt").read_text(encoding="utf-8")
    of_blocked = (blocked.BLOCKED_FILE, *blocked.COLUMNS, *blocked.OPTIONAL_COLUMNS)
    of_travel = (travel.TRAVEL_FILE, *travel.COLUMNS, travel.KM, travel.MILES, travel.HOME)
    for column in (*COLUMNS, *OPTIONAL_COLUMNS, HECTARES, *of_blocked, *of_travel):
        assert re.search(rf"\b{column}\b", readme), column


def uncommented(folder: Path) -> SeasonFolder:
    """Read a new season from whose suggested settings every # was removed."""
    write_new_season(folder, year=2026)
    file = folder / "season.toml"
    text = file.read_text(encoding="utf-8")
    bare = re.sub(r"^# (\w+ = .+|\[{1,2}\w+\]{1,2})$", r"\1", text, flags=re.MULTILINE)
    assert bare != text
    file.write_text(bare, encoding="utf-8")
    return read_season(folder)


def test_settings_that_are_remarks_are_valid_once_uncommented(tmp_path: Path) -> None:
    """Removing the # from a suggested setting gives a valid file."""
    season = uncommented(tmp_path / "new")
    assert season.settings.scouts[0].home is not None
    assert season.settings.weather.bridge_days is not None
    assert season.settings.weather.past_seasons is not None
    assert season.settings.mail is not None
    assert season.settings.alerts.command == ("notify.sh",)
    consultant = season.settings.consultant
    assert (consultant.name, consultant.phone) == ("Consultant A", "555-0100")
    (threshold,) = season.settings.thresholds
    assert season.knowledge.pests[threshold.pest].thresholds[0].region == "yours"


def test_suggested_lead_days_are_those_taken_otherwise(tmp_path: Path) -> None:
    """What the remarks under [alerts] show is what ships, value by value."""
    own, shipped = uncommented(tmp_path / "new").knowledge.alerts, load().alerts
    for key in AlertsSettings.model_fields:
        if key != "command":
            mine, theirs = getattr(own, key), getattr(shipped, key)
            assert getattr(mine, "value", mine) == getattr(theirs, "value", theirs), key


def test_suggested_hours_speed_and_prices_are_those_taken_otherwise(tmp_path: Path) -> None:
    """What the remarks of a new season show is what holds without them, to a hundredth."""
    write_new_season(tmp_path / "bare", year=2026)
    bare = read_season(tmp_path / "bare").settings
    shown = uncommented(tmp_path / "shown").settings.model_copy(update={"scouts": ()})
    knowledge = load()
    assert crew(shown, knowledge) == crew(bare, knowledge)
    for resolved in (driving_rules, money):
        one, other = (astuple(resolved(settings, knowledge)) for settings in (shown, bare))
        assert one == pytest.approx(other, rel=0.01)


def test_an_empty_folder_may_be_used(tmp_path: Path) -> None:
    """A folder that exists and holds nothing is filled."""
    assert write_new_season(tmp_path, year=2026)
    assert read_season(tmp_path).fields == ()


def test_nothing_is_written_over_what_exists(tmp_path: Path) -> None:
    """A folder with any file in it, or a file in its place, is refused and left as it was."""
    (tmp_path / "used").mkdir()
    (tmp_path / "used" / "letter.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "file").write_text("mine too", encoding="utf-8")
    before = snapshot(tmp_path)
    for name in ("used", "file"):
        with pytest.raises(StoreError, match="something is there already"):
            write_new_season(tmp_path / name, year=2026)
    assert snapshot(tmp_path) == before


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """A folder below a file cannot be made; that is one sentence, not a traceback."""
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(StoreError, match="cannot be written"):
        write_new_season(tmp_path / "file" / "season", year=2026)


def write_half(path: Path, interruption: BaseException) -> None:
    """Begin a season folder and be interrupted."""
    with new_folder(path) as folder:
        (folder / "weather").mkdir()
        (folder / "weather" / "stations.csv").write_text("half", encoding="utf-8")
        raise interruption


def write_while_somebody_saves(path: Path) -> None:
    """Fill a folder in which a file of the same name is saved meanwhile."""
    with new_folder(path) as folder:
        for name in ("fields.csv", "season.toml"):
            (folder / name).write_text("ours", encoding="utf-8")
        (path / "season.toml").write_text("mine", encoding="utf-8")


@pytest.mark.parametrize("interruption", [KeyboardInterrupt(), OSError(errno.EIO, "broken")])
@pytest.mark.parametrize("name", ["season", "a/b/season", "empty"])
def test_an_interrupted_folder_leaves_nothing_behind(
    name: str, interruption: BaseException, tmp_path: Path
) -> None:
    """Neither half a folder nor a helper file stays, and what was there before is still there."""
    (tmp_path / "empty").mkdir()
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises((KeyboardInterrupt, StoreError)):
        write_half(tmp_path / name, interruption)
    assert sorted(tmp_path.rglob("*")) == before


def test_what_appears_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    """A file that somebody saves while an empty folder is filled stays as it is, and alone."""
    with pytest.raises(StoreError, match="appeared"):
        write_while_somebody_saves(tmp_path)
    assert snapshot(tmp_path) == {"season.toml": b"mine"}


def test_a_full_disk_is_told_as_such(tmp_path: Path) -> None:
    """Where there is no room another folder does not help: the next step is to make room."""
    with pytest.raises(StoreError) as caught:
        write_half(tmp_path / "season", OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)))
    assert "free some space" in caught.value.next_step


def test_a_dangling_link_is_something(tmp_path: Path) -> None:
    """A link that leads nowhere is somebody's: it is refused and stays."""
    (tmp_path / "link").symlink_to(tmp_path / "gone")
    with pytest.raises(StoreError, match="something is there already"):
        write_new_season(tmp_path / "link", year=2026)
    assert [path.name for path in tmp_path.iterdir()] == ["link"]


def test_a_second_season_is_the_same_bytes(tmp_path: Path) -> None:
    """Same year in, same bytes out; a used folder is refused the second time."""
    write_new_season(tmp_path / "a", year=2026)
    write_new_season(tmp_path / "b", year=2026)
    assert snapshot(tmp_path / "a") == snapshot(tmp_path / "b")
    with pytest.raises(StoreError):
        write_new_season(tmp_path / "a", year=2026)


@pytest.mark.parametrize("year", [0, 1949, 2101])
def test_an_impossible_year_writes_nothing(year: int, tmp_path: Path) -> None:
    """A year that the settings would refuse is refused before anything is written."""
    with pytest.raises(ValueError, match="year"):
        write_new_season(tmp_path / "new", year=year)
    assert not (tmp_path / "new").exists()


def test_a_home_base_that_was_never_changed_is_doubted_once_there_are_fields(
    tmp_path: Path,
) -> None:
    """Every route starts there: the example's point is nobody's, and an empty season needs none."""
    folder = build_season(tmp_path / "season")
    settings = folder / "season.toml"
    assert not [doubt for doubt in read_season(folder).doubts if doubt.column == "home"]
    text = re.sub("latitude = .*", "latitude = 36.0", settings.read_text("utf-8"))
    settings.write_text(re.sub("longitude = .*", "longitude = -89.0", text), "utf-8")
    (doubt,) = [doubt for doubt in read_season(folder).doubts if doubt.column == "home"]
    assert doubt.file == "season.toml"
    assert doubt.line is not None
