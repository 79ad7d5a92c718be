"""Groups of regions: every region in one, split states by the place of the field."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from stagecast.knowledge import Knowledge, load
from stagecast.knowledge.groups import group_at, group_of

KNOWLEDGE = load()
GROUPS = KNOWLEDGE.groups


def test_every_region_lies_in_one_group() -> None:
    """And the parts are of regions that are there."""
    assert {group_of(region, GROUPS) for region in KNOWLEDGE.regions} == set(GROUPS)
    parts = [part.region for group in GROUPS.values() for part in group.parts]
    assert set(parts) <= set(KNOWLEDGE.regions)
    assert group_of("XX", GROUPS) == ""


@pytest.mark.parametrize(
    ("place", "region", "group"),
    [
        ((31.6, -90.4), "MS", "gulf"),  # Brookhaven
        ((33.4, -90.9), "MS", "mid-south"),  # Leland, in the Delta
        ((31.2, -85.4), "AL", "gulf"),  # Dothan
        ((34.7, -86.6), "AL", "mid-south"),  # Huntsville
        ((36.2, -89.7), "MO", "mid-south"),  # Caruthersville, in the Bootheel
        ((38.9, -92.3), "MO", "west-corn"),  # Columbia
        ((36.7, -76.6), "VA", "southeast"),  # Suffolk
        ((38.5, -78.0), "VA", "mid-atlantic"),  # Culpeper
        ((35.3, -77.6), "NC", "southeast"),  # Kinston
        ((35.7, -80.9), "NC", "mid-atlantic"),  # Statesville
        ((43.1, -93.2), "IA", "north-plains"),  # Mason City
        ((41.6, -93.6), "IA", "west-corn"),  # Des Moines
    ],
)
def test_split_states_go_by_the_place(place: tuple[float, float], region: str, group: str) -> None:
    """Towns by their published coordinates, on the side on which the state texts have them."""
    assert group_at(region, *place, GROUPS) == group


def test_a_region_without_a_group_is_refused() -> None:
    """A group that loses a region leaves it without ranks: the knowledge is not whole then."""
    raw = KNOWLEDGE.model_dump(by_alias=True)
    raw["groups"]["gulf"]["regions"] = ("FL", "LA")
    with pytest.raises(ValidationError, match="one group"):
        Knowledge.model_validate(raw)
