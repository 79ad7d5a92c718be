"""Which threshold speaks of a count: for a pest, its complex, or all that one source adds up."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeGuard

from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import stage_place
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.references import YOURS
from stagecast.knowledge.threshold import Threshold
from stagecast.knowledge.units import JUDGED, SampleUnit
from stagecast.pests.thresholds import (
    OWN_KINDS,
    UNKNOWN,
    FieldFacts,
    ShownThreshold,
    best,
    facts_that_matter,
    lasts_to,
    thresholds_at,
)

SilentAnswer = Literal["does not matter yet", "no longer matters", "no threshold"]
Ground = Literal["pest at other stages", "threshold at other stages", "other units", "leaf loss",
                 "of others", "none on file"]  # fmt: skip

SILENT: SilentAnswer = "no threshold"


@dataclass(frozen=True, slots=True)
class Silence:
    """Why no threshold speaks of a pest in a unit, at the ``stage`` of the field.

    The pest hurts, or its thresholds (``held``) hold, at other stages; thresholds are by other
    ``units``; it is judged by the leaf loss of all feeders together; those that hold are of
    another part of the country or from memory; or none is on file.
    """

    answer: SilentAnswer
    ground: Ground
    stage: str
    pest: Pest
    unit: SampleUnit
    held: tuple[ShownThreshold, ...] = ()
    units: tuple[SampleUnit, ...] = ()


@dataclass(frozen=True, slots=True)
class CountLine:
    """Pests that are counted together, and their threshold, or why there is none.

    ``pest`` may be the complex; ``weights`` are of those that were looked for: id -> for how many
    one counts. ``usual`` is False where the threshold holds under a condition that the first one
    does not name, such as seed beans or another state: shown, but nothing rests on it. ``left_out``
    are ids of pests that the threshold counts too and nobody looked for.
    """

    pest: Pest
    weights: dict[str, float]
    shown: ShownThreshold | None
    silence: Silence | None = None
    usual: bool = True
    left_out: tuple[str, ...] = ()


def count_lines(
    looked_for: Sequence[str],
    *,
    unit: SampleUnit,
    stage: str,
    region: str,
    knowledge: Knowledge,
    facts: FieldFacts = UNKNOWN,
) -> tuple[CountLine, ...]:
    """Hold what was looked for in one unit against the thresholds of that unit.

    ``looked_for`` are ids of pests that some set of the unit names; every one is in one line at
    least. The thresholds of ``region`` come first.

    Notes
    -----
    A species that is counted with others is held against the threshold of its complex, and also
    against its own where it has one in this unit. Pests to which one source gives one and the
    same line (all caterpillars together) are added up under it. Leaf loss by all feeders is not a
    count: see :mod:`stagecast.counts.defoliation`.

    Of all thresholds in the unit only those of the best kind take part, at whatever stage they
    hold: where the region's own begins at R3, no neighbor's is asked at R2.
    """
    ours = facts_that_matter(facts, knowledge)
    asked = _Asked(tuple(looked_for), unit, stage, region, knowledge, ours)
    key = "count lines", asked.looked_for, unit, stage, region, ours
    return knowledge.once(key, lambda: _merged(asked))


def _merged(asked: _Asked) -> tuple[CountLine, ...]:
    """The lines of what is asked, those that one source gives to several pests as one."""
    merged: dict[object, CountLine] = {}
    for line in asked.lines():
        pooled = asked.unit not in JUDGED and _published(line.shown)
        key = source_line(line.shown.threshold) if pooled and line.shown else id(line)
        known = merged.get(key)
        merged[key] = line if known is None else _joined(known, line)
    return tuple(asked.told(line) for line in merged.values())


def lines_of_pest(
    pest: str,
    *,
    unit: SampleUnit,
    stage: str,
    region: str,
    knowledge: Knowledge,
    facts: FieldFacts = UNKNOWN,
) -> tuple[CountLine, ...]:
    """The lines of one pest, were it and all that is counted with it looked for.

    They are as :func:`count_lines` finds them before it joins those of one source, so that whoever
    keeps them can do without the thresholds themselves: what was not looked for is left out of
    the weights, and a line without weights falls away.
    """
    asked = _Asked(tuple(knowledge.pests), unit, stage, region, knowledge, facts)
    whole = knowledge.pests[pest]
    return tuple(asked._of(whole, asked._members(whole)))


def complex_of(pest: Pest, knowledge: Knowledge) -> Pest | None:
    """The pest that another is counted with; leaf loss is judged and not counted."""
    if pest.counted_with in (None, knowledge.decisions.leaf_loss.pest):
        return None
    return knowledge.pests.get(pest.counted_with)


def sharing(threshold: Threshold, knowledge: Knowledge) -> list[Pest]:
    """The pests to which a source gives one and the same line."""
    return [pest for pest in knowledge.pests.values() if _bears(pest, threshold)]


def weights_of(threshold: Threshold) -> dict[str, float]:
    """Pests to which a source gives a weight of its own, and these."""
    return {one.pest: one.counts_as for one in threshold.weights}


@dataclass(frozen=True, slots=True)
class _Asked:
    looked_for: tuple[str, ...]
    unit: SampleUnit
    stage: str
    region: str
    knowledge: Knowledge
    facts: FieldFacts

    def lines(self) -> Iterator[CountLine]:
        """Lines of every complex and pest, before those of one source are joined."""
        whole_of = {pest.id: self._complex(pest) for pest in self._pests(*self.looked_for)}
        wholes = {whole.id: whole for whole in whole_of.values() if whole is not None}
        for pest in wholes.values():
            yield from self._of(pest, self._members(pest))
        for pest in self._pests(*self.looked_for):
            if pest.id in wholes:
                continue
            found = list(self._of(pest, {pest.id: 1.0}))
            # Where no threshold is for a species alone, its complex speaks for it.
            if whole_of[pest.id] is None or any(line.shown is not None for line in found):
                yield from found

    def told(self, line: CountLine) -> CountLine:
        """A line with what else its source counts, and weights in that source's own words."""
        if not _published(line.shown) or self.unit in JUDGED:
            return line
        threshold = line.shown.threshold
        same = sharing(threshold, self.knowledge)
        if len(same) < 2:
            return line
        leaf_loss = self.knowledge.decisions.leaf_loss.pest
        missing = [p.id for p in same if p.id not in line.weights and p.id != leaf_loss]
        together = [p for p in same if p.id == leaf_loss and len(line.weights) > 1]
        return replace(
            line,
            pest=together[0] if together else line.pest,
            weights=self._weighted(line.weights, threshold),
            left_out=() if leaf_loss in line.weights else tuple(missing),
        )

    def _weighted(self, weights: dict[str, float], threshold: Threshold) -> dict[str, float]:
        own = weights_of(threshold)
        return {pest: weight * own.get(pest, 1.0) for pest, weight in weights.items()}

    def _members(self, whole: Pest) -> dict[str, float]:
        """Those looked for that are counted with a pest, and for how many one of each counts."""
        found = {}
        for pest in self._pests(*self.looked_for):
            if pest.id == whole.id:
                found[pest.id] = 1.0
            elif self._complex(pest) == whole:
                found[pest.id] = 1.0 if pest.weight is None else float(pest.weight)
        return found

    def _complex(self, pest: Pest) -> Pest | None:
        return complex_of(pest, self.knowledge)

    def _pests(self, *ids: str) -> list[Pest]:
        known = self.knowledge.pests
        return [known[pest] for pest in ids if pest in known]

    def _of(self, pest: Pest, members: dict[str, float]) -> Iterator[CountLine]:
        """The lines of one pest at the stage, or the one that says why there is none."""
        every = self._in_unit(pest, None)
        kind = every[0].kind if every else None
        now = [shown for shown in self._in_unit(pest, self.stage) if shown.kind == kind]
        silence = self._outside(pest)
        if silence is None and not now:
            silence = self._silent(pest, best(every))
        if silence is not None and not (now and kind in OWN_KINDS):
            yield CountLine(pest, members, None, silence)
            return
        deciding = [shown for shown in now if shown.decides]
        if not deciding:
            others = replace(self._silence(SILENT, "of others", pest), held=tuple(now[:1]))
            yield CountLine(pest, members, None, others)
            return
        now, first = deciding, set[str]()
        for shown in now:
            threshold = shown.threshold
            usual = threshold.what not in first and threshold.region == now[0].threshold.region
            first.add(threshold.what)
            held = self._held(pest, members, threshold)
            if held:
                yield CountLine(pest, held, shown, usual=usual)

    def _held(
        self, pest: Pest, members: dict[str, float], threshold: Threshold
    ) -> dict[str, float]:
        """Which of the members a threshold counts."""
        if not threshold.named_species_only:
            return members
        named = set(pest.scientific)
        kept = {p.id for p in self._pests(*members) if p == pest or named & set(p.scientific)}
        return {one: weight for one, weight in members.items() if one in kept}

    def _in_unit(self, pest: Pest, stage: str | None) -> list[ShownThreshold]:
        """Thresholds in the unit that were published for just this pest, or set for it."""
        found = thresholds_at(
            pest,
            region=self.region,
            stage=stage,
            knowledge=self.knowledge,
            alone=True,
            facts=self.facts,
        )
        return [s for s in found if s.threshold.unit == self.unit and not s.threshold.leaf_loss]

    def _outside(self, pest: Pest) -> Silence | None:
        """Whether the pest cannot hurt beans at the stage."""
        place = stage_place(self.stage)
        if place < stage_place(pest.host.first):
            return self._silence("does not matter yet", "pest at other stages", pest)
        last = lasts_to(pest, region=self.region, knowledge=self.knowledge, facts=self.facts)
        if place > stage_place(last):
            return self._silence("no longer matters", "pest at other stages", pest)
        return None

    def _silent(self, pest: Pest, held: tuple[ShownThreshold, ...]) -> Silence:
        """Why none speaks at a stage at which the pest can hurt."""
        if not held:
            return self._no_unit(pest)
        place, answer = stage_place(self.stage), SILENT
        begins = min(stage_place(s.threshold.first) for s in held)
        # When it matters elsewhere says little of here.
        if held[0].kind != "elsewhere" and place < begins:
            answer = "does not matter yet"
        return replace(self._silence(answer, "threshold at other stages", pest), held=held)

    def _no_unit(self, pest: Pest) -> Silence:
        """That no threshold is in the unit, and which units there are."""
        if pest.counted_with == self.knowledge.decisions.leaf_loss.pest:
            return self._silence(SILENT, "leaf loss", pest)
        found = thresholds_at(
            pest, region=self.region, stage=None, knowledge=self.knowledge, facts=self.facts
        )
        if self.unit == "percent" and any(shown.threshold.leaf_loss for shown in found):
            return self._silence(SILENT, "leaf loss", pest)
        units = tuple(dict.fromkeys(shown.threshold.unit for shown in found))
        ground: Ground = "other units" if units else "none on file"
        return replace(self._silence(SILENT, ground, pest), units=units)

    def _silence(self, answer: SilentAnswer, ground: Ground, pest: Pest) -> Silence:
        return Silence(answer, ground, self.stage, pest, self.unit)


def _published(shown: ShownThreshold | None) -> TypeGuard[ShownThreshold]:
    """Whether a threshold is of a source, which may have given it to several pests."""
    return shown is not None and shown.threshold.region != YOURS


def _bears(pest: Pest, threshold: Threshold) -> bool:
    return any(source_line(t) == source_line(threshold) for t in pest.thresholds)


def source_line(threshold: Threshold) -> tuple[object, ...]:
    """What makes two thresholds one line of one source, whatever it calls what it counts."""
    t = threshold
    return t.region, t.source, t.unit, t.per, t.value, t.high, t.first, t.last


def _joined(one: CountLine, other: CountLine) -> CountLine:
    """Two lines of one source: everything counted together."""
    weights = {**one.weights, **other.weights}
    return replace(one, weights=weights, usual=one.usual or other.usual)
