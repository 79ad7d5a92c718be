"""What season.toml says: the year, the region, home, the working days and the weather."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, ValidationInfo, field_validator
from pydantic_core import ErrorDetails

from stagecast.errors import Problem
from stagecast.season.places import GLOBE, PlaceLimits, place_faults
from stagecast.season.tomlfile import KeyPath, TomlFile, read_toml
from stagecast.season.tomlvalues import as_typed, is_huge, kind_of

SETTINGS_FILE = "season.toml"
FIRST_YEAR, LAST_YEAR = 1950, 2100
MOST_BRIDGE_DAYS = 7
MOST_PAST_SEASONS = 60
MOST_FIELDS_PER_DAY = 1000
MOST_TOLD = 30

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
Degrees = Annotated[float, Field(allow_inf_nan=False)]

WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DEGREES = "decimal degrees, such as 35.9254 or -89.7012 (north and east positive)"
_ACCEPTED: dict[str, str] = {
    "year": f"a whole number from {FIRST_YEAR} to {LAST_YEAR}",
    "units": '"us" or "metric"',
    "region": "a state code or name in quotes",
    "working_days": "a list of different days, at least one, from "
    + ", ".join(f'"{day}"' for day in WEEKDAYS),
    "fields_per_day": f"a whole number from 1 to {MOST_FIELDS_PER_DAY}",
    "home": "a [home] section with latitude and longitude",
    "home.latitude": _DEGREES,
    "home.longitude": _DEGREES,
    "weather": "a [weather] section",
    "weather.source": '"station csv" or "meteostat"',
    "weather.gap_policy": '"bridge" or "refuse"',
    "weather.bridge_days": f"a whole number from 0 to {MOST_BRIDGE_DAYS}",
    "weather.past_seasons": f"a whole number from 1 to {MOST_PAST_SEASONS}",
}


class _Section(BaseModel):
    """Base of all settings: frozen, strict, and an unknown key is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Home(_Section):
    """Where the consultant's day starts and ends, in decimal degrees."""

    latitude: Degrees
    longitude: Degrees


class WeatherSettings(_Section):
    """Where temperatures come from and what happens at a gap.

    ``bridge_days`` and ``past_seasons`` are None where the file does not say.
    """

    source: Literal["station csv", "meteostat"] = "station csv"
    gap_policy: Literal["bridge", "refuse"] = "bridge"
    bridge_days: Annotated[int, Field(ge=0, le=MOST_BRIDGE_DAYS)] | None = None
    past_seasons: Annotated[int, Field(ge=1, le=MOST_PAST_SEASONS)] | None = None


class Settings(_Section):
    """season.toml; ``region`` is always the two-letter code."""

    year: Annotated[int, Field(ge=FIRST_YEAR, le=LAST_YEAR)]
    units: Literal["us", "metric"] = "us"
    region: str
    working_days: tuple[Weekday, ...] = WEEKDAYS[:5]
    fields_per_day: Annotated[int, Field(ge=1, le=MOST_FIELDS_PER_DAY)] | None = None
    home: Home
    weather: WeatherSettings = WeatherSettings()

    @field_validator("region")
    @classmethod
    def _state_code(cls, region: str, info: ValidationInfo) -> str:
        regions: Mapping[str, str] = (info.context or {})["regions"]
        asked = " ".join(region.split()).casefold()
        for code, name in regions.items():
            if asked in (code.casefold(), name.casefold()):
                return code
        raise ValueError("this state is not among those we know")

    @field_validator("working_days", mode="before")
    @classmethod
    def _as_tuple(cls, days: object) -> object:
        return tuple(days) if isinstance(days, list) else days

    @field_validator("working_days")
    @classmethod
    def _each_once(cls, days: tuple[Weekday, ...]) -> tuple[Weekday, ...]:
        if not days:
            raise ValueError("no day is named")
        if len(set(days)) < len(days):
            raise ValueError("a day stands twice")
        return days


@dataclass(frozen=True, slots=True)
class SettingsFile:
    """What could be read of season.toml.

    Attributes
    ----------
    settings : Settings or None
        None when anything in the file is wrong.
    year : int or None
        The year, known even when another setting is wrong, so that dates can be checked.
    problems : tuple of Problem
        In file order.
    """

    settings: Settings | None
    year: int | None
    problems: tuple[Problem, ...]


def read_settings(
    folder: Path, *, regions: Mapping[str, str], limits: PlaceLimits = GLOBE
) -> tuple[Settings | None, tuple[Problem, ...]]:
    """Read season.toml; every problem in one pass.

    Parameters
    ----------
    folder : Path
        The season folder.
    regions : mapping
        State code -> state name; both are accepted, in any case.
    limits : PlaceLimits
        Where home may lie.

    Returns
    -------
    settings : Settings or None
        None when there is any problem.
    problems : tuple of Problem
    """
    read = read_settings_file(folder, regions=regions, limits=limits)
    return read.settings, read.problems


def read_settings_file(
    folder: Path, *, regions: Mapping[str, str], limits: PlaceLimits
) -> SettingsFile:
    """As :func:`read_settings`, keeping the year of a file that is otherwise wrong."""
    toml = read_toml(
        folder / SETTINGS_FILE,
        label=SETTINGS_FILE,
        missing_step="make a season folder with `stagecast new DIR` and copy the file from it",
    )
    if toml.problem is not None:
        return SettingsFile(None, None, (toml.problem,))
    settings = None
    problems = _home_problems(toml, limits=limits)
    try:
        settings = Settings.model_validate(toml.data, context={"regions": regions})
    except ValidationError as error:
        details = error.errors(include_url=False)
        problems += _Translator(toml, regions).problems(details[:MOST_TOLD])
        more = len(details) - MOST_TOLD
        if more > 0:
            problems.append(Problem(SETTINGS_FILE, f"{more} more faults in this file"))
    problems.sort(key=lambda problem: problem.line or len(toml.lines) + 10**6)
    return SettingsFile(None if problems else settings, _year(toml.data), tuple(problems))


def _year(data: dict[str, Any]) -> int | None:
    year = data.get("year")
    usable = type(year) is int and FIRST_YEAR <= year <= LAST_YEAR
    return year if usable else None


def _finite(value: object) -> float | None:
    """Return a finite number as it is; None for all the model refuses by itself."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _home_problems(toml: TomlFile, *, limits: PlaceLimits) -> list[Problem]:
    """Check where home lies, when both its numbers are numbers."""
    home = toml.data.get("home")
    if not isinstance(home, dict):
        return []
    latitude, longitude = _finite(home.get("latitude")), _finite(home.get("longitude"))
    if latitude is None or longitude is None:
        return []
    return [
        Problem(
            SETTINGS_FILE,
            fault.message,
            toml.line_of(("home", fault.column)),
            f"home.{fault.column}",
            found=as_typed(home[fault.column]),
            accepted=fault.accepted,
        )
        for fault in place_faults(latitude, longitude, limits=limits)
    ]


class _Translator:
    """Turns the model's complaints into problems a person can act on."""

    def __init__(self, toml: TomlFile, regions: Mapping[str, str]) -> None:
        self.toml = toml
        states = ", ".join(sorted(regions))
        self.accepted = _ACCEPTED | {"region": f"one of {states}, or the state's name"}

    def problems(self, details: list[ErrorDetails]) -> list[Problem]:
        """One problem per complaint; a misspelt key is not told a second time as missing."""
        unknown = [_key(d) for d in details if d["type"] == "extra_forbidden"]
        meant = {key: _nearest(key, set(self._missing(details))) for key in unknown}
        told = set(meant.values())
        problems = []
        for detail in details:
            key = _key(detail)
            if detail["type"] == "extra_forbidden":
                problems.append(self._unknown(key, meant[key]))
            elif detail["type"] != "missing":
                problems.append(self._wrong(key, detail))
            elif key not in told:
                problems.append(self._absent(key))
        return problems

    @staticmethod
    def _missing(details: list[ErrorDetails]) -> list[KeyPath]:
        return [_key(detail) for detail in details if detail["type"] == "missing"]

    def _unknown(self, key: KeyPath, meant: KeyPath | None) -> Problem:
        names = {tuple(name.split(".")) for name in _ACCEPTED}
        nearest = meant or _nearest(key, {name for name in names if name != key[: len(name)]})
        siblings = [name for name in _ACCEPTED if name.split(".")[:-1] == list(key[:-1])]
        return Problem(
            SETTINGS_FILE,
            "there is no such setting",
            self.toml.line_of(key),
            _dotted(key),
            accepted=", ".join(siblings),
            next_step=_meant(key, nearest) if nearest else None,
        )

    def _absent(self, key: KeyPath) -> Problem:
        return Problem(
            SETTINGS_FILE,
            "this setting is required and is missing",
            self.toml.line_of(key[:-1]),
            _dotted(key),
            accepted=self.accepted[_dotted(key)],
        )

    def _wrong(self, key: KeyPath, detail: ErrorDetails) -> Problem:
        value = detail["input"]
        kind = detail["type"]
        accepted = self.accepted[_dotted(key)]
        if kind == "value_error":
            message = str(detail["ctx"]["error"])
        elif kind == "int_from_float" or (kind.endswith("_type") and not is_huge(value)):
            message = f"this cannot be {kind_of(value)}"
        else:
            message = "this value is not accepted"
        return Problem(
            SETTINGS_FILE,
            message,
            self.toml.line_of(key),
            _dotted(key),
            found=as_typed(value),
            accepted=accepted,
        )


def _key(detail: ErrorDetails) -> KeyPath:
    """Path of the setting, without the position in a list."""
    return tuple(part for part in detail["loc"] if isinstance(part, str))


def _dotted(key: KeyPath) -> str:
    """Write a path as a person does; a key with control characters is written escaped."""
    name = ".".join(key)
    return name if name.isprintable() else ascii(name)


def _nearest(key: KeyPath, names: set[KeyPath]) -> KeyPath | None:
    """Take the setting that was probably meant: same name elsewhere first, then similar names."""
    same_name = sorted(name for name in names if name[-1] == key[-1])
    if same_name:
        return same_name[0]
    by_text = {_dotted(name): name for name in sorted(names)}
    close = difflib.get_close_matches(_dotted(key), by_text, n=1, cutoff=0.6)
    return by_text[close[0]] if close else None


def _meant(key: KeyPath, nearest: KeyPath) -> str:
    """Ask whether another setting was meant, and say where it belongs when not here."""
    question = f"did you mean {_dotted(nearest)}?"
    if key[:-1] == nearest[:-1]:
        return question
    where = f"under [{_dotted(nearest[:-1])}]" if nearest[:-1] else "above the first [section]"
    return f"{question} It belongs {where}"
