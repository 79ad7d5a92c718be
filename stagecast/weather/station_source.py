"""Station CSVs of a folder behind the weather port."""

from __future__ import annotations

from pathlib import Path

from stagecast.errors import SeasonProblems
from stagecast.weather.records import StationRecord
from stagecast.weather.source import WeatherRequest
from stagecast.weather.station_csv import StationFolder, read_station_folder


class StationCsvSource:
    """Yields every station of a ``weather/`` folder, whatever the places asked for.

    The files already are a durable record that a person keeps, so nothing is stored beside them.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def read(self) -> StationFolder:
        """Everything the folder has, with all that is wrong in it; empty where there is none."""
        if not self._folder.is_dir():
            return StationFolder((), (), ())
        return read_station_folder(self._folder)

    def fetch(self, request: WeatherRequest) -> list[StationRecord]:
        """Return each station on exactly the days asked for, sorted by station id.

        Raises
        ------
        SeasonProblems
            With everything wrong in the folder.
        """
        read = self.read()
        errors = [problem for problem in read.problems if not problem.doubtful]
        if errors:
            raise SeasonProblems(errors)
        return [record.between(request.first_day, request.last_day) for record in read.records]
