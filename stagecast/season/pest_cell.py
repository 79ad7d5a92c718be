"""The pest that a cell of a table names, by any of its names."""

from __future__ import annotations

from stagecast.season.cells import RowCells
from stagecast.season.known_pests import PestNames, did_you_mean, folded


def pest_of(row: RowCells, names: PestNames | None) -> str | None:
    """Id of the pest; the text itself, without capitals, where pests are not known."""
    text = row.required("pest", accepted="a pest" if names is None else names.accepted)
    if text is None or names is None:
        return None if text is None else folded(text)
    found = names.find(text)
    if len(found) == 1:
        return found[0]
    if found:
        row.fault("pest", "several pests are called so", accepted=", ".join(found))
    else:
        near = did_you_mean(names.near(text)) or None
        row.fault("pest", "no pest of this name is known", accepted=names.accepted, next_step=near)
    return None
