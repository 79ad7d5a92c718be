"""What a person must know beside the numbers: conventions, weather, doubts, cautions."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING

from pydantic import BaseModel

from stagecast.base.dates import said_day
from stagecast.base.units import distance_text, height_text
from stagecast.forecast.load import LoadedSeason
from stagecast.forecast.stations import FieldWeather
from stagecast.forecast.water import FieldWater
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import STAGE_ORDER, stage_place
from stagecast.knowledge.loader import provenances
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.quantities import Provenance
from stagecast.pests.thresholds import LAST, best_by_stage
from stagecast.pests.windows import ScoutingWindow
from stagecast.weather.records import DayKind
from stagecast.weather.seasons import SeasonWeather

if TYPE_CHECKING:
    from stagecast.forecast.skill import UsualError

STAGES_NOTE = (
    "Stages are Fehr and Caviness (1977): V stages count the unifoliolate node as the first; R2 "
    "is full bloom; the first small pods, often called R2, are R3."
)
RANGE_NOTE = (
    "Dates read: the day by which half of the possible seasons are there (the days for 10 and for "
    "90 percent). Drought is known only where a station has rain, disease and replanting not at "
    "all."
)
NAMED = 4
RULES = ("crop averages.", "crop skill.")
"""Values that only past forecasts are held against; no forecast rests on them."""

CAUTION = (
    "A threshold crossed says consider, never spray: follow your state's current extension guide, "
    "the product label and licensed practice. Ask about restricted-entry intervals before "
    "walking into a treated field. From R1 to R5 bees are in the flowers."
)
SHORT_CAUTION = "A threshold crossed says consider, never spray: guide, label, license decide."


def counted(number: int, noun: str) -> str:
    """A number with its noun: ``1 field``, ``2 fields``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def weather_notes(loaded: LoadedSeason, field_ids: Collection[str] | None = None) -> list[str]:
    """One line per station in use: what its days are, and how far the fields are.

    Parameters
    ----------
    loaded : LoadedSeason
    field_ids : collection of str, optional
        Only the stations of these fields; default all.
    """
    notes = []
    wanted = [w for i, w in loaded.weather.items() if field_ids is None or i in field_ids]
    stations = {w.season.station.station: w.season for w in wanted}
    for name in sorted(stations):
        fields = [w for w in wanted if w.season.station.station == name]
        notes.append(_station_note(stations[name], fields, loaded))
    return notes


def forecast_days_note(loaded: LoadedSeason) -> str | None:
    """Which days are measured and which a weather forecast's, where a forecast stands for any.

    Where stations differ, up to the earliest day.
    """
    seasons = [one.season for one in loaded.weather.values()]
    until = [day for season in seasons if (day := season.forecast_until) is not None]
    if not until:
        return None
    measured = [day for season in seasons if (day := season.last_observed) is not None]
    told = f"measured to {said_day(min(measured))}" if measured else "nothing measured yet"
    some = "" if len(until) == len(seasons) else " at some stations"
    return f"Temperatures: {told}, weather forecast to {said_day(min(until))}{some}."


def _station_note(season: SeasonWeather, fields: list[FieldWeather], loaded: LoadedSeason) -> str:
    units = loaded.season.settings.units
    observed = season.last_observed
    parts = ["nothing measured yet"]
    if observed is not None:
        other = f" {observed.year}" if observed.year != loaded.season.settings.year else ""
        parts = [f"measured to {said_day(observed)}{other}"]
    if season.count(DayKind.BRIDGED):
        parts.append(f"{counted(season.count(DayKind.BRIDGED), 'day')} bridged")
    if season.count(DayKind.MODEL):
        until = season.forecast_until
        days = f"{counted(season.count(DayKind.MODEL), 'day')} forecast"
        parts.append(
            f"{days} by a weather model" if until is None else f"{days} to {said_day(until)}"
        )
    if season.member_years:
        parts.append(f"then {counted(len(season.member_years), 'past season')}")
    far = max(w.match.distance_km for w in fields)
    heights = [w.match.elevation_difference_m for w in fields]
    known = [h for h in heights if h == h]
    height = (
        f"{height_text(max(known, key=abs), units)} in elevation" if known
        else "field elevations not given"
    )  # fmt: skip
    count = counted(len(fields), "field")
    return (
        f"Station {season.station.station}: {', '.join(parts)}; {count} up to "
        f"{distance_text(far, units)} away, {height}."
    )


def dry_note(waters: Mapping[str, FieldWater | None]) -> str | None:
    """Which fields are dry and since when, by field id; the longest first. None where none is."""
    since: dict[dt.date, list[str]] = {}
    for field_id, water in waters.items():
        if water is not None and water.dry_since is not None:
            since.setdefault(water.dry_since, []).append(field_id)
    if not since:
        return None
    told = [
        f"since {said_day(day)}: {', '.join(ids) if len(ids) <= NAMED else f'{len(ids)} fields'}"
        for day, ids in sorted(since.items())
    ]
    more = [f"and {counted(len(told) - NAMED, 'later day')}"] if len(told) > NAMED else []
    days = "; ".join([*told[:NAMED], *more])
    return f"Soil dry {days}. R7 and R8 may come sooner or later there."


_AHEAD = {0: "on the day itself", 7: "a week ahead", 14: "two weeks ahead"}


def usual_error_text(usual: UsualError | None, *, enough: int) -> str:
    """To a grower, in one sentence: how far off the dates usually are here."""
    if usual is None:
        return (
            f"Too few stages were noted here to say how far off our dates usually are: {enough} "
            "visits are needed."
        )
    ahead = _AHEAD.get(usual.lead_days, f"{usual.lead_days} days ahead")
    half, most = (_within(days) for days in (usual.half_days, usual.most_days))
    return (
        f"For growers: of {usual.visits} dates that we named {ahead} here, half were off by "
        f"{half}, nine in ten by {most}."
    )


def _within(days: float) -> str:
    """``3 days or less``; what had not been expected at all is off by more than a season tells."""
    if days == math.inf:
        return "more, some not expected at all"
    return f"{counted(max(math.ceil(days), 1), 'day')} or less"


def assumption_notes(loaded: LoadedSeason, knowledge: Knowledge) -> list[str]:
    """Defaults and readings that took part, each said once."""
    notes = []
    fields = loaded.season.fields
    defaulted = sum(field.habit_defaulted for field in fields)
    if defaulted:
        start = float(knowledge.soybean.groups.determinate_from)
        notes.append(
            f"Growth habit was blank for {counted(defaulted, 'field')}: taken as determinate from "
            f"group {start:g} on, else indeterminate."
        )
    whole = [field for field in fields if field.maturity.whole]
    if whole:
        offset = float(knowledge.soybean.groups.offsets["whole"])
        notes.append(
            f"Maturity group without a decimal for {counted(len(whole), 'field')}: read as the "
            f"middle of the group (group + {offset:g})."
        )
    if loaded.us_order:
        notes.append(
            f"Dates with slashes were read as month/day/year in {', '.join(loaded.us_order)}."
        )
    return notes


def doubt_note(loaded: LoadedSeason, count: int) -> str | None:
    """How many things deserve a look, or None."""
    if not count:
        return None
    looks = "1 thing looks" if count == 1 else f"{count} things look"
    return (
        f"{looks} doubtful: see stagecast check {loaded.season.path} "
        f"--as-of {loaded.as_of.isoformat()}"
    )


def threshold_note(loaded: LoadedSeason, knowledge: Knowledge) -> str | None:
    """Pests whose thresholds are not of the fields' regions, at no or not every stage; or None.

    Stages are those at which a pest can hurt. A species that is counted together with others is
    told with them.
    """
    notes = (_threshold_note(region, knowledge) for region in loaded.season.regions)
    return " ".join(filter(None, notes)) or None


def _threshold_note(region: str, knowledge: Knowledge) -> str | None:
    named: dict[str, list[str]] = {}
    for pest in knowledge.pests.values():
        if pest.presence.met_in((region,)) and (pest.thresholds or pest.counted_with is None):
            named.setdefault(_covered(pest, region, knowledge), []).append(pest.short)
    told = [f"{text} {', '.join(named[key])}" for key, text in _COVERED.items() if key in named]
    if not told:
        return None
    return (
        f"Thresholds of {knowledge.regions[region]}'s own: {'; '.join(told)}. What is shown in "
        "their place names its region; see your state's guide."
    )


def _covered(pest: Pest, region: str, knowledge: Knowledge) -> str:
    """At which of the stages at which a pest can hurt a region has a threshold of its own."""
    first, last = (
        stage_place(pest.host.first),
        stage_place(min(pest.host.last, LAST, key=stage_place)),
    )
    stages = STAGE_ORDER[first : min(last, stage_place(LAST)) + 1]
    held = best_by_stage(pest, region=region, knowledge=knowledge, stages=stages)
    own = {stage for one in held if one.shown.kind in ("yours", "here") for stage in one.stages}
    if own:
        return "every stage" if own.issuperset(stages) else "some stages"
    return "no stage" if held else "none anywhere"


_COVERED = {
    "some stages": "not for every stage of",
    "no stage": "none for",
    "none anywhere": "none, nor any from elsewhere, for",
}


def unverified_note(knowledge: Knowledge, windows: Iterable[ScoutingWindow] = ()) -> str | None:
    """Values from memory in the stage forecast, and the pests among windows timed by such."""
    crop = [v for v in _values("crop", knowledge.soybean) if not v[0].startswith(RULES)]
    pests = dict.fromkeys(w.pest for w in windows if w.unverified and w.pest is not None)
    timed = [knowledge.pests[pest].name for pest in pests]
    told = _from_memory(crop) or ""
    if timed:
        told += f" Timing of {', '.join(timed)} rests on values from memory."
    return told.strip() or None


def unverified_skill_note(knowledge: Knowledge) -> str | None:
    """Values from memory that take part in the stage forecast and the rules it has to beat."""
    return _from_memory(_values("crop", knowledge.soybean))


def _values(name: str, part: BaseModel) -> list[tuple[str, Provenance]]:
    return [(f"{name} {place}", value) for place, value in provenances(part)]


def _from_memory(values: Iterable[tuple[str, Provenance]]) -> str | None:
    told = [value.note or place for place, value in values if value.unverified]
    return f"Unverified, from memory: {'; '.join(told)}." if told else None


def planning_text(done: int, of: int, *, first: bool) -> str:
    """``Replanning, 12 of 400 fields, then the week's route``, and that the page is older.

    ``done``, ``of``: fields so far and in all, 0 until it is known.
    ``first``: whether there is no plan yet that could be shown.
    """
    what = "Planning" if first else "Replanning"
    if of:
        far = f", {done} of {counted(of, 'field')}"
        far += ", then the week's route" if done < of else "; now the week's route"
    else:
        far = ", reading the folder"
    return f"{what}{far}." if first else f"{what}{far}. What stands here is from before it."


NO_ANSWER = "The desk does not answer. Was it ended where it was started? What you type here stays."
"""Said by a page that cannot reach the desk any more."""

MOVING = "What it moved is being worked out."
"""Said of an entry while the plan without it is on its way."""

NO_STAGE_YET = "No stage was noted, and there is no forecast yet: the answer comes with it."
"""Said of counts in the first seconds of the desk."""

BROKEN = "The season folder needs a look: there is no newer plan."
"""Said of a page that is open while something in the folder breaks."""
