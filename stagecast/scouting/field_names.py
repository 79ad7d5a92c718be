"""The field that a person named."""

from __future__ import annotations

from collections.abc import Sequence

from stagecast.errors import Problem, SeasonProblems
from stagecast.season.fields import Field

NAMED = 12


def field_named(asked: str, fields: Sequence[Field], *, option: str) -> Field:
    """The field with an id, or the one whose id differs from it in case alone.

    Parameters
    ----------
    asked : str
        As typed.
    fields : sequence of Field
    option : str
        Where it was typed, for the problem.

    Raises
    ------
    SeasonProblems
        When no field has the id, or several differ from it in case alone.
    """
    alike = [field for field in fields if field.field_id.casefold() == asked.casefold()]
    found = [field for field in alike if field.field_id == asked] or alike
    if len(found) == 1:
        return found[0]
    message = "there is no such field in fields.csv"
    if found:
        message = "several fields differ from this in case alone"
    ids = [field.field_id for field in found or fields]
    shown = ", ".join(ids[:NAMED]) + (", ..." if len(ids) > NAMED else "")
    raise SeasonProblems([Problem(option, message, found=asked, accepted=shown or None)])
