"""Models of ``waiting.toml`` and ``workday.toml``: what waiting costs, and a day's work."""

from __future__ import annotations

from stagecast.knowledge.quantities import Count, Quantity, Statement, Strict
from stagecast.knowledge.stages import CropEvent


class Loss(Strict):
    """Yield that a pest at its injury level takes, and over how many days."""

    at_threshold: Quantity
    feeding_days: Count
    reference_yield: Quantity


class Arrival(Strict):
    """Chance per day that a pest comes to its threshold while nobody looks."""

    rank_1: Quantity
    rank_2: Quantity
    rank_3: Quantity
    untimed_share: Quantity
    unforeseen: Quantity
    most_days: Count

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


class Money(Strict):
    """Prices until the season says otherwise."""

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
    arrival: Arrival
    noted: Noted
    stand: Stand
    money: Money
    later: Later


class Hours(Strict):
    """When a day of work starts and ends."""

    starts: Count
    ends: Count
    lunch: Count
    lunch_length: Count


class Driving(Strict):
    """How distances and times of driving are estimated."""

    speed: Quantity
    road_factor: Quantity


class FieldWork(Strict):
    """Minutes in a field."""

    fixed: Count
    per_set: Count
    per_place: Count
    walk_speed: Quantity
    most_walk: Count
    most_sets: Count


class Heat(Strict):
    """When a day is called hot."""

    high: Quantity
    chance: Quantity
    caution: Statement


class Workday(Strict):
    """All of ``workday.toml``."""

    hours: Hours
    driving: Driving
    field: FieldWork
    heat: Heat
