"""What waiting costs: losses, responses, arrivals and prices, as waiting.toml holds them."""

from __future__ import annotations

from stagecast.knowledge.crop import CropEvent
from stagecast.knowledge.quantities import Count, Provenance, Quantity, Strict


class Loss(Strict):
    """Yield that a pest at its injury level takes, and over how many days."""

    at_threshold: Quantity
    feeding_days: Count
    reference_yield: Quantity


class FullRates(Provenance):
    """Regions in which pests come at the full rates."""

    regions: tuple[str, ...]


class LeafResponse(Provenance):
    """Yield response to pests that take leaf, and those pests."""

    pests: tuple[str, ...]
    response: dict[CropEvent, Quantity]


class ArrivalRates(Strict):
    """Chance per day that a pest comes to its threshold while nobody looks."""

    rank_1: Quantity
    rank_2: Quantity
    rank_3: Quantity
    untimed_share: Quantity
    unforeseen: Quantity
    elsewhere_share: Quantity
    most_days: Count
    full: FullRates

    def share_in(self, region: str) -> float:
        """The share of the rates that holds in a region."""
        return 1.0 if region in self.full.regions else float(self.elsewhere_share)

    def of_rank(self, rank: int) -> Quantity:
        """The chance of a pest of a rank; rank 3 stands for later ones."""
        return {1: self.rank_1, 2: self.rank_2}.get(rank, self.rank_3)


class Noted(Strict):
    """Share of the threshold that a word for the pressure stands for."""

    near_threshold: Quantity
    some: Quantity
    virtually_none: Quantity
    log_sd: Quantity


class Stand(Strict):
    """A missed look at the stand."""

    poor_chance: Quantity
    replant_loss: Quantity
    seen_share: Quantity


class UsualPrices(Strict):
    """UsualPrices until the season says otherwise."""

    price: Quantity
    field_yield: Quantity
    drive: Quantity
    hour: Quantity


class Later(Strict):
    """How long a field that is left out goes on waiting."""

    days: Count


class Waiting(Strict):
    """All of ``waiting.toml``."""

    loss: Loss
    response: dict[CropEvent, Quantity]
    leaf: LeafResponse
    arrival: ArrivalRates
    noted: Noted
    stand: Stand
    money: UsualPrices
    later: Later
