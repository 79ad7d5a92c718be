"""What is said of fields: when they were planted, and which wait for their date."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stagecast.base.dates import said_day
from stagecast.base.textfiles import clean
from stagecast.season.folder import SeasonFolder
from stagecast.season.tables.fields import Field, UndatedField
from stagecast.visits.season_day import SeasonDay
from stagecast.words.notes import counted

NAMES = 12
"""Fields that are named in full; of more only the ids are said."""


def planted_text(field: Field) -> str:
    """``planted 4 May``, ``planned for 4 May``, ``planted 4 May, replanted 2 Jun``."""
    day = said_day(field.planting_date)
    if field.first_planted is not None:
        return f"planted {said_day(field.first_planted)}, replanted {day}"
    return f"planned for {day}" if field.planned else f"planted {day}"


def waiting_text(season: SeasonFolder) -> str:
    """How many fields wait for their planting date; "" for none."""
    number = len(season.undated)
    waits = "waits for its planting date" if number == 1 else "wait for their planting dates"
    return f"{counted(number, 'field')} {waits}" if number else ""


def other_year_text(season: SeasonFolder, as_of: dt.date) -> str:
    """What a day of another year than the season's means; "" for a day of its own."""
    year, day = season.settings.year, f"{said_day(as_of)} {as_of.year}"
    if as_of.year > year:
        return f"Is {day} right? For the year after {year}: stagecast new NEXT --from DIR"
    return f"Is {day} right? This folder is the season of {year}." if as_of.year < year else ""


def out_of_season_text(season: SeasonDay) -> str:
    """Why there is no route on a day outside the season; "" inside it."""
    as_of, span = season.as_of, season.loaded.span
    if as_of > span.last_day:
        return f"The season is over since {said_day(span.last_day)}: there is no route."
    if as_of < span.first_day:
        return f"The season begins on {said_day(span.first_day)}: there is no route yet."
    return ""


def undated_text(season: SeasonFolder) -> str:
    """Which fields wait for their planting date; "" for none."""
    waiting = waiting_text(season)
    return f"{waiting}: {_names(season.undated)}." if waiting else ""


def planned_text(season: SeasonFolder) -> str:
    """Which fields are forecast from an expected day, since nobody has planted yet; "" for none."""
    planned = [field for field in season.fields if field.planned]
    if not planned:
        return ""
    count = counted(len(planned), "field")
    return f"{count} not planted yet, forecast from the planned day: {_names(planned)}."


def regions_text(season: SeasonFolder) -> str:
    """``region Tennessee``, or ``regions Tennessee, Kentucky``."""
    names = [season.knowledge.regions[code] for code in season.regions]
    return f"region{'' if len(names) == 1 else 's'} {', '.join(names)}"


def _names(fields: Sequence[Field | UndatedField]) -> str:
    if len(fields) > NAMES:
        return ", ".join(clean(field.field_id) for field in fields)
    return ", ".join(clean(f"{field.field_id} {field.field_name}".strip()) for field in fields)
