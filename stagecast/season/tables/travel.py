"""travel.csv: how far it is by road, and how long it takes, between places. It is optional."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from stagecast.base.errors import Problem
from stagecast.base.tables import Table, TableRow, open_optional
from stagecast.base.units import KM_PER_MILE
from stagecast.season.settings.work import HOME

TRAVEL_FILE = "travel.csv"
COLUMNS = ("from", "to", "minutes")
KM, MILES = "km", "miles"

HOUR_MIN = 60
MOST_KM = 2_000
MOST_MIN = 1_440
FASTEST_KMH = 130

_ACCEPTED_PLACE = f"{HOME}, a field_id from fields.csv, or the name of a scout in season.toml"
_ACCEPTED_MIN = f"minutes of driving from 0 to {MOST_MIN:,}"


@dataclass(frozen=True, slots=True)
class Leg:
    """The way from one place to another: kilometres by road, None where not given, and minutes."""

    km: float | None
    minutes: float


Legs = Mapping[tuple[str, str], Leg]
"""(from, to) -> leg; a place is a field_id, ``home``, or a scout's name."""


@dataclass(frozen=True, slots=True)
class TravelFile:
    """What could be read of travel.csv.

    Attributes
    ----------
    legs: both directions of each pair; from a place to itself there is none.
    problems: errors and doubts, in file order.
    """

    legs: Legs
    problems: tuple[Problem, ...]


def read_travel(
    folder: Path, *, field_ids: Collection[str] | None, scouts: Collection[str] | None
) -> TravelFile:
    """Read travel.csv when there is one; every problem in one pass.

    Parameters
    ----------
    field_ids: the ids in fields.csv; None when fields.csv could not be read.
    scouts: the names of scouts; None when season.toml could not be read. Names of places are left
        unchecked where either is None.
    """
    table = open_optional(folder, file=TRAVEL_FILE, starts="travel", holds="your distances")
    _check_header(table)
    places = _Places.of(field_ids, scouts)
    told = _Ways()
    for row in table.rows():
        told.keep(row, _way(row, places), _leg(row))
    return TravelFile(told.both_ways(), table.told())


def _check_header(table: Table) -> None:
    """Compare the header with what is needed: a distance in one unit, not in both."""
    table.check_header(COLUMNS, (KM, MILES))
    message = "the distance is given twice, in kilometres and in miles"
    table.refuse_both(KM, MILES, message=message)


@dataclass(frozen=True, slots=True)
class _Places:
    """The names that stand for a place; None where not all of them are known."""

    known: frozenset[str] | None
    home_is_a_field: bool

    @classmethod
    def of(cls, field_ids: Collection[str] | None, scouts: Collection[str] | None) -> _Places:
        if field_ids is None or scouts is None:
            return cls(None, False)
        return cls(frozenset((HOME, *field_ids, *scouts)), HOME in field_ids)

    def name(self, row: TableRow, column: str) -> str | None:
        """The place a cell names, as ``legs`` call it; None when it is none."""
        text = row.required(column, accepted=_ACCEPTED_PLACE)
        if text is None or self.known is None or (text in self.known and text != HOME):
            return text
        name = " ".join(text.split())
        if name.casefold() == HOME:
            name = HOME
        if name == HOME and self.home_is_a_field:
            message = "this may be the home base or the field of this name"
            row.fault(column, message, next_step="give the field another field_id in fields.csv")
        elif name not in self.known:
            row.fault(column, "there is no such place", accepted=_ACCEPTED_PLACE)
        return name


def _way(row: TableRow, places: _Places) -> tuple[str, str] | None:
    start, end = places.name(row, "from"), places.name(row, "to")
    return None if start is None or end is None else (start, end)


def _leg(row: TableRow) -> Leg | None:
    """Read time and distance; None when the time is missing or either is wrong."""
    column = MILES if MILES in row.cells else KM
    per_unit = KM_PER_MILE if column == MILES else 1.0
    most = int(MOST_KM / per_unit)
    row.required("minutes", accepted=_ACCEPTED_MIN)
    minutes = _number(row, "minutes", MOST_MIN, _ACCEPTED_MIN)
    distance = _number(row, column, most, f"{column} by road from 0 to {most:,}, or blank")
    if minutes is None or row.refused:
        return None
    leg = Leg(None if distance is None else distance * per_unit, minutes)
    if leg.km is not None and leg.km * HOUR_MIN > FASTEST_KMH * leg.minutes:
        fastest = FASTEST_KMH / per_unit
        message = f"faster than {fastest:.0f} {column} an hour: is the time or the distance wrong?"
        row.fault("minutes", message, doubtful=True)
    return leg


def _number(row: TableRow, column: str, most: int, accepted: str) -> float | None:
    value = row.number(column, accepted=accepted)
    if value is not None and not 0 <= value <= most:
        message = "this cannot be negative" if value < 0 else "too large a number"
        row.fault(column, message, accepted=accepted)
        return None
    return value


@dataclass(slots=True)
class _Ways:
    """What earlier lines said, for lines that say otherwise."""

    legs: dict[tuple[str, str], tuple[Leg, int]] = field(default_factory=dict)

    def keep(self, row: TableRow, way: tuple[str, str] | None, leg: Leg | None) -> None:
        """Keep a line, or leave a fault in its row."""
        if way is None or leg is None or row.refused:
            return
        start, end = way
        if start == end:
            if leg.minutes or leg.km:
                message = "a way from a place to itself"
                step = "leave the line out, or correct one of its places"
                row.fault("to", message, next_step=step)
            return
        first, line = self.legs.setdefault(way, (leg, row.line))
        if first != leg:
            message = f"line {line} and line {row.line} give different numbers for the same way"
            row.fault("to", message, next_step="keep one of the two lines")

    def both_ways(self) -> dict[tuple[str, str], Leg]:
        """All legs; one without a line of its own is as the way back."""
        legs = {way: leg for way, (leg, _) in self.legs.items()}
        back = {(end, start): leg for (start, end), leg in legs.items()}
        return {**back, **legs}
