"""The field that a person named."""

from __future__ import annotations

from collections.abc import Sequence

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.season.folder import SeasonFolder
from stagecast.season.tables.fields import FIELDS_FILE, Field

NAMED = 12


def one_named(asked: str, names: Sequence[str], *, option: str, none: str, several: str) -> str:
    """The name that was typed into an option, or the one that differs from it in case alone.

    ``none`` and ``several`` are what to say where no name fits, or more than one in case alone.

    Raises
    ------
    SeasonProblems
        Unless one name fits.
    """
    alike = [name for name in names if name.casefold() == asked.casefold()]
    found = [name for name in alike if name == asked] or alike
    if len(found) == 1:
        return found[0]
    shown = ", ".join((found or names)[:NAMED]) + (", ..." if len(found or names) > NAMED else "")
    message = several if found else none
    raise SeasonProblems([Problem(option, message, found=asked, accepted=shown or None)])


def field_named(asked: str, season: SeasonFolder, *, option: str) -> Field:
    """The field with an id, or the one whose id differs from it in case alone.

    Raises
    ------
    SeasonProblems
        When no field has the id, or several differ from it in case alone; when it waits for its
        planting date.
    """
    found = one_named(
        asked,
        season.field_ids,
        option=option,
        none="there is no such field in fields.csv",
        several="several fields differ from this in case alone",
    )
    for field in season.fields:
        if field.field_id == found:
            return field
    raise SeasonProblems([no_date_yet(found, season)])


def no_date_yet(field_id: str, season: SeasonFolder) -> Problem:
    """What is said of a field that waits for its planting date."""
    line = next(field.line for field in season.undated if field.field_id == field_id)
    message = "waits for its planting date, so nothing can be forecast for it"
    step = "write the day into planting_date, or the expected day into the column planned"
    return Problem(FIELDS_FILE, message, line, "planting_date", next_step=step, field_id=field_id)
