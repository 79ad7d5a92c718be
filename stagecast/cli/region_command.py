"""The command that forecasts every field of a region."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from stagecast.cli.options import AsOf, Text, argument, day, option

if TYPE_CHECKING:
    from stagecast.region.part import RegionAsked
    from stagecast.region.run import RegionRun


class By(StrEnum):
    """What a summary is by."""

    county = "county"
    cell = "cell"


Fields = Annotated[Path, argument("FIELDS", "The fields: a Parquet table.")]
Weather = Annotated[
    Path, option("--weather", "FILE", "Temperatures by cell and day: Parquet, Zarr or NetCDF.")
]
Out = Annotated[Path, option("--out", "FOLDER", "Where the results go; taken up where they are.")]
Draws = Annotated[
    int | None,
    option("--draws", "N", "Draws of the model's errors for each past season. Default: as many as "
           "make 30 members; 45 as in a plan."),
]  # fmt: skip
Workers = Annotated[
    int | None, option("--workers", "N", "Processes here. Default: one for each processor.")
]
Scheduler = Annotated[
    Text, option("--scheduler", "ADDRESS", "A Dask scheduler, such as tcp://10.0.0.5:8786.")
]
Summary = Annotated[
    By | None,
    option("--summary", "[county|cell]", "Also the share of area by stage and week: CSV, a page."),
]


def region(
    fields: Fields,
    weather: Weather,
    out: Out,
    as_of: AsOf = None,
    draws: Draws = None,
    workers: Workers = None,
    scheduler: Scheduler = None,
    summary: Summary = None,
) -> None:
    """Stages of every field of a whole region.

    With windows of pests; from two tables into Parquet.
    """
    from stagecast.region.needs import need_region

    _check_counts(draws, workers)
    need_region()
    import time
    from dataclasses import replace

    from stagecast.region.fields import read_fields
    from stagecast.region.part import RegionAsked
    from stagecast.region.run import cores, crew_for, run_region
    from stagecast.region.weather import weather_of
    from stagecast.screens.region import ProgressLine

    asked = RegionAsked(day(as_of), draws)
    with crew_for(fields, workers=workers or cores(), scheduler=scheduler) as crew:
        found = read_fields(fields, span=asked.span, knowledge=asked.knowledge)
        asked = replace(asked, sighted=found.sighted)
        told = ProgressLine(time.monotonic)
        done = run_region(found, weather_of(weather), out, asked=asked, crew=crew, told=told)
    _tell(done, asked, states="state" in found.table.column_names)
    if summary is not None:
        _summarize(done, asked, summary)


def _check_counts(draws: int | None, workers: int | None) -> None:
    from stagecast.base.errors import Problem, SeasonProblems

    problems = [
        Problem(name, "too few", found=str(count), accepted="1 or more")
        for name, count in (("--draws", draws), ("--workers", workers))
        if count is not None and count < 1
    ]
    if problems:
        raise SeasonProblems(problems)


def _tell(done: RegionRun, asked: RegionAsked, *, states: bool) -> None:
    from stagecast.base.terminal import console, paragraph
    from stagecast.region.fields import sighted_column
    from stagecast.region.numbers import needs_sighting
    from stagecast.screens.region_text import (
        done_text,
        stateless_text,
        unsighted_text,
        without_weather_text,
    )
    from stagecast.screens.screen import long_day

    screen = console()
    text = done_text(done.fields, done.parts, done.done_before)
    paragraph(screen, f"{text}, as of {long_day(asked.as_of)}: {done.folder}")
    waiting = [
        sighted_column(pest.id)
        for pest in asked.knowledge.pests.values()
        if needs_sighting(pest) and pest.id not in asked.sighted
    ]
    notes = [without_weather_text(done.without_weather), unsighted_text(waiting)]
    if not states:
        notes.append(stateless_text())
    for note in filter(None, notes):
        paragraph(screen, note)


def _summarize(done: RegionRun, asked: RegionAsked, by: By) -> None:
    from stagecast.base.savefile import save_file
    from stagecast.base.terminal import console
    from stagecast.files.region import COLUMNS, summary_csv
    from stagecast.pages.region_page import region_html, region_page
    from stagecast.pages.render import save_page
    from stagecast.region.summary import summarize
    from stagecast.screens.region import show_summary

    found = summarize(done.folder, by=by.value, span=asked.span, as_of=asked.as_of)
    show_summary(console(), found)
    header = ",".join(COLUMNS).encode()
    data = summary_csv(found).encode()
    save_file(done.folder / "summary.csv", data, is_ours=lambda head: head.startswith(header))
    page = region_page(found, fields=done.fields, as_of=asked.as_of)
    save_page(done.folder / "summary.html", region_html(page))
