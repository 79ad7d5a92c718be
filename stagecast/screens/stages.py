"""The screen of growth stages: now, next, how likely, and what was learnt."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from rich.console import Console

from stagecast.base.terminal import cell, paragraph, table
from stagecast.base.units import distance_text
from stagecast.forecast.forecast import LAST_V, FieldForecast
from stagecast.forecast.observations import Lesson
from stagecast.screens.screen import (
    ShownList,
    day_text,
    foot,
    forecast_notes,
    listed,
    name_of,
    next_stage_text,
    range_text,
    title,
)
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.words.notes import RANGE_NOTE, STAGES_NOTE

LIKELY = 0.1
"""Stages less likely than this are left out of a row; the JSON has them all."""

CHANCES_NOTE = (
    f"Likely: how many of the possible seasons are in each stage at the end of the day; below "
    f"{LIKELY:.0%} is left out, {LAST_V}+ stands for the nodes from {LAST_V} on. The stage now is "
    "the one that half of them have reached."
)


def show_stages(
    console: Console,
    season: SeasonDay,
    fields: Sequence[FieldDay],
    *,
    shown: ShownList,
    on: dt.date,
) -> None:
    """The stage now and the next, and how likely each stage is on a day."""
    title(console, season, fields, "Growth stages")
    when = "likely today" if on == season.as_of else f"likely on {day_text(on)}"
    made = table("field", "now", "next", "expected", when)
    for field in fields:
        forecast = field.forecast
        following, _, expected = next_stage_text(field).partition(" ")
        made.add_row(
            cell(listed(field)),
            cell(forecast.stage_now),
            cell(following or "-"),
            cell(expected or "-"),
            cell(chances_text(forecast, on)),
        )
    console.print(made)
    for field in fields if shown.in_detail else ():
        _all_stages(console, field)
    learnt = [] if shown.in_detail else [field for field in fields if field.forecast.lessons]
    lessons = [f"{name_of(field)}: {_shift_text(field)}" for field in learnt]
    notes = [RANGE_NOTE, CHANCES_NOTE, STAGES_NOTE, *forecast_notes(season, fields), *lessons]
    foot(console, notes, shown)


def chances_text(forecast: FieldForecast, on: dt.date) -> str:
    """The likely stages of a day, in their order: ``R2 30%, R3 64%``."""
    likely = [
        f"{stage}{'+' if stage == LAST_V else ''} {100 * share:.0f}%"
        for stage, share in forecast.probabilities(on).items()
        if share >= LIKELY
    ]
    return ", ".join(likely)


def _all_stages(console: Console, field: FieldDay) -> None:
    """Every stage with its definition, before and after what was seen."""
    forecast, texts = field.forecast, field.season.knowledge.soybean.stages
    console.print()
    match = forecast.weather.match
    away = distance_text(match.distance_km, field.season.settings.units)
    paragraph(console, f"{name_of(field)}, station {match.station.station} {away} away", "bold")
    for lesson in forecast.lessons:
        paragraph(console, _lesson_text(lesson))
    columns = ["stage", "expected", "what it is"]
    if forecast.unlearnt is not None:
        columns.insert(2, "before it was seen")
    made = table(*columns)
    for stage, dates in forecast.stages.items():
        text = texts.get(stage) or texts["Vn"]
        definition = text.definition.replace("n main-stem", f"{stage[1:]} main-stem", 1)
        row = [cell(stage), cell(range_text(dates)), cell(definition)]
        if forecast.unlearnt is not None:
            row.insert(2, cell(range_text(forecast.unlearnt[stage])))
        made.add_row(*row)
    console.print(made)


def _lesson_text(lesson: Lesson) -> str:
    visit = lesson.visit
    share = "" if visit.share is None else f" in {100 * visit.share:.0f}% of plants"
    where = "seen here" if lesson.own else f"seen in {visit.field_id}, a field like this one"
    learnt = "learnt from" if lesson.used else "beyond reason: kept, not learnt from"
    return f"{visit.stage}{share} {where} on {day_text(visit.date)}: {learnt}"


def _shift_text(field: FieldDay) -> str:
    """How the next stage moved by what was seen, here and in fields like this one."""
    forecast = field.forecast
    by_date = sorted(forecast.lessons, key=lambda lesson: lesson.visit.date)
    learnt = ", ".join(_seen_text(lesson) for lesson in by_date if lesson.used)
    doubted = ", ".join(_seen_text(lesson) for lesson in by_date if lesson.own and not lesson.used)
    following = forecast.next_stage(field.season.as_of)
    moved = ""
    if following is not None and forecast.unlearnt is not None:
        before = range_text(forecast.unlearnt[following])
        moved = f"; {next_stage_text(field)}, before that {before}"
    told = [f"learnt from {learnt}{moved}"] if learnt else []
    if doubted:
        told.append(f"{doubted}: beyond reason, kept and not learnt from")
    return "; ".join(told)


def _seen_text(lesson: Lesson) -> str:
    """``R1 on 26 Jun``, with the field where it was another one."""
    where = "" if lesson.own else f" in {lesson.visit.field_id}"
    return f"{lesson.visit.stage} on {day_text(lesson.visit.date)}{where}"
