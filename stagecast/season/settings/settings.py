"""What season.toml says: year, region, home, days, weather, thresholds and a day's work."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)

from stagecast.base.errors import Problem, in_file_order
from stagecast.knowledge.crop import STAGE_ORDER, CropEvent
from stagecast.knowledge.quantities import Number
from stagecast.knowledge.references import YOURS
from stagecast.knowledge.texts import Name
from stagecast.knowledge.threshold import Level, MonthDay, SetOf, Threshold, Use
from stagecast.knowledge.units import UNITS, SampleUnit
from stagecast.season.settings.sections import Section, as_tuple, complaints
from stagecast.season.settings.telling import (
    ACCEPTED_TELLING,
    AlertsSettings,
    MailSettings,
    telling_problems,
)
from stagecast.season.settings.toml import TomlFile, read_toml
from stagecast.season.settings.work import (
    ACCEPTED_DAYS,
    ACCEPTED_DEGREES,
    ACCEPTED_WORK,
    SETTINGS_FILE,
    WEEKDAYS,
    Days,
    DrivingSettings,
    Home,
    LooksSettings,
    MoneySettings,
    ScoutSettings,
    VisitsSettings,
    WorkdaySettings,
    home_problems,
    work_problems,
)
from stagecast.season.tables.places import GLOBE, PlaceLimits, state_code
from stagecast.weather.sources import DEFAULT, source_names

FIRST_YEAR, LAST_YEAR = 1950, 2100
MOST_BRIDGE_DAYS = 7
MOST_PAST_SEASONS = 60
MOST_FIELDS_PER_DAY = 1000
LONGEST_PHONE = 40
FEWEST_DIGITS, MOST_DIGITS = 5, 15
"""Of a telephone number; the most by ITU-T E.164 (from memory)."""

_STAGE = f"one of {', '.join(STAGE_ORDER)}; V4 also stands for later nodes"
_ACCEPTED: dict[str, str] = (
    {
        "year": f"a whole number from {FIRST_YEAR} to {LAST_YEAR}",
        "units": '"us" or "metric"',
        "region": "a state code or name in quotes",
        "working_days": ACCEPTED_DAYS,
        "fields_per_day": f"a whole number from 1 to {MOST_FIELDS_PER_DAY}",
        "home": "a [home] section with latitude and longitude",
        "home.latitude": ACCEPTED_DEGREES,
        "home.longitude": ACCEPTED_DEGREES,
        "consultant": "a [consultant] section",
        "consultant.name": "a name in quotes, up to 80 characters",
        "consultant.phone": 'a telephone number in quotes, such as "555-0100" or "+1 555 0100 x12"',
        "weather": "a [weather] section",
        "weather.source": "a source of temperatures in quotes",
        "weather.gap_policy": '"bridge" or "refuse"',
        "weather.bridge_days": f"a whole number from 0 to {MOST_BRIDGE_DAYS}",
        "weather.past_seasons": f"a whole number from 1 to {MOST_PAST_SEASONS}",
        "thresholds": "[[thresholds]] sections, with two brackets on either side",
        "thresholds.pest": 'the id of a pest in quotes, such as "stink-bugs"',
        "thresholds.first": _STAGE,
        "thresholds.last": _STAGE,
        "thresholds.value": "a number above 0",
        "thresholds.high": "a number above value",
        "thresholds.what": 'what is counted, in quotes, such as "bugs"',
        "thresholds.per": "a number above 0, such as 25 for 25 sweeps",
        "thresholds.of": "one of " + ", ".join(f'"{unit}"' for unit in UNITS),
        "thresholds.use": 'a list from "grain", "seed", "food"',
        "thresholds.row_width_least_in": "inches, a number above 0",
        "thresholds.row_width_most_in": "inches, a number above 0",
        "thresholds.condition": "what else it holds for, in quotes",
    }
    | ACCEPTED_WORK
    | ACCEPTED_TELLING
)
_ACCEPTED |= {
    f"thresholds.{key}{part}": text
    for key in ("planted_from", "planted_before")
    for part, text in (
        ("", "a day of every year, such as { month = 6, day = 1 }"),
        (".month", "a whole number from 1 to 12"),
        (".day", "a whole number from 1 to 31"),
    )
}


class WeatherSettings(Section):
    """Where temperatures come from and what happens at a gap.

    ``bridge_days`` and ``past_seasons`` are None where the file does not say.
    """

    source: str = DEFAULT
    gap_policy: Literal["bridge", "refuse"] = "bridge"
    bridge_days: Annotated[int, Field(ge=0, le=MOST_BRIDGE_DAYS)] | None = None
    past_seasons: Annotated[int, Field(ge=1, le=MOST_PAST_SEASONS)] | None = None

    @field_validator("source", mode="before")
    @classmethod
    def _known(cls, source: object) -> object:
        if source not in source_names():
            raise ValueError("this value is not accepted")
        return source


_PHONE = re.compile(r"(?P<dial>\+?[0-9 ().-]+)(?:(?:x|ext\.?) ?[0-9]{1,6})?", re.ASCII)


def checked_phone(text: str) -> str:
    """A telephone number as it was typed, without spare blanks.

    Raises
    ------
    ValueError
        It has too few digits or too many, or something else in it.
    """
    phone = " ".join(text.split())
    found = _PHONE.fullmatch(phone) if len(phone) <= LONGEST_PHONE else None
    digits = 0 if found is None else sum(map(str.isdigit, found["dial"]))
    if not FEWEST_DIGITS <= digits <= MOST_DIGITS:
        raise ValueError("this is no telephone number")
    return phone


class ConsultantSettings(Section):
    """Whom a grower may ask; None where it is not said."""

    name: Name | None = None
    phone: Annotated[str, AfterValidator(checked_phone)] | None = None

    @property
    def dial(self) -> str:
        """The digits to dial, without an extension; "" without a number."""
        found = None if self.phone is None else _PHONE.fullmatch(self.phone)
        return "" if found is None else re.sub(r"[^+0-9]", "", found["dial"])


class OwnThreshold(Section):
    """A treatment threshold that the consultant set; it comes before the published ones."""

    pest: str
    first: CropEvent
    last: CropEvent
    value: Level
    high: Number | None = None
    what: Name
    per: Annotated[SetOf, Field(gt=0)] = 1
    unit: SampleUnit = Field(alias="of")
    planted_from: MonthDay | None = None
    planted_before: MonthDay | None = None
    use: Annotated[tuple[Use, ...], BeforeValidator(as_tuple)] = ()
    row_width_least_in: Annotated[Number, Field(gt=0)] | None = None
    row_width_most_in: Annotated[Number, Field(gt=0)] | None = None
    condition: str = ""

    @model_validator(mode="after")
    def _fits(self) -> Self:
        try:
            self.as_threshold()
        except ValidationError as error:
            raise ValueError(str(error.errors()[0]["ctx"]["error"])) from error
        return self

    def as_threshold(self) -> Threshold:
        """The same in the shape of published ones."""
        values = self.model_dump(exclude={"pest"}, exclude_unset=True, by_alias=True)
        return Threshold(**values, region=YOURS, source=YOURS, tag="OWN")


class Settings(Section):
    """season.toml; ``region`` is always the two-letter code."""

    year: Annotated[int, Field(ge=FIRST_YEAR, le=LAST_YEAR)]
    units: Literal["us", "metric"] = "us"
    region: str
    working_days: Days = WEEKDAYS[:5]
    fields_per_day: Annotated[int, Field(ge=1, le=MOST_FIELDS_PER_DAY)] | None = None
    home: Home
    consultant: ConsultantSettings = Field(default_factory=ConsultantSettings)
    weather: WeatherSettings = Field(default_factory=WeatherSettings)
    thresholds: Annotated[tuple[OwnThreshold, ...], BeforeValidator(as_tuple)] = ()
    hours: WorkdaySettings = Field(default_factory=WorkdaySettings)
    driving: DrivingSettings = Field(default_factory=DrivingSettings)
    money: MoneySettings = Field(default_factory=MoneySettings)
    visits: VisitsSettings = Field(default_factory=VisitsSettings)
    looks: LooksSettings = Field(default_factory=LooksSettings)
    alerts: AlertsSettings = Field(default_factory=AlertsSettings)
    mail: MailSettings | None = None
    scouts: Annotated[tuple[ScoutSettings, ...], BeforeValidator(as_tuple)] = ()

    @field_validator("region")
    @classmethod
    def _state_code(cls, region: str, info: ValidationInfo) -> str:
        regions: Mapping[str, str] = (info.context or {})["regions"]
        code = state_code(region, regions)
        if code is None:
            raise ValueError("this state is not among those we know")
        return code


@dataclass(frozen=True, slots=True)
class SettingsFile:
    """What could be read of season.toml.

    Attributes
    ----------
    settings: none when anything in the file is wrong.
    year: the year, known even when another setting is wrong, so that dates can be checked.
    toml: the file as it was read.
    """

    settings: Settings | None
    year: int | None
    problems: tuple[Problem, ...]
    toml: TomlFile


def read_settings(
    folder: Path, *, regions: Mapping[str, str], limits: PlaceLimits = GLOBE
) -> SettingsFile:
    """Read season.toml; every problem in one pass.

    Parameters
    ----------
    regions: state code -> state name; both are accepted, in any case.
    limits: where home may lie.
    """
    toml = read_toml(
        folder / SETTINGS_FILE,
        label=SETTINGS_FILE,
        missing_step="make a season folder with `stagecast new DIR` and copy the file from it",
    )
    if toml.problem is not None:
        return SettingsFile(None, None, (toml.problem,), toml)
    settings = None
    problems = [*home_problems(toml, limits=limits), *work_problems(toml)]
    problems += telling_problems(toml)
    try:
        settings = Settings.model_validate(toml.data, context={"regions": regions})
    except ValidationError as error:
        accepted = _ACCEPTED | {
            "region": f"one of {', '.join(sorted(regions))}, or its name",
            "weather.source": " or ".join(f'"{name}"' for name in source_names()),
        }
        problems += complaints(error, toml, accepted=accepted)
    told = in_file_order(problems)
    return SettingsFile(None if problems else settings, _year(toml.data), told, toml)


def _year(data: dict[str, Any]) -> int | None:
    year = data.get("year")
    usable = type(year) is int and FIRST_YEAR <= year <= LAST_YEAR
    return year if usable else None
