"""What a field sheet must know to hold counts against thresholds where no program of ours runs.

The phone adds up, judges and words as :mod:`stagecast.counts.assess` does; what that takes from
the knowledge is laid out here as plain tables: for every unit, pest and crop stage the lines it is
told under, in numbers. Texts and lines that come again stand once and are pointed at.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache
from typing import Any

from stagecast.counts.assess import HALF
from stagecast.counts.defoliation import assess_defoliation
from stagecast.counts.judge import method_of
from stagecast.counts.lines import (
    CountLine,
    complex_of,
    lines_of_pest,
    sharing,
    source_line,
    weights_of,
)
from stagecast.counts.pool import Wanted
from stagecast.counts.stand import gap_loss
from stagecast.counts.tally import tally_rule
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import STAGE_ORDER
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.references import YOURS
from stagecast.knowledge.rules import TallyRule
from stagecast.knowledge.threshold import Threshold
from stagecast.knowledge.units import JUDGED, UNITS, SampleUnit
from stagecast.pages.render import visible
from stagecast.pests.thresholds import UNKNOWN, FieldFacts, ShownThreshold
from stagecast.season.log.cells import COLUMNS
from stagecast.season.log.entries import (
    LARGEST_HOOP_IN,
    LARGEST_SET,
    LONGEST_ROW_FT,
    MOST_COUNTED,
    MOST_PLACES,
    MOST_PLANTS,
    NARROWEST_ROW_IN,
    SHORTEST_ROW_FT,
    SMALLEST_HOOP_IN,
    SMALLEST_SET,
    WIDEST_ROW_IN,
)
from stagecast.words.counts import bloom_text, leaf_loss_text, silence_text
from stagecast.words.thresholds import threshold_text

Table = dict[str, Any]
FieldPlace = tuple[str, FieldFacts]
"""Code of the region in which a field lies, and what is known of it."""

LEAF_LOSS: SampleUnit = "percent"
"""Judged once for the whole canopy, and not set by set."""

STAGE_MARK = "{stage}"
"""Stands in a text for the stage as the scout writes it: V7 is told with V4."""


def sheet_rules(
    *, region: str, knowledge: Knowledge, fields: Mapping[str, FieldPlace] | None = None
) -> Table:
    """Everything that does not depend on the day.

    ``region``: code of the region whose thresholds come first.
    ``knowledge``: with the season's own thresholds and pests.
    ``fields``: by id where each lies and what is known of it; ``aparts`` holds what is otherwise
    in some, each once, and ``apart`` which of them a field has.

    Returns
    -------
    dict
        Of numbers, texts, lists and dicts, for JSON.
    """
    kept = _Kept(knowledge)
    units = [unit for unit in UNITS if unit != LEAF_LOSS]
    held = {
        of: {pest: _by_stage(kept, pest, of, region, UNKNOWN) for pest in knowledge.pests}
        for of in units
    }
    leaf = [_leaf(stage, region, knowledge, UNKNOWN) for stage in STAGE_ORDER]
    apart, aparts = _all_apart(kept, held, leaf, fields or {}, region)
    return {
        "columns": list(COLUMNS),
        "limits": {"count": MOST_COUNTED, "size": [SMALLEST_SET, LARGEST_SET]},
        "rule": _rule(knowledge),
        "stand": _stand(knowledge),
        "order": list(STAGE_ORDER),
        "stages": _stages(knowledge),
        "pests": {pest.id: _pest(pest, knowledge) for pest in knowledge.pests.values()},
        "leaf_pest": knowledge.decisions.leaf_loss.pest,
        "units": units,
        "one_of": {unit: UNITS[unit].one for unit in units},
        "judged": list(JUDGED),
        "usual_set": int(knowledge.sweeps.usual_set),
        "scale": max(
            (int(one.scale) for one in knowledge.sampling.values() if one.scale is not None),
            default=0,
        ),
        "usual": {unit: _usual(unit, knowledge) for unit in units},
        "half": HALF,
        "thresholds": kept.thresholds.values,
        "told": kept.told.values,
        "held": held,
        "leaf": leaf,
        "apart": apart,
        "aparts": aparts,
    }


class _Once:
    """A list in which equal things stand once."""

    def __init__(self) -> None:
        self.values: list[Any] = []
        self._places: dict[object, int] = {}

    def place(self, key: object, make: Callable[[], Any]) -> int:
        """Where the thing of a key stands; it is made where it does not stand yet."""
        if key not in self._places:
            self._places[key] = len(self.values)
            self.values.append(make())
        return self._places[key]


class _Kept:
    """Thresholds, and what pests are told at a stage, each once."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.thresholds = _Once()
        self.told = _Once()
        self._sources = _Once()

    def threshold(self, shown: ShownThreshold) -> int:
        """Place of a threshold."""
        return self.thresholds.place(shown, lambda: self._threshold(shown))

    def _threshold(self, shown: ShownThreshold) -> Table:
        threshold, what = shown.threshold, Wanted.by(shown.threshold)
        published = threshold.region != YOURS
        source = self._sources.place(source_line(threshold), lambda: None) if published else -1
        return {
            "value": threshold.value,
            "per": threshold.per,
            "of": threshold.unit,
            "text": visible(threshold_text(shown)),
            "large": what.only_large,
            "young": what.only_young,
            "nymphs": what.only_nymphs,
            "adults": what.only_adults,
            "source": source,
            "sharing": [p.id for p in sharing(threshold, self.knowledge)] if published else [],
            "weights": weights_of(threshold) if published else {},
        }

    def lines(self, lines: tuple[CountLine, ...], everyone: Mapping[str, float]) -> int:
        """Place of the lines of a pest at a stage."""
        told = [self._line(line, everyone) for line in lines]
        return self.told.place(repr(told), lambda: told)

    def _line(self, line: CountLine, everyone: Mapping[str, float]) -> Table:
        if line.shown is None:
            assert line.silence is not None
            return {
                "silence": line.silence.answer,
                "why": _readable(silence_text(replace(line.silence, stage=STAGE_MARK))),
            }
        found: Table = {"threshold": self.threshold(line.shown), "usual": line.usual}
        if line.weights.keys() != everyone.keys():
            found["only"] = list(line.weights)
        return found


def _all_apart(
    kept: _Kept,
    held: Mapping[SampleUnit, Mapping[str, list[int]]],
    leaf: list[Table],
    fields: Mapping[str, FieldPlace],
    region: str,
) -> tuple[dict[str, int], list[Table]]:
    """For each field that is told anything otherwise its place in the list of what it is told."""
    every = [one for pest in kept.knowledge.pests.values() for one in pest.thresholds]
    alike: dict[FieldPlace, int | None] = {}
    found: list[Table] = []
    for own, facts in fields.values():
        key = own, facts.that_matter(every)
        if key in alike:
            continue
        table = _apart(kept, held, leaf, *key, elsewhere=own != region)
        if table and table not in found:
            found.append(table)
        alike[key] = found.index(table) if table else None
    places = {name: alike[own, facts.that_matter(every)] for name, (own, facts) in fields.items()}
    return {name: place for name, place in places.items() if place is not None}, found


def _apart(
    kept: _Kept,
    held: Mapping[SampleUnit, Mapping[str, list[int]]],
    leaf: list[Table],
    region: str,
    facts: FieldFacts,
    *,
    elsewhere: bool,
) -> Table:
    """What a field is told otherwise than one of which nothing is known; empty for most.

    ``elsewhere``: whether its region is another than that of the rules.
    """
    pests = kept.knowledge.pests.values()
    some = [
        pest.id
        for pest in pests
        if elsewhere or facts.that_matter(_all_of(pest, kept.knowledge)) != UNKNOWN
    ]
    found: Table = {"held": {}}
    for of, general in held.items():
        own = {pest: _by_stage(kept, pest, of, region, facts) for pest in some}
        differ = {pest: places for pest, places in own.items() if places != general[pest]}
        if differ:
            found["held"][of] = differ
    own_leaf = [_leaf(stage, region, kept.knowledge, facts) for stage in STAGE_ORDER]
    if own_leaf != leaf:
        found["leaf"] = own_leaf
    return found if found["held"] or "leaf" in found else {}


def _all_of(pest: Pest, knowledge: Knowledge) -> list[Threshold]:
    """Thresholds of a pest and of what it is counted with."""
    whole = complex_of(pest, knowledge)
    return [*pest.thresholds, *(() if whole is None else whole.thresholds)]


def _by_stage(
    kept: _Kept, pest: str, unit: SampleUnit, region: str, facts: FieldFacts
) -> list[int]:
    places = []
    everyone = {p.id: 1.0 for p in _counted_with(kept.knowledge.pests[pest], kept.knowledge)}
    for stage in STAGE_ORDER:
        lines = lines_of_pest(
            pest, unit=unit, stage=stage, region=region, knowledge=kept.knowledge, facts=facts
        )
        places.append(kept.lines(lines, everyone))
    return places


def _counted_with(whole: Pest, knowledge: Knowledge) -> list[Pest]:
    """A pest, and those that are added up under it."""
    return [p for p in knowledge.pests.values() if whole in (p, complex_of(p, knowledge))]


@cache
def _readable(text: str) -> str:
    """The text as it may stand on a page; the same few come again for many stages and units."""
    return visible(text)


def _pest(pest: Pest, knowledge: Knowledge) -> Table:
    whole = complex_of(pest, knowledge)
    return {
        "name": visible(pest.name),
        "with": None if whole is None else whole.id,
        "weight": 1.0 if pest.weight is None else float(pest.weight),
        "k": None if pest.aggregation is None else float(pest.aggregation),
        "tally": {
            unit: _tally(rule)
            for unit in UNITS
            if (rule := tally_rule(pest, unit=unit, knowledge=knowledge)) is not None
        },
    }


def _tally(rule: TallyRule) -> Table:
    """A published plan by infested plants."""
    return {name: int(value) for name, value in rule}


def _rule(knowledge: Knowledge) -> Table:
    """The declared numbers by which counts are judged."""
    rule = knowledge.decisions.counting
    return {
        "k_usual": float(rule.k_usual),
        "k_log_sd": float(rule.k_log_sd),
        "k_rise": float(rule.k_rise),
        "k_least": float(rule.k_least),
        "k_most": float(rule.k_most),
        "mean_least": float(rule.mean_least),
        "mean_most": float(rule.mean_most),
        "interval": float(rule.interval),
        "below": float(rule.below),
        "above": float(rule.above),
        "settle": float(rule.settle),
        "stop": float(rule.stop),
        "stop_sets": int(rule.stop_sets),
        "near_share": float(knowledge.decisions.pressure.near_share),
        "near_days": int(knowledge.revisit.near_threshold_days),
    }


def _stand(knowledge: Knowledge) -> Table:
    """What a stand count takes, and what a stand keeps of its yield; see counts/stand.py."""
    rules = knowledge.stand
    return {
        "limits": {
            "row_width_in": [NARROWEST_ROW_IN, WIDEST_ROW_IN],
            "row_ft": [SHORTEST_ROW_FT, LONGEST_ROW_FT],
            "hoop_in": [SMALLEST_HOOP_IN, LARGEST_HOOP_IN],
            "plants": MOST_PLANTS,
            "places": MOST_PLACES,
        },
        "least_gap": float(rules.counting.least_gap),
        "kept": [[0, 0], *([one.plants, one.percent] for one in rules.kept)],
        "full": [[one.row_in, one.plants] for one in rules.full],
        "gap_loss": gap_loss(rules),
        "keep": float(rules.decision.keep),
        "close": float(rules.decision.close),
    }


def _usual(unit: SampleUnit, knowledge: Knowledge) -> Table:
    """How many sets one takes in a unit, and of what size; null where places hold what they do."""
    method = method_of(unit, knowledge)
    if method is None:
        return {"sets": int(knowledge.decisions.counting.usual_sets), "size": None}
    return {"sets": int(method.sets), "size": method.size}


def _stages(knowledge: Knowledge) -> list[Table]:
    """The stages that a scout picks from, with what each is."""
    texts = knowledge.soybean.stages
    return [
        {"code": code, "name": text.name, "definition": text.definition}
        for code, text in texts.items()
    ]


def _leaf(stage: str, region: str, knowledge: Knowledge, facts: FieldFacts) -> Table:
    """Leaf loss at a stage: the threshold that usually holds, others, or why there is none."""
    found = assess_defoliation(0.0, stage=stage, region=region, knowledge=knowledge, facts=facts)
    if found.threshold is None:
        why = leaf_loss_text(replace(found, stage=STAGE_MARK))
        return {"silence": found.answer, "why": visible(why)}
    return {
        "value": found.threshold.threshold.value,
        "text": visible(threshold_text(found.threshold)),
        "when": bloom_text(stage),
        "otherwise": [
            {"value": shown.threshold.value, "text": visible(threshold_text(shown))}
            for shown, _ in found.otherwise
        ],
    }
