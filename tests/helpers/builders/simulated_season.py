"""Fields with a known truth, visited by the rule day by day.

Stink bugs in Tennessee at R4, threshold 9 per 25 sweeps. A third of the fields never gets many, in
a third what is there declines, in a third it passes the threshold on some day. Every visit is four
sets of 25 sweeps, negative binomial, k of the field lognormal round 1. Invented populations: they
tell how soon the rule sees what it should and what that costs, not how many fields there are.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from stagecast.counts.assess import assess
from stagecast.knowledge import Knowledge
from stagecast.season.log.entries import LoggedCount, LoggedSet, LoggedVisit
from stagecast.season.tables.visits import Visit
from stagecast.visits.interval import days_to_next
from stagecast.visits.pressure import counted_pressure

THRESHOLD, SETS, SEASON_DAYS = 9.0, 4, 60
EARLY_DAYS = 5
"""A visit that says near so soon before the crossing is in time: it is not the last before it."""
START = dt.date(2026, 7, 1)
PEST, REGION, STAGE = "stink-bugs", "TN", "R4"


@dataclass(frozen=True, slots=True)
class Told:
    """What a visit said: near its threshold or above it, when to be back, and sets to take then."""

    late: bool
    days: int
    extra_sets: int


Rule = Callable[[Sequence[int]], Told]
"""From the counts of some sets to what the visit says."""


@dataclass(frozen=True, slots=True)
class Truth:
    """A field: its mean per set on day 0, growth per day, and k; not over twelve times as many."""

    mean: float
    per_day: float
    k: float
    most: float

    def on(self, day: int) -> float:
        """Mean per set on a day."""
        return float(min(self.mean * math.exp(self.per_day * day), self.most))

    @property
    def crosses(self) -> int | None:
        """The first day on which the mean is at the threshold, if any in the season."""
        return next((d for d in range(SEASON_DAYS) if self.on(d) >= THRESHOLD), None)


@dataclass(slots=True)
class Season:
    """What came out, over all fields."""

    late_days: list[int] = field(default_factory=list)
    missed: int = 0
    crossed: int = 0
    visits: int = 0
    low_visits: int = 0
    extra_sets: int = 0
    needless_sets: int = 0
    fields: int = 0
    gaps: dict[int, int] = field(default_factory=dict)


def fields_of(number: int, random: np.random.Generator) -> list[Truth]:
    """Fields of three kinds, as many of each."""
    found = []
    for index in range(number):
        k = float(np.exp(0.7 * random.normal()))
        if index % 3 == 0:
            level = THRESHOLD * float(random.choice([0.0, 0.02, 0.05, 0.1, 0.2]))
            found.append(Truth(level, 0.0, k, THRESHOLD))
        elif index % 3 == 1:
            found.append(Truth(THRESHOLD * random.uniform(0.1, 0.6), -0.05, k, THRESHOLD))
        else:
            rate = max(0.02, float(random.normal(0.10, 0.05)))
            day = random.uniform(10, 50)
            found.append(Truth(THRESHOLD * math.exp(-rate * day), rate, k, 6 * THRESHOLD))
    return found


def walked(rule: Rule, fields: Sequence[Truth], *, seed: int) -> Season:
    """Visit every field by the rule, until one that crossed is told, or the season is over."""
    season = Season(fields=len(fields))
    for index, truth in enumerate(fields):
        random = np.random.default_rng([seed, index])
        crosses, day, sets = truth.crosses, int(random.integers(0, 7)), SETS
        season.crossed += crosses is not None
        while day < SEASON_DAYS:
            mean = truth.on(day)
            counts = random.poisson(random.gamma(truth.k, mean / truth.k, sets)).tolist()
            told = rule(counts)
            season.visits += 1
            season.low_visits += mean < THRESHOLD / 2
            season.extra_sets += sets - SETS
            season.needless_sets += (sets - SETS) * (mean < THRESHOLD / 2)
            if crosses is not None and told.late and day >= crosses - EARLY_DAYS:
                season.late_days.append(max(0, day - crosses))
                break
            season.gaps[told.days] = season.gaps.get(told.days, 0) + 1
            day, sets = day + told.days, SETS + told.extra_sets
        else:
            season.missed += crosses is not None
    return season


def by_the_rule(knowledge: Knowledge) -> Rule:
    """The rule of this version: its answers, and its days."""

    def told(counts: Sequence[int]) -> Told:
        sets = tuple(
            LoggedSet(n, 25.0, "sweeps", (LoggedCount(PEST, "", float(count)),))
            for n, count in enumerate(counts, 1)
        )
        visit = LoggedVisit("v", "F1", START, stage=STAGE, sets=sets)
        found = assess(visit, stage=STAGE, stage_seen=True, region=REGION, knowledge=knowledge)
        counted = counted_pressure(found, knowledge)
        days, _ = days_to_next(
            Visit("F1", START, None, None, STAGE, None, "v"), counted, knowledge=knowledge
        )
        return Told(found.pests[0].answer in ("near", "above"), days, 0)

    return told
