"""Models of ``decisions.toml``: from counts to decisions."""

from __future__ import annotations

from stagecast.knowledge.quantities import Count, Quantity, Statement, Strict


class Counting(Strict):
    """How counts of sets are judged."""

    k_usual: Quantity
    k_least: Quantity
    k_most: Quantity
    k_prior_sets: Quantity
    interval: Quantity
    usual_sets: Count
    sure: Quantity
    lower_share: Quantity
    upper_share: Quantity
    error_above: Quantity
    error_below: Quantity
    most_sets: Count


class PressureShares(Strict):
    """Shares of a threshold at which a field is close to it, or virtually without."""

    near_share: Quantity
    quiet_share: Quantity


class Growth(Strict):
    """How a density is projected from one visit to the next."""

    per_day: Quantity
    sd: Quantity
    furthest: Count
    crossing: Quantity


class Treated(Strict):
    """What follows a treatment."""

    check_soonest: Count
    check_latest: Count
    entry_rule: Statement


class LeafLoss(Strict):
    """The pest file whose thresholds speak of leaf loss by all feeders together."""

    pest: str


class Decisions(Strict):
    """All of ``decisions.toml``."""

    counting: Counting
    pressure: PressureShares
    growth: Growth
    treated: Treated
    leaf_loss: LeafLoss
