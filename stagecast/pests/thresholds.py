"""Treatment thresholds of a pest as a region sees them: own ones, its own, or its neighbors'."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import STAGE_ORDER, CropEvent, stage_place
from stagecast.knowledge.pest import Pest, Threshold
from stagecast.knowledge.references import YOURS

Kind = Literal["yours", "here", "neighbor", "wider area", "elsewhere"]
KINDS: tuple[Kind, ...] = ("yours", "here", "neighbor", "wider area", "elsewhere")
MOST_TOLD = 3


@dataclass(frozen=True, slots=True)
class ShownThreshold:
    """A threshold and what it is to a region.

    Attributes
    ----------
    kind : {"yours", "here", "neighbor", "wider area", "elsewhere"}
        Set by the consultant; published for the region itself, for one that touches it, for an
        area that holds it, or for another region.
    region : str
        Name of the region or area it was published for; ``yours`` for the consultant's own.
    threshold : Threshold
        As it was published.
    usual_set : int
        Sweeps in a set, to which counts by sweeps are converted.
    """

    kind: Kind
    region: str
    threshold: Threshold
    usual_set: int

    @property
    def text(self) -> str:
        """``9 bugs per 25 sweeps (Tennessee, R1-R6)``; a conversion and a guess are named."""
        t, where = self.threshold, self._where
        value = in_sweeps(t, per=self.usual_set)
        if value is None or t.per == self.usual_set:
            return f"{_amount(t)} ({where})"
        high = None if t.high is None else _rounded(t.high * self.usual_set / t.per)
        usual = t.model_copy(update={"value": _rounded(value), "high": high, "per": self.usual_set})
        published = f"{_number(t.value, t.high)} per {'sweep' if t.per == 1 else f'{t.per:g}'}"
        return f"{_amount(usual)} (converted from {published}; {where})"

    @property
    def condition(self) -> str:
        """What the source's figure holds for, by the first words of its note: ``seed beans``."""
        return self.threshold.note.partition(";")[0]

    @property
    def _where(self) -> str:
        t = self.threshold
        whose = {
            "yours": YOURS,
            "here": self.region,
            "neighbor": f"neighbor {self.region}",
            "wider area": f"{self.region}, no single state",
            "elsewhere": f"elsewhere, {self.region}",
        }[self.kind]
        return f"{whose}, {span_text(t.first, t.last)}{', unverified' if t.unverified else ''}"


@dataclass(frozen=True, slots=True)
class StageThreshold:
    """A threshold, and the crop stages at which none of a better kind holds."""

    shown: ShownThreshold
    stages: tuple[CropEvent, ...]

    @property
    def at(self) -> str:
        """``R1-R5``, or ``VC, V2``: the stages in runs."""
        runs: list[list[CropEvent]] = []
        for stage in self.stages:
            if runs and stage_place(stage) == stage_place(runs[-1][-1]) + 1:
                runs[-1].append(stage)
            else:
                runs.append([stage])
        return ", ".join(span_text(run[0], run[-1]) for run in runs)


def span_text(first: str, last: str) -> str:
    """Stages a threshold holds for: ``R1-R6``, ``V1``, ``V1-V4+`` where V4 is for later nodes."""
    end = f"{last}+" if last == "V4" else last
    return end if first == last else f"{first}-{end}"


def thresholds_at(
    pest: Pest, *, region: str, stage: str | None, knowledge: Knowledge
) -> tuple[ShownThreshold, ...]:
    """Thresholds of a pest that may be shown to a region, the best first.

    Parameters
    ----------
    pest : Pest
        A species without thresholds of its own takes those of the complex it is counted with.
    region : str
        Code of the region that asks.
    stage : str or None
        Crop stage, V5 and later nodes as V4; None for the thresholds of all stages.
    knowledge : Knowledge
        Where regions, their neighbors and wider areas are found.

    Returns
    -------
    tuple of ShownThreshold
        By kind: yours, here, neighbor, wider area, elsewhere; among other regions the nearest
        first, by how many borders lie between; those as near by name.

    Notes
    -----
    A threshold holds from its first to its last stage, both included. Where one ends and another
    of the same region, count and unit begins at the same stage (to R5, from R5), the stage belongs
    to the one that begins; the one that ends keeps it only where no other takes over.
    """
    found = _thresholds(pest, knowledge)
    if stage is not None:
        place = stage_place(stage)
        found = tuple(t for t in found if _holds(t, place))
        begun = {_series(t) for t in found if stage_place(t.first) == place}
        found = tuple(t for t in found if not _gives_way(t, place, begun))
    shown = [_shown(t, region, knowledge) for t in found]
    away = _borders(region, knowledge)
    far = len(knowledge.regions)

    def order(one: ShownThreshold) -> tuple[int, int, str]:
        return KINDS.index(one.kind), away.get(one.threshold.region, far), one.region

    return tuple(sorted(shown, key=order))


def best_by_stage(
    pest: Pest,
    *,
    region: str,
    knowledge: Knowledge,
    stages: Sequence[CropEvent] = STAGE_ORDER,
) -> tuple[StageThreshold, ...]:
    """The thresholds that a region is shown at some stages: at each stage those of the best kind.

    Parameters
    ----------
    pest, region, knowledge
        As in :func:`thresholds_at`, whose order is kept.
    stages : sequence of str
        In their order; default all.
    """
    held: dict[ShownThreshold, list[CropEvent]] = {
        shown: [] for shown in thresholds_at(pest, region=region, stage=None, knowledge=knowledge)
    }
    for stage in stages:
        found = thresholds_at(pest, region=region, stage=stage, knowledge=knowledge)
        for shown in best(found):
            held[shown].append(stage)
    return tuple(StageThreshold(shown, tuple(at)) for shown, at in held.items() if at)


def in_sweeps(threshold: Threshold, *, per: float) -> float | None:
    """The threshold's value in a set of so many sweeps, or None when it is not by sweeps.

    Parameters
    ----------
    threshold : Threshold
    per : float
        Sweeps in the set wanted.

    Notes
    -----
    Linear, and no more than approximately right: means per sweep were similar for sets of 10 and
    of 25 sweeps. Say 'converted' wherever it is shown. Nothing else is ever converted: a row-foot
    is not so many sweeps.

    References
    ----------
    University of Nebraska and others (2022), Crop Protection 157:105986.
    """
    if threshold.unit != "sweeps":
        return None
    return threshold.value * per / threshold.per


def best(shown: Sequence[ShownThreshold]) -> tuple[ShownThreshold, ...]:
    """Those of the best kind there is: a neighbor's are not shown beside the region's own."""
    return tuple(s for s in shown if s.kind == shown[0].kind)


def threshold_text(shown: Sequence[ShownThreshold]) -> str:
    """The best of the thresholds in a line, ``, or`` between them; nothing where there is none."""
    found = best(shown)
    twins = Counter(_series(s.threshold) for s in shown)
    told = [s.text + _apart(s, twins) for s in found[:MOST_TOLD]]
    more = [f"{len(found) - MOST_TOLD} more"] if len(found) > MOST_TOLD else []
    return ", or ".join(told + more)


def _thresholds(pest: Pest, knowledge: Knowledge) -> tuple[Threshold, ...]:
    """Own ones of a species before those of its complex, where no source has any for it alone."""
    published = any(t.region != YOURS for t in pest.thresholds)
    if published or pest.counted_with is None or pest.counted_with not in knowledge.pests:
        return pest.thresholds
    return (*pest.thresholds, *knowledge.pests[pest.counted_with].thresholds)


def _shown(threshold: Threshold, region: str, knowledge: Knowledge) -> ShownThreshold:
    code = threshold.region
    kind: Kind = "elsewhere"
    name = knowledge.regions.get(code, code)
    if code == YOURS:
        kind = "yours"
    elif code == region:
        kind = "here"
    elif code in knowledge.neighbors.get(region, ()):
        kind = "neighbor"
    elif code in knowledge.areas:
        name = knowledge.areas[code].name
        kind = "elsewhere" if region in knowledge.areas[code].without else "wider area"
    return ShownThreshold(kind, name, threshold, int(knowledge.sweeps.usual_set))


def _borders(region: str, knowledge: Knowledge) -> dict[str, int]:
    """How many borders lie between a region and every other that can be reached by land."""
    away = {region: 0}
    edge = [region]
    while edge:
        crossed = (other for code in edge for other in knowledge.neighbors.get(code, ()))
        further = [code for code in dict.fromkeys(crossed) if code not in away]
        away.update(dict.fromkeys(further, away[edge[0]] + 1))
        edge = further
    return away


def _holds(threshold: Threshold, place: int) -> bool:
    return stage_place(threshold.first) <= place <= stage_place(threshold.last)


def _series(threshold: Threshold) -> tuple[str, str, str]:
    """What must agree for one threshold to take over from another."""
    return threshold.region, threshold.what, threshold.unit


def _gives_way(threshold: Threshold, place: int, begun: set[tuple[str, str, str]]) -> bool:
    ends = stage_place(threshold.first) < place == stage_place(threshold.last)
    return ends and _series(threshold) in begun


def _apart(one: ShownThreshold, twins: Counter[tuple[str, str, str]]) -> str:
    """What tells a threshold from another of the same region and unit that holds as well."""
    several = twins[_series(one.threshold)] > 1
    return f" [{one.condition}]" if several and one.condition else ""


def _amount(threshold: Threshold) -> str:
    """``9 bugs per 25 sweeps``, ``1 bug per row-foot``."""
    amount, unit = _number(threshold.value, threshold.high), threshold.measure
    if amount == "1" and threshold.what.isalpha():
        unit = unit.replace(threshold.what, threshold.what.removesuffix("s"), 1)
    return f"{amount} {unit}"


def _number(value: float, high: float | None) -> str:
    return f"{value:g}" if high is None else f"{value:g}-{high:g}"


def _rounded(value: float) -> float:
    """A converted count: one decimal, or two digits below one; more would be pretence."""
    return round(value, 1) if value >= 1 else float(f"{value:.2g}")
