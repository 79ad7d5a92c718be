"""How many of what a threshold counts each set of a visit held: species and life stages added."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from stagecast.knowledge import Knowledge
from stagecast.knowledge.life_stages import GROWN, LARGE, NEVER, SMALL, YOUNG
from stagecast.knowledge.threshold import Threshold
from stagecast.knowledge.units import JUDGED, SampleUnit
from stagecast.season.log.entries import (
    LARGEST_SET,
    MOST_COUNTED,
    SMALLEST_SET,
    LoggedSet,
    LoggedVisit,
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which life stages a threshold counts; without one, all but eggs and pupae.

    ``only_large`` leaves small ones out, ``only_young`` adults and ``only_adults`` the young; with
    ``only_nymphs`` or ``only_adults`` a count without life stages is doubtful, for they look alike.
    """

    only_large: bool = False
    only_young: bool = False
    only_nymphs: bool = False
    only_adults: bool = False

    @classmethod
    def by(cls, threshold: Threshold) -> Wanted:
        """What a threshold counts, by its keys."""
        stage = threshold.life_stage
        return cls(
            only_large=threshold.large_only,
            only_young=stage in ("larvae", "nymphs"),
            only_nymphs=stage == "nymphs",
            only_adults=stage == "adults",
        )

    def counts(self, life_stage: str) -> bool:
        """Whether a life stage, as the scout calls it, counts; eggs and pupae never do."""
        text = life_stage.casefold()
        if NEVER.search(text):
            return False
        if self.only_large and SMALL.search(text):
            return False
        if self.only_adults and YOUNG.search(text):
            return False
        return not (self.only_young and GROWN.search(text))

    def doubts(self, life_stage: str) -> bool:
        """Whether it counts only because nothing says that it should not."""
        text = life_stage.casefold()
        grown = GROWN.search(text)
        unsized = self.only_large and not (LARGE.search(text) or grown)
        unaged = self.only_nymphs and not YOUNG.search(text)
        unaged = unaged or (self.only_adults and not grown)
        return self.counts(life_stage) and (unsized or unaged)


@dataclass(frozen=True, slots=True)
class PooledCounts:
    """Counts of some pests together, set by set, with the numbers and sizes of the sets.

    ``counts`` are by the weights of the pests; ``parts`` names every pest that was looked for with
    its insects in all sets, not weighted. ``unsorted`` says that something counted though the scout
    did not say that it is of the size or life stage that is asked for; ``uneven`` that some pest
    was looked for in some of the sets only.
    """

    unit: SampleUnit
    numbers: tuple[int, ...]
    sizes: tuple[float, ...]
    counts: tuple[float, ...]
    parts: tuple[tuple[str, float], ...]
    unsorted: bool
    uneven: bool

    @property
    def total(self) -> float:
        """Insects in all sets, by their weights."""
        return sum(self.counts)

    def size(self, usual: float) -> float:
        """Size to which a mean per set refers: that of all sets, or the usual one if they differ.

        Parameters
        ----------
        usual : float
            Used only where the sets differ in size.
        """
        return self.sizes[0] if len(set(self.sizes)) == 1 else usual

    def mean(self, per: float) -> float:
        """Insects per so many of the unit, in proportion to the sizes of the sets."""
        return self.total * per / sum(self.sizes)


def pool(
    sets: Iterable[LoggedSet], *, unit: SampleUnit, weights: Mapping[str, float], wanted: Wanted
) -> PooledCounts | None:
    """Add up what counts, in every set of a unit in which any of the pests was looked for.

    ``weights`` says for how many one of a pest counts; others are left out. By number of set; None
    where none of the pests was looked for.

    Notes
    -----
    A pest that a set does not name was not looked for there, which is not zero: the set is left
    out unless it names another pest of these. A pest that a set names was looked for in all life
    stages: those that are not named were not found. Only where nothing but stages that never
    count are named, such as eggs, nobody looked for the others. Numbers beyond what the log takes
    today, which old logs may hold, are taken as the nearest that it does. What is judged has no
    size: the `100` of an old log's 100 percent is left aside.
    """
    ours = [s for s in sets if s.unit == unit and looked_for(s) & weights.keys()]
    if not ours:
        return None
    ours.sort(key=lambda s: (s.number, s.size))
    looked = [looked_for(s) & weights.keys() for s in ours]
    everyone = [pest for pest in weights if any(pest in names for names in looked)]
    return PooledCounts(
        unit=unit,
        numbers=tuple(s.number for s in ours),
        sizes=tuple(1.0 if unit in JUDGED else _within(s.size) for s in ours),
        counts=tuple(
            sum(weights[pest] * _number(s, pest, wanted) for pest in everyone) for s in ours
        ),
        parts=tuple((pest, sum(_number(s, pest, wanted) for s in ours)) for pest in everyone),
        unsorted=any(
            c.number > 0 and wanted.doubts(c.life_stage)
            for s in ours
            for c in s.counts
            if c.pest in weights
        ),
        uneven=any(names != set(everyone) for names in looked),
    )


def looked_for(one: LoggedSet) -> set[str]:
    """The pests of a set of which more was counted than eggs and the like."""
    return {c.pest for c in one.counts if not _never(c.life_stage)}


def named_by(visit: LoggedVisit, knowledge: Knowledge) -> frozenset[str]:
    """The pests that a visit looked for by name; the leaf feeders by the leaf loss."""
    named = frozenset(pest for one in visit.sets for pest in looked_for(one))
    judged = visit.defoliation_percent is not None
    return named | {knowledge.decisions.leaf_loss.pest} if judged else named


@lru_cache(maxsize=1024)
def _never(life_stage: str) -> bool:
    """Whether a life stage never counts: eggs and the like."""
    return NEVER.search(life_stage.casefold()) is not None


def _within(size: float) -> float:
    return min(max(size, SMALLEST_SET), LARGEST_SET)


def _number(one: LoggedSet, pest: str, wanted: Wanted) -> float:
    ours = (c for c in one.counts if c.pest == pest and wanted.counts(c.life_stage))
    return sum(min(c.number, MOST_COUNTED) for c in ours)
