"""Whether a latitude and a longitude can be a soybean field, and which slip is behind it if not."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

ACCEPTED_DEGREES = "decimal degrees such as 35.9254 or -89.7012"

_SEXAGESIMAL = re.compile(r"""[°º'′’"″”:]|[0-9]\s+[0-9]|[NSEWnsew]\s*$|^\s*[NSEWnsew]""")


@dataclass(frozen=True, slots=True)
class PlaceLimits:
    """Where a place may lie, in decimal degrees, ends included.

    The default longitudes are the western hemisphere, where every accepted state lies: a
    longitude without its minus sign is the commonest slip.
    """

    latitude_low: float
    latitude_high: float
    longitude_low: float = -180.0
    longitude_high: float = 0.0

    def holds(self, latitude: float, longitude: float) -> bool:
        """Whether the place lies within the limits."""
        return (
            self.latitude_low <= latitude <= self.latitude_high
            and self.longitude_low <= longitude <= self.longitude_high
        )


GLOBE = PlaceLimits(-90.0, 90.0, -180.0, 180.0)


@dataclass(frozen=True, slots=True)
class PlaceFault:
    """One thing wrong with a place: the coordinate, why, and what is accepted."""

    column: str
    message: str
    accepted: str


def place_faults(latitude: float, longitude: float, *, limits: PlaceLimits) -> list[PlaceFault]:
    """Say what is wrong with a place, if anything.

    Parameters
    ----------
    latitude, longitude: decimal degrees, north and east positive.

    Returns
    -------
    list of PlaceFault
        At most one per coordinate; a swapped pair is one fault, told at the latitude.
    """
    if limits.holds(latitude, longitude):
        return []
    low, high = limits.latitude_low, limits.latitude_high
    latitudes = f"{low:g} to {high:g} (decimal degrees, north positive)"
    if limits.holds(longitude, latitude):
        swapped = "latitude and longitude look swapped"
        return [PlaceFault("latitude", f"{swapped} (longitude is {longitude:g})", latitudes)]

    faults = []
    if not GLOBE.latitude_low <= latitude <= GLOBE.latitude_high:
        faults.append(PlaceFault("latitude", "there is no such latitude", latitudes))
    elif not low <= latitude <= high:
        message = "latitude outside the range the crop model covers"
        faults.append(PlaceFault("latitude", message, latitudes))
    west, east = limits.longitude_low, limits.longitude_high
    if not west <= longitude <= east:
        if west <= -longitude <= east:
            message = "longitude without its minus sign? West of Greenwich is negative"
        else:
            message = "longitude out of range"
        accepted = f"{west:g} to {east:g} (decimal degrees, west negative)"
        faults.append(PlaceFault("longitude", message, accepted))
    return faults


def state_code(text: str, regions: Mapping[str, str]) -> str | None:
    """The code of a state of its code or name, in any case; None where it is neither."""
    asked = " ".join(text.split()).casefold()
    return next(
        (c for c, name in regions.items() if asked in (c.casefold(), name.casefold())), None
    )


def looks_sexagesimal(text: str) -> bool:
    """Whether a text seems to be degrees and minutes, or to carry a compass letter."""
    return _SEXAGESIMAL.search(text) is not None and any(c.isdigit() for c in text)
