"""Groups of regions whose fields are scouted alike, and which of them a place lies in."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import Field

from stagecast.knowledge.quantities import Number, Provenance, Strict
from stagecast.knowledge.texts import Name


class RegionPart(Strict):
    """A piece of a region between latitudes and longitudes, decimal degrees."""

    region: str
    north_of: Number | None = None
    south_of: Number | None = None
    east_of: Number | None = None
    west_of: Number | None = None

    def holds(self, region: str, latitude: float, longitude: float) -> bool:
        """Whether a place of a region lies in it."""
        north = self.north_of is None or latitude > self.north_of
        south = self.south_of is None or latitude < self.south_of
        east = self.east_of is None or longitude > self.east_of
        west = self.west_of is None or longitude < self.west_of
        return region == self.region and north and south and east and west


class RegionGroup(Provenance):
    """A group of ``groups.toml``: regions that lie in it as wholes, and parts of others."""

    name: Name
    regions: tuple[str, ...] = Field(min_length=1)
    parts: tuple[RegionPart, ...] = ()

    def reaches(self, region: str) -> bool:
        """Whether a region or a part of it lies in the group."""
        return region in self.regions or any(part.region == region for part in self.parts)


Groups = Mapping[str, RegionGroup]
"""By id, as Knowledge.groups holds them."""


def group_of(region: str, groups: Groups) -> str:
    """Id of the group in which a region lies for the most part; nothing for what is no region."""
    return next((key for key, one in groups.items() if region in one.regions), "")


def group_at(region: str, latitude: float, longitude: float, groups: Groups) -> str:
    """Id of the group in which a place of a region lies: by parts of the region, then its own."""
    for key, group in groups.items():
        if any(part.holds(region, latitude, longitude) for part in group.parts):
            return key
    return group_of(region, groups)
