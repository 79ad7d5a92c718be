"""A stand count in one line of words: ``15-inch rows, 17.4 ft: 118, 104 gap 3, 121``."""

from __future__ import annotations

import re

from stagecast.base.tables import parse_number
from stagecast.season.log.entries import (
    LoggedStand,
    StandPlace,
    number_as_typed,
    settled_stand,
)

STAND_EXAMPLE = "15-inch rows, 17.4 ft: 118, 104 gap 3, 121, 99, 110"
HOOP_EXAMPLE = "30-inch hoop: 14, 12, 15, 11, 13"

_INCH = r"[- ]?(?:inch(?:es)?|in\.?|\")"
_ROWS = re.compile(rf"(\S+?){_INCH}[- ]?rows?\s*,?\s+(\S+?)[- ]?(?:ft\.?|foot|feet|')(?: of row)?")
_HOOP = re.compile(rf"(\S+?){_INCH}[- ]?hoop")
_PLACE = re.compile(r"(\S+)(?:\s+gaps?\s+(\S+?)\s*(?:ft|feet|')?)?")


def parse_stand(text: str) -> LoggedStand:
    """Read a stand count.

    Parameters
    ----------
    text: the row width and the feet of row counted at each place, or the hoop; after a colon the
        plants at each place, with the feet of row in long gaps where somebody measured.

    Raises
    ------
    ValueError
        With a reason a person can act on.
    """
    head, colon, counts = text.lower().partition(":")
    if not colon:
        raise ValueError("a colon stands before the plants of the places")
    rows, hoop = _ROWS.fullmatch(head.strip()), _HOOP.fullmatch(head.strip())
    if rows is None and hoop is None:
        raise ValueError("a stand count begins with the row width and feet of row, or the hoop")
    places = tuple(_place(item.strip()) for item in counts.split(",") if item.strip())
    if rows is not None:
        return settled_stand(LoggedStand(places, _number(rows[1]), _number(rows[2])))
    assert hoop is not None
    return settled_stand(LoggedStand(places, hoop_in=_number(hoop[1])))


def stand_text(stand: LoggedStand) -> str:
    """The stand count as :func:`parse_stand` reads it."""
    if stand.hoop_in is not None:
        head = f"{number_as_typed(stand.hoop_in)}-inch hoop"
    else:
        width, length = number_as_typed(stand.row_width_in), number_as_typed(stand.row_ft)
        head = f"{width}-inch rows, {length} ft"
    return f"{head}: {', '.join(map(_place_text, stand.places))}"


def _place(text: str) -> StandPlace:
    found = _PLACE.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is not plants at a place, such as 118 or 104 gap 3")
    plants = _number(found[1])
    if plants != int(plants):
        raise ValueError(f"{text!r}: plants are a whole number")
    return StandPlace(int(plants), None if found[2] is None else _number(found[2]))


def _place_text(place: StandPlace) -> str:
    gap = "" if place.gap_ft is None else f" gap {number_as_typed(place.gap_ft)}"
    return f"{place.plants}{gap}"


def _number(text: str) -> float:
    try:
        return parse_number(text)
    except ValueError as error:
        raise ValueError(f"{text!r}: {error}") from None
