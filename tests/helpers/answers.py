"""Simulated fields, and how they are answered after some sets."""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from stagecast.counts.judge import levels_of, prior_of
from stagecast.counts.posterior import answer_of, chance_over, posterior
from stagecast.knowledge import load

RULE = load().decisions.counting
PRIOR, LEVELS = prior_of(float(RULE.k_usual), RULE), levels_of(RULE)
ANSWERS = ("below", "near", "above")


def drawn(
    mean: float, k: float | NDArray[np.float64], *, sets: int, fields: int, seed: int
) -> NDArray[np.float64]:
    """Counts of sets of usual size in fields of one mean; shape (fields, sets)."""
    rng = np.random.default_rng(seed)
    if mean == 0.0:
        return np.zeros((fields, sets))
    size = np.broadcast_to(np.asarray(k, dtype=np.float64), (fields,))[:, None]
    rates = rng.gamma(size, mean / size, size=(fields, sets))
    return rng.poisson(rates).astype(np.float64)


def shares_answered(
    mean: float, k: float, *, threshold: float, sets: int = 4, fields: int, seed: int
) -> dict[str, float]:
    """Share of fields of a mean and k that get each answer after the usual sets."""
    counts = drawn(mean, k, sets=sets, fields=1 if mean == 0.0 else fields, seed=seed)
    found: Counter[str] = Counter()
    for told, number in Counter(tuple(sorted(row)) for row in counts.tolist()).items():
        chance = chance_over(told, threshold=threshold, prior=PRIOR)
        average = sum(told) / sets
        answer = answer_of(chance, mean=average, threshold=threshold, levels=LEVELS)
        found[answer] += number
    return {answer: found[answer] / len(counts) for answer in ANSWERS}


def share_held(
    mean: float, k: float | NDArray[np.float64], *, threshold: float, fields: int, seed: int
) -> float:
    """Share of fields whose 80 percent range after four sets holds their mean."""
    held = 0
    for row in drawn(mean, k, sets=4, fields=fields, seed=seed):
        low, high = posterior(row, at=threshold, prior=PRIOR).interval(float(RULE.interval))
        held += low <= mean <= high
    return held / fields
