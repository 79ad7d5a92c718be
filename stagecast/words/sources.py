"""Every value of ``knowledge/`` as one row: its place, value, unit, source, tag and note."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal, get_args

from pydantic import BaseModel

from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import StageText, WindowEnd
from stagecast.knowledge.looks import Look
from stagecast.knowledge.pest import (
    Activity,
    Biofix,
    Duration,
    Ends,
    HeatModel,
    HostStages,
    Presence,
    Remark,
    Replaced,
    Return,
)
from stagecast.knowledge.quantities import (
    UNVERIFIED,
    Count,
    Provenance,
    Quantity,
    Series,
    Statement,
    Tag,
)
from stagecast.knowledge.ranks import RankRow
from stagecast.knowledge.rules import Borders, Sampling, Window
from stagecast.knowledge.threshold import ByPrice, CountsAs, Threshold
from stagecast.words.thresholds import measure_text, noted, span_text

Sourced = Provenance | StageText
"""What names its source; the numbers below it are from there, unless they name their own."""

TAGS: tuple[str, ...] = get_args(Tag)

Value = float | int | str | tuple[float, ...]

NO_FACTS: tuple[tuple[type[BaseModel], str], ...] = (
    (Activity, "rank"), (RankRow, "rank"), (Threshold, "per"),
    (CountsAs, "counts_as"), (Sampling, "size"), (ByPrice, "digits"),
)  # fmt: skip
"""Numbers that are not listed: an order of ours, and what already stands in a unit."""

_UNITS = {
    "need_c": "degree-days C", "month": "month of the year", "day": "day of the month",
    "days": "days", "most": "generations a year", "plants": "plants/acre", "percent": "percent",
    "in": "in", "inches": "in", "of": "degrees of latitude or longitude",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class SourceRow:
    """One value and where it is from.

    Attributes
    ----------
    place : str
        Dotted: the file, then the way to the value in it.
    kind : {"number", "statement"}
        A statement is a crop stage, a method or a definition, which has no unit.
    """

    place: str
    kind: Literal["number", "statement"]
    value: Value
    unit: str | None
    source: str
    tag: str
    note: str

    @property
    def part(self) -> str:
        """The file: ``soybean``, ``pests.corn-earworm``."""
        first, _, rest = self.place.partition(".")
        return f"{first}.{rest.partition('.')[0]}" if first == "pests" else first.partition("[")[0]

    @property
    def unverified(self) -> bool:
        """Whether a person must be told that the value is from memory."""
        return self.tag in UNVERIFIED


def source_rows(knowledge: Knowledge) -> list[SourceRow]:
    """Every number, each once, and every statement that names a source, in the order of files."""
    return list(_below(knowledge, "", None))


def _below(value: object, place: str, above: Sourced | None) -> Iterator[SourceRow]:
    """Rows of everything under a value; ``above`` is the nearest thing that names a source."""
    if isinstance(value, (Quantity, Count)):
        yield _number(value, place, value.value, value.unit)
    elif isinstance(value, Series):
        yield _number(value, place, value.values, value.unit)
    elif isinstance(value, Borders):
        for one, other, points in value.lines:
            line = tuple(number for point in points for number in point)
            yield _number(value, f"{place}.{one}-{other}", line, value.unit)
    elif isinstance(value, BaseModel):
        yield from _model(value, place, above)
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _below(item, f"{place}.{key}", above)
    elif isinstance(value, tuple):
        for index, item in enumerate(value, start=1):
            yield from _below(item, f"{place}[{_label(item, index)}]", above)


def _model(model: BaseModel, place: str, above: Sourced | None) -> Iterator[SourceRow]:
    source = model if isinstance(model, (Provenance, StageText)) else above
    said = _statement(model)
    if said is not None and isinstance(model, (Provenance, StageText)):
        bare = isinstance(model, StageText) or type(model) is Provenance
        note = "" if bare else getattr(model, "note", "")
        yield SourceRow(place, "statement", said, None, model.source, model.tag, note)
    if isinstance(model, HeatModel):
        method, tag = f"{model.method}, cutoff {model.cutoff}", model.method_tag
        yield SourceRow(
            f"{place}.method", "statement", method, None, model.source, tag, model.method_note
        )
    for name in type(model).model_fields:
        # A default is no fact: only what a file says is listed.
        if name not in model.model_fields_set or _no_fact(model, name):
            continue
        value, way = getattr(model, name), f"{place}.{name}" if place else name
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            if source is not None:
                yield _number(source, way, value, _unit(model, name))
        elif isinstance(model, Return) and name == "days":
            yield _number(model, way, model.days, "days")
        else:
            yield from _below(value, way, source)


def _number(source: Sourced, place: str, value: Value, unit: str) -> SourceRow:
    note = "" if isinstance(source, StageText) else source.note
    if isinstance(source, Threshold):
        note = noted(source)
    return SourceRow(place, "number", value, unit, source.source, source.tag, note)


def _no_fact(model: BaseModel, name: str) -> bool:
    return any(isinstance(model, kind) and name == field for kind, field in NO_FACTS)


def _unit(model: BaseModel, name: str) -> str:
    """The unit of a number that has none beside it: its model's, or that of its name."""
    if isinstance(model, Threshold):
        return measure_text(model)
    if isinstance(model, ByPrice):
        return {"price": "$/bu", "cost": "$/ac"}.get(name.partition("_")[0], "x cost / price")
    if isinstance(model, Duration) and name == "high":
        return "days"
    last = name.rpartition("_")[2]
    return _UNITS.get(name) or _UNITS.get(last) or {"c": "degC"}.get(last, "")


def _statement(model: BaseModel) -> str | None:
    """What is said in words and not in numbers; a bare provenance says it in its note."""
    if type(model) is Provenance:
        return model.note
    match model:
        case HostStages():
            return f"beans at {model.first} to {model.last}"
        case Ends():
            return f"{model.region}: to {model.last}"
        case Replaced():
            return f"{model.region}: {model.said}"
        case Remark():
            return f"{', '.join(model.regions)}: {model.text}"
        case Presence():
            return model.kind
        case Biofix():
            named = (model.stage, model.catch, model.what)
            return " ".join([model.kind, *(word for word in named if word)])
        case Window() | Look():
            return f"{_end(model.opens)} to {_end(model.closes)}"
        case Sampling():
            return model.title
        case StageText():
            return model.name
    if isinstance(model, Statement):
        return model.text
    return None


def _end(end: WindowEnd) -> str:
    return f"{end.stage} {end.plus_days:+d} days" if end.plus_days else end.stage


def _label(item: object, index: int) -> str:
    """How an item of a list is called: by its id, or by its number and what it is about."""
    name = getattr(item, "id", None)
    if isinstance(name, str):
        return name
    about = [text for key in ("region", "stage", "kind") if (text := getattr(item, key, None))]
    if isinstance(item, Threshold):
        about.append(span_text(item.first, item.last))
    return " ".join([str(index), *about])


def cited(rows: Iterable[SourceRow]) -> set[str]:
    """Ids of the sources that some values name."""
    return {row.source for row in rows}


def tag_counts(rows: Iterable[SourceRow]) -> dict[str, int]:
    """Values by tag, in the order in which tags are explained."""
    found = Counter(row.tag for row in rows)
    return {tag: found[tag] for tag in TAGS}
