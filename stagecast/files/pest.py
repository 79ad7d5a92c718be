"""Documents of pests: the list of all, the library's page of one, and one in a season."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from stagecast.files.season import keys_of, no_entry_keys, plain, undated_keys
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest
from stagecast.pests.curves import HeatRange, PestCurve
from stagecast.pests.thresholds import ShownThreshold
from stagecast.visits.heat import PestHeat
from stagecast.visits.pest_season import PestPlace, PestSeason, every_threshold, samplings
from stagecast.words.thresholds import measure_text, noted
from stagecast.words.traps import not_timed_text, since_text, trial_text
from stagecast.words.windows import window_text

Document = dict[str, Any]


def pests_document(pests: Iterable[Pest]) -> Document:
    """All pests."""
    return {
        "pests": [
            {
                **keys_of(pest, "id", "name", "scientific"),
                "host_first": pest.host.first,
                "host_last": pest.host.last,
                "timed_by_heat": pest.heat is not None,
                "counted_with": pest.counted_with,
            }
            for pest in pests
        ]
    }


def page_document(pest: Pest, knowledge: Knowledge) -> Document:
    """Everything the library holds on one pest, as in its file, with how to sample it."""
    return {
        "pest": pest.model_dump(mode="json", by_alias=True),
        "thresholds": [threshold_keys(shown) for shown in every_threshold(pest, knowledge)],
        "sampling": [
            {"id": name, **keys_of(knowledge.sampling[name], "title", "how", "source", "tag")}
            for name in samplings(pest, knowledge)
        ],
    }


def season_document(found: PestSeason) -> Document:
    """The page, with the pest's timing in a season folder."""
    season = found.loaded.season
    region, knowledge = found.regions[0], season.knowledge
    return {
        **page_document(found.pest, knowledge),
        "as_of": found.loaded.as_of.isoformat(),
        "region": region,
        "thresholds_here": [
            {"kind": one.shown.kind, "at": list(one.stages), **threshold_keys(one.shown)}
            for one in found.thresholds
        ],
        "places": [_place(place, found) for place in found.places],
        **undated_keys(season),
    }


def threshold_keys(shown: ShownThreshold) -> Document:
    """Keys of a threshold that is shown, wherever it is."""
    threshold = shown.threshold
    return {
        **keys_of(threshold, "region", "first", "last", "value", "high"),
        "unit": measure_text(threshold),
        **keys_of(threshold, "source", "tag"),
        "note": noted(threshold),
    }


def _place(place: PestPlace, found: PestSeason) -> Document:
    heat, units = place.heat, found.loaded.season.settings.units
    timed = heat if isinstance(heat, PestHeat) else None
    return {
        "station": place.station,
        "field_id": place.forecast.field.field_id,
        "field_ids": [forecast.field.field_id for forecast in place.fields],
        "closed_fields": [
            {"field_id": field_id, **no_entry_keys(held, found.loaded.knowledge)}
            for field_id in (forecast.field.field_id for forecast in place.fields)
            if (held := found.no_entry(field_id)) is not None
        ],
        "timed_by_heat": timed is not None,
        "why_not": None if isinstance(heat, PestHeat) else not_timed_text(heat, units),
        "since": None if timed is None else since_text(timed.timing.start.since, units),
        "tested": None if timed is None else trial_text(timed.tested),
        "events": [
            {**keys_of(event, "generation", "title", "need_c", digits=1), **event.dates.as_json()}
            for event in (() if timed is None else timed.events)
        ],
        "windows": [
            {
                **keys_of(window, "field_id", "pest", "window", "title"),
                "opens": window.opens.as_json(),
                "closes": window.closes.as_json(),
                "rests_on": window.timing,
                "in_bloom": in_bloom,
                "why": window_text(window.why, units),
                **no_entry_keys(found.no_entry(window.field_id), found.loaded.knowledge),
            }
            for window, in_bloom in ((w, blooms) for _, w, blooms in place.windows_in_bloom())
        ],
        "curve": None if timed is None or timed.curve is None else _curve(timed.curve),
    }


def _curve(curve: PestCurve) -> Document:
    return {
        **keys_of(curve, "biofix", "last_known"),
        "degree_days_c": plain(curve.so_far, 1),
        "past_degree_days_c": _range(curve.past_so_far),
        **keys_of(curve, "days_ahead", digits=1),
        "past_seasons": list(curve.past_years),
        "weeks": [
            {**keys_of(week, "through", "this_season", digits=1), "past": _range(week.past)}
            for week in curve.weeks
        ],
    }


def _range(heat: HeatRange | None) -> Document | None:
    return None if heat is None else keys_of(heat, "p10", "p50", "p90", digits=1)
