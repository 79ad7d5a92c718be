"""A scout's day on one sheet of paper: the stops in order, and boxes in which to tally."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from stagecast.base.textfiles import clean
from stagecast.base.units import distance_text
from stagecast.forecast.load import LoadedSeason
from stagecast.pages.needs import above_mark
from stagecast.pages.render import render
from stagecast.screens.screen import closed_text, long_day, name_of
from stagecast.visits.look_for import PestSign
from stagecast.week.days import ScoutDay, WeekStop
from stagecast.week.week import over_threshold
from stagecast.words.notes import CAUTION, counted
from stagecast.words.thresholds import amount_text
from stagecast.words.week import clock_text, hours_text, how_text, sets_of

MOST_PESTS = 3
"""How many pests of a stop have boxes; an empty row takes what else is found."""

MOST_BOXES = 6
"""Boxes that have room beside each other; further sets are tallied into the last."""


@dataclass(frozen=True, slots=True)
class PaperRow:
    """What is tallied: its name, the threshold beside it, and a box for each set."""

    name: str
    threshold: str
    boxes: int


@dataclass(frozen=True, slots=True)
class PaperStop:
    """A stop: when one is there, which field, how to sample, the stage to expect, and the boxes.

    ``closed`` is set on the day of the forecast where nobody may enter the field, ``decide`` where
    it is over a threshold and waits for a decision.
    """

    at: str
    name: str
    grower: str
    how: str
    stage: str
    closed: str
    decide: bool
    rows: tuple[PaperRow, ...]


@dataclass(frozen=True, slots=True)
class DayPaper:
    """The sheet: its title, whose day, the day's hours, and the stops."""

    title: str
    scout: str
    told: str
    stops: tuple[PaperStop, ...]


def day_paper(day: ScoutDay, loaded: LoadedSeason) -> DayPaper:
    """What the sheet of a scout's day says."""
    return DayPaper(
        title=long_day(day.date),
        scout=clean(day.scout),
        told=", ".join(_told(day, loaded)),
        stops=tuple(_stop(stop, loaded) for stop in day.stops),
    )


def paper_html(day: ScoutDay, loaded: LoadedSeason) -> str:
    """The page, to be printed."""
    page = day_paper(day, loaded)
    return render("day_paper.html", page=page, above_mark=above_mark, caution=CAUTION)


def _told(day: ScoutDay, loaded: LoadedSeason) -> Iterator[str]:
    yield counted(len(day.stops), "stop")
    if day.leave_home is not None and day.back_home is not None:
        yield f"leave {clock_text(day.leave_home)}, back {clock_text(day.back_home)}"
    yield distance_text(day.drive_km, loaded.season.settings.units)
    yield f"{hours_text(day.work_min)} in fields"


def _stop(stop: WeekStop, loaded: LoadedSeason) -> PaperStop:
    forecast = stop.plan.forecast
    return PaperStop(
        at=clock_text(stop.arrive),
        name=name_of(stop.plan),
        grower=clean(forecast.field.grower),
        how=how_text(stop, loaded.knowledge),
        stage=forecast.stage_written(stop.arrive.date()),
        closed=clean(closed_text(stop.plan)) if stop.arrive.date() == loaded.as_of else "",
        decide=stop.field_id in over_threshold(stop.plan.season),
        rows=tuple(_rows(stop, loaded)),
    )


def _rows(stop: WeekStop, loaded: LoadedSeason) -> Iterator[PaperRow]:
    """The first pests to look for; without any, what is sampled. A row is left for another."""
    boxes = min(max(stop.sets, 1), MOST_BOXES)
    pests = [one for one in stop.look_for if isinstance(one, PestSign)][:MOST_PESTS]
    sampling = loaded.knowledge.sampling.get(stop.sampling)
    unit = None if sampling is None else sampling.unit
    for one in pests:
        yield PaperRow(one.pest.name, _threshold(one, unit), boxes)
    if not pests and sampling is not None:
        yield PaperRow(sets_of(sampling, stop.sets), "", boxes)
    yield PaperRow("", "", boxes)


def _threshold(sign: PestSign, unit: str | None) -> str:
    """The threshold in the unit that is sampled; where there is none, the first; "" for none."""
    ours = [one for one in sign.thresholds if one.threshold.unit == unit]
    first = next(iter([*ours, *sign.thresholds]), None)
    return "" if first is None else amount_text(first)
