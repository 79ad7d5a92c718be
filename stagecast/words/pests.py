"""Words for what the library knows of a pest: where values are from, when it comes, its figures."""

from __future__ import annotations

from stagecast.base.units import Units, heat_text, temperature_text
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Arrival, Biofix, Development, Duration, HeatModel, Pest, Remark
from stagecast.knowledge.quantities import Provenance

UNVERIFIED_TEXT = "unverified, from memory"
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_BIOFIXES = {
    "first": "first catch in a trap", "sustained": "sustained catch in a trap",
    "peak": "peak catch in a trap", "eggs": "first eggs seen", "adults": "first adults seen",
}  # fmt: skip


def host_text(pest: Pest) -> str:
    """The crop stages at which a pest can hurt: ``R1-R6``."""
    first, last = pest.host.first, pest.host.last
    return first if first == last else f"{first}-{last}"


def from_text(value: Provenance) -> str:
    """Where a value is from: ``isu-blb, READ``, or that nobody checked it."""
    tag = UNVERIFIED_TEXT if value.unverified else value.tag
    return f"{value.source}, {tag}"


def dated_text(value: Provenance, knowledge: Knowledge) -> str:
    """The same with the year of the source: ``isu-blb, 2007, READ``."""
    source = knowledge.sources.get(value.source)
    if source is None or source.year in value.source:  # none, or said by the id
        return from_text(value)
    tag = UNVERIFIED_TEXT if value.unverified else value.tag
    return f"{value.source}, {source.year}, {tag}"


def remark_text(remark: Remark, knowledge: Knowledge) -> str:
    """``Alabama, Mississippi: moths come late (source, 2012, READ)``."""
    where = ", ".join(region_name(region, knowledge) for region in remark.regions)
    note = f"; {remark.note}" if remark.note else ""
    return f"{where}: {remark.text} ({dated_text(remark, knowledge)}){note}"


def region_name(region: str, knowledge: Knowledge) -> str:
    """A state, or an area wider than one, by name; a code of neither stays as it is."""
    area = knowledge.areas.get(region)
    return area.name if area is not None else knowledge.regions.get(region, region)


def arrival_text(arrival: Arrival, knowledge: Knowledge) -> str:
    """When a source saw a pest come: ``Tennessee: 15 Jul to 20 Aug (source, READ)``."""
    first = f"{arrival.first_day} {_MONTHS[arrival.first_month - 1]}"
    last = f"{arrival.last_day} {_MONTHS[arrival.last_month - 1]}"
    where = region_name(arrival.region, knowledge)
    return f"{where}: {first} to {last} ({from_text(arrival)})"


def weak_method(model: HeatModel) -> str:
    """What to add where the source does not say how heat is summed; else nothing."""
    assumed = {"OWN": "method assumed by us", "MEMORY": f"method {UNVERIFIED_TEXT}"}
    return f"; {assumed[model.method_tag]}" if model.method_tag in assumed else ""


def biofix_text(biofix: Biofix) -> str:
    """From what heat is counted, for whoever has no season at hand."""
    if biofix.kind == "calendar day":
        return f"{biofix.day} {_MONTHS[(biofix.month or 1) - 1]}"
    if biofix.kind == "crop stage":
        return f"{biofix.stage} of the field" if biofix.stage != "planting" else "planting"
    return _BIOFIXES[biofix.catch or biofix.what or ""]


def development_text(figure: Development, units: Units) -> str:
    """Published thresholds and needs of a stage."""
    parts = []
    if figure.lower_c is not None:
        parts.append(f"above {temperature_text(figure.lower_c, units)}")
    if figure.upper_c is not None:
        parts.append(f"up to {temperature_text(figure.upper_c, units)}")
    if figure.need_c is not None:
        parts.append(heat_text(figure.need_c, units))
    return ", ".join([*parts, figure.place] if figure.place else parts)


def duration_text(figure: Duration, units: Units) -> str:
    """How long a stage lasts: ``10 to 14 days at 77 F``."""
    high = "" if figure.high is None else f" to {figure.high:g}"
    at = "" if figure.at_c is None else f" at {temperature_text(figure.at_c, units)}"
    return f"{figure.days:g}{high} days{at}"
