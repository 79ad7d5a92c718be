"""The units that samples are taken in: what a set, a count and a threshold are measured by."""

from __future__ import annotations

from typing import Literal, NamedTuple, get_args

SampleUnit = Literal[
    "sweeps", "row-feet", "row-metres", "plants", "leaflets",
    "square-yards", "percent", "rating", "minutes",
]  # fmt: skip
"""As thresholds and logs write them. A new one needs a line here and one in UNITS, no more."""


class UnitTerms(NamedTuple):
    """The singular, other spellings people type, and whether it is judged instead of counted."""

    one: str
    also: tuple[str, ...] = ()
    judged: bool = False


UNITS: dict[SampleUnit, UnitTerms] = {
    "sweeps": UnitTerms("sweep"),
    "row-feet": UnitTerms(
        "row-foot", also=("row ft", "feet of row", "foot of row", "ft of row", "feet", "foot", "ft")
    ),
    "row-metres": UnitTerms(
        "row-metre",
        also=("row meter", "row meters", "row m", "metres of row", "meters of row", "m of row"),
    ),
    "plants": UnitTerms("plant"),
    "leaflets": UnitTerms("leaflet"),
    "square-yards": UnitTerms("square yard", also=("sq yd", "sq yards", "sq yard", "yd2")),
    "percent": UnitTerms("percent", judged=True),
    "rating": UnitTerms("rating", judged=True),
    "minutes": UnitTerms("minute"),
}

if set(UNITS) != set(get_args(SampleUnit)):  # mypy sees what is too many, this what is missing
    raise TypeError(f"SampleUnit and UNITS differ: {set(UNITS) ^ set(get_args(SampleUnit))}")

JUDGED: tuple[SampleUnit, ...] = tuple(unit for unit, terms in UNITS.items() if terms.judged)
"""A share or a rating is not added up over pests or sets, as counts are."""


def per_unit(unit: SampleUnit, size: float) -> str:
    """``25 sweeps``, ``row-foot``: how many of a unit, as it follows a ``per``."""
    return UNITS[unit].one if size == 1 else f"{size:g} {unit}"
