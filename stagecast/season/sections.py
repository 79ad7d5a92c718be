"""What the sections of season.toml are made of."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

SETTINGS_FILE = "season.toml"
HOME = "home"
"""What the home base is called, in season.toml and in tables of travel."""

EXAMPLE_HOME = (36.0, -89.0)
"""Latitude and longitude of it in a new folder, until somebody puts in their own."""

Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
Finite = Annotated[float, Field(allow_inf_nan=False)]

ACCEPTED_DAYS = "a list of different days, at least one, from " + ", ".join(
    f'"{day}"' for day in WEEKDAYS
)
ACCEPTED_DEGREES = "decimal degrees, such as 35.9254 or -89.7012 (north and east positive)"


class Section(BaseModel):
    """Base of all settings: frozen, strict, and an unknown key is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Home(Section):
    """Where a day of work starts and ends, in decimal degrees."""

    latitude: Finite
    longitude: Finite


def as_tuple(items: object) -> object:
    """A list of the file as the model wants it; anything else is left for the model to refuse."""
    return tuple(items) if isinstance(items, list) else items


def different_days(days: tuple[Weekday, ...]) -> tuple[Weekday, ...]:
    """Refuse working days of which there is none, or one twice.

    Raises
    ------
    ValueError
    """
    if not days:
        raise ValueError("no day is named")
    if len(set(days)) < len(days):
        raise ValueError("a day stands twice")
    return days
