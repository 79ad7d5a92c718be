"""Cells that several tables have: a field, a pest, a growth stage, a place."""

from __future__ import annotations

import re
from collections.abc import Collection

from stagecast.base.tables import TableRow
from stagecast.knowledge import load
from stagecast.season.settings.pest_names import PestNames, did_you_mean, folded
from stagecast.season.tables.places import (
    ACCEPTED_DEGREES,
    PlaceLimits,
    looks_sexagesimal,
    place_faults,
)

ACCEPTED_FIELD = "a field_id from fields.csv"

_STAGE = re.compile(r"VE|VC|V[1-9][0-9]?|R[1-8]")
_ACCEPTED_STAGE = "VE, VC, V1 and on (the unifoliolate node is the first), R1 to R8"
_ACCEPTED_SHARE = "percent of plants in the stage or beyond, 0 to 100"


def read_field_id(row: TableRow, field_ids: Collection[str] | None) -> str | None:
    """The field_id; one that is not among ``field_ids``, unless that is None, is a fault."""
    field_id = row.required("field_id", accepted=ACCEPTED_FIELD)
    if field_id and field_ids is not None and field_id not in field_ids:
        row.fault("field_id", "there is no such field in fields.csv", accepted=ACCEPTED_FIELD)
    return field_id


def read_place(row: TableRow, limits: PlaceLimits) -> tuple[float, float] | None:
    """Latitude and longitude in degrees, checked together, since they may be swapped."""
    values = []
    for column in ("latitude", "longitude"):
        text = row.required(column, accepted=ACCEPTED_DEGREES)
        if text is not None and looks_sexagesimal(text):
            message = "degrees with minutes or a compass letter are not read"
            row.fault(column, message, accepted=ACCEPTED_DEGREES)
        elif (value := row.number(column, accepted=ACCEPTED_DEGREES)) is not None:
            values.append(value)
    if len(values) < 2:
        return None
    faults = place_faults(values[0], values[1], limits=limits)
    for fault in faults:
        row.fault(fault.column, fault.message, accepted=fault.accepted)
    return None if faults else (values[0], values[1])


def read_pest(row: TableRow, names: PestNames | None) -> str | None:
    """Id of the pest; the text itself, without capitals, where pests are not known."""
    text = row.required("pest", accepted="a pest" if names is None else names.accepted)
    if text is None or names is None:
        return None if text is None else folded(text)
    found = names.find(text)
    if len(found) == 1:
        return found[0]
    if found:
        row.fault("pest", "several pests have this name: say which", accepted=", ".join(found))
    else:
        near = did_you_mean(names.near(text)) or None
        row.fault("pest", "no pest of this name is known", accepted=names.accepted, next_step=near)
    return None


def read_stage(row: TableRow) -> tuple[str | None, float | None]:
    """Read the stage and the share of plants, where they are given."""
    text = "".join(row.text("stage").upper().split())
    share = row.number("share_percent", accepted=_ACCEPTED_SHARE)
    if text and not _STAGE.fullmatch(text):
        row.fault("stage", "not a growth stage", accepted=_ACCEPTED_STAGE)
    elif text.startswith("V") and text[1:].isdigit() and int(text[1:]) > _most_nodes():
        accepted = f"VE, VC, V1 to V{_most_nodes()}, R1 to R8"
        row.fault("stage", "no soybean has so many nodes", accepted=accepted)
    if share is not None and not 0 <= share <= 100:
        row.fault("share_percent", "not a share of plants", accepted=_ACCEPTED_SHARE)
    if share is not None and 0 < share < 1:
        step = f"write {100 * share:g} if you mean {100 * share:g} percent, else 0"
        row.fault("share_percent", "less than one percent of plants", next_step=step)
    if share is not None and not text:
        step = "fill in the stage column, or clear this cell"
        row.fault("share_percent", "a share needs its stage", next_step=step)
    return text or None, None if share is None else share / 100


def _most_nodes() -> int:
    return int(load().fields.most_nodes)
