"""The screen of one field over the season: a table of visits and treatments, and charts."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich.console import Console
from rich.text import Text

from stagecast.base.dates import said_day
from stagecast.base.terminal import cell, paragraph, table
from stagecast.base.textfiles import clean
from stagecast.counts.assessment import PestAssessment
from stagecast.knowledge import Knowledge
from stagecast.screens.chart import ChartBand, Line, draw
from stagecast.screens.screen import ANSWER_STYLES, day_text, print_notes
from stagecast.season.log.entries import Treatment
from stagecast.visits.history import FieldHistory, PastVisit
from stagecast.words.counts import against_text, chance_text, counted_sets
from stagecast.words.fields import planted_text
from stagecast.words.notes import CAUTION, STAGES_NOTE
from stagecast.words.stand import estimate_text
from stagecast.words.thresholds import unit_text
from stagecast.words.visits import no_entry_text

NONE = "-"
MOST_CHARTS = 3
CHART_ROWS = 12
AXIS_WIDTH = 8
"""Characters beside a chart that are kept for its numbers."""

COUNT, THRESHOLD, RANGE, TREATED = "#", "=", ".", "|"

Row = tuple[str, str, str, str, str, str]


@dataclass(frozen=True, slots=True)
class CountSeries:
    """The counts of one pest in one unit over the season, brought to one size of set."""

    title: str
    size: float
    counts: tuple[tuple[dt.date, PestAssessment], ...]

    @property
    def nearest(self) -> float:
        """How near it came to a threshold: the largest share, or 0."""
        return max((one.share or 0.0 for _, one in self.counts), default=0.0)

    def scaled(self, one: PestAssessment, value: float | None) -> float | None:
        """A number per set, in the size of set of the series."""
        return None if value is None else value * self.size / one.set_size


def show_history(console: Console, history: FieldHistory) -> None:
    """Everything seen, counted and done, by date; then how the counts went."""
    knowledge = history.loaded.knowledge
    _title(console, history)
    if not history.visits and not history.treatments:
        paragraph(console, f"Nothing is noted up to {day_text(history.loaded.as_of)}.")
        return
    share = f"{100 * float(knowledge.decisions.counting.interval):.0f}%"
    made = table("day", "stage", "what", f"mean of threshold ({share} range)", "chance", "so")
    for row, style in _rows(history):
        made.add_row(*(cell(text) for text in row[:-1]), cell(row[-1], style))
    console.print(made)
    told = series_of(history)
    for one in told[:MOST_CHARTS]:
        console.print()
        _chart(console, one, history)
    left = [one.title for one in told[MOST_CHARTS:]]
    print_notes(
        console,
        [
            "Chance: how likely the mean of the field was over its threshold. A pest that is not "
            "named was not looked for, which is not zero. ^ at a threshold or over it. ~ before a "
            "stage: forecast, not seen.",
            f"No chart: {', '.join(left)}." if left else None,
            STAGES_NOTE,
            f"The counts of one visit in full: stagecast assess {history.loaded.season.path} "
            f"{history.forecast.field.field_id} --as-of DATE",
            _harvest_note(history.treatments, knowledge),
            CAUTION,
        ],
    )


def _title(console: Console, history: FieldHistory) -> None:
    field, loaded = history.forecast.field, history.loaded
    name = clean(f"{field.field_id} {field.field_name}".strip())
    day = f"{loaded.as_of:%a} {day_text(loaded.as_of)} {loaded.as_of.year}"
    console.print(Text(f"{name}, the season up to {day}", style="bold"))
    region = loaded.knowledge.regions[field.region]
    planted = planted_text(field)
    paragraph(console, f"{planted}, now {history.forecast.stage_now}, region {region}", "quiet")
    if history.no_entry is not None:
        rule = loaded.knowledge.decisions.treated.entry_rule
        paragraph(console, no_entry_text(history.no_entry, rule), "late")
    console.print()


def _rows(history: FieldHistory) -> Iterator[tuple[Row, str]]:
    """Rows by date, treatments of a day after its visits; each with the style of its answer."""
    told: list[tuple[dt.date, list[tuple[Row, str]]]] = [
        (visit.date, list(_visit_rows(visit, history.loaded.knowledge))) for visit in history.visits
    ]
    told += [(t.applied_at.date(), [(_treatment_row(t), "")]) for t in history.treatments]
    for _, rows in sorted(told, key=lambda pair: pair[0]):
        yield from rows


def _visit_rows(visit: PastVisit, knowledge: Knowledge) -> Iterator[tuple[Row, str]]:
    """The pests of a visit, then its leaf loss; or what was noted where nothing was counted."""
    share = "" if visit.share is None else f" {100 * visit.share:.0f}%"
    stage = f"{visit.stage}{share}" if visit.stage_seen else f"~{visit.stage}"
    first = said_day(visit.date), stage if visit.stage else NONE
    found = visit.found
    rows: list[tuple[tuple[str, str, str], str, str]] = []
    for one in () if found is None else found.pests:
        chance = NONE if one.p_above is None else chance_text(one.p_above)
        text = (f"{knowledge.pests[one.pest].short}, {counted_sets(one.sets)}", against_text(one))
        answer = f"^ {one.answer}" if one.reached else one.answer
        rows.append(((*text, chance), answer, ANSWER_STYLES.get(one.answer, "quiet")))
    if found is not None and found.defoliation is not None:
        loss = found.defoliation
        limit = "" if loss.threshold is None else f" of {loss.threshold.threshold.value:g}"
        told = ("leaf loss", f"{loss.percent:g}{limit} percent", NONE)
        answer = "^ above" if loss.answer == "above" else loss.answer
        rows.append((told, answer, ANSWER_STYLES.get(loss.answer, "quiet")))
    if visit.stand is not None:
        told = ("stand", estimate_text(visit.stand.estimate), NONE)
        rows.append((told, visit.stand.answer, ANSWER_STYLES.get(visit.stand.answer, "quiet")))
    if not visit.of_these_plants:
        rows.append((("before replanting", NONE, NONE), "not counted", "quiet"))
    if not rows:
        rows.append((("visited", NONE, NONE), visit.noted or NONE, ""))
    for i, (what, answer, style) in enumerate(rows):
        day, stage = first if i == 0 else ("", "")
        yield (day, stage, *what, answer), style


def _treatment_row(treatment: Treatment) -> Row:
    applied = treatment.applied_at
    text = f"{treatment.product}, {applied:%H:%M}, no entry for "
    text += f"{treatment.reentry_hours:g} h"
    if treatment.preharvest_days is not None:
        text += f", no harvest for {treatment.preharvest_days:g} days"
    return said_day(applied.date()), "", "treated", text, NONE, NONE


def series_of(history: FieldHistory) -> list[CountSeries]:
    """Pests that were found and looked for more than once, the nearest to threshold first."""
    knowledge = history.loaded.knowledge
    found: dict[tuple[str, str], list[tuple[dt.date, PestAssessment]]] = {}
    for visit in history.visits:
        for one in () if visit.found is None else visit.found.pests:
            found.setdefault((one.pest, one.unit), []).append((visit.date, one))
    told = []
    for (pest, of), counts in found.items():
        if len({date for date, _ in counts}) < 2 or not any(one.mean_per_set for _, one in counts):
            continue
        size = float(int(knowledge.sweeps.usual_set)) if of == "sweeps" else counts[0][1].set_size
        unit = unit_text(counts[0][1].unit, size)
        title = f"{knowledge.pests[pest].name} {unit}".rstrip()
        told.append(CountSeries(title, size, tuple(counts)))
    return sorted(told, key=lambda series: -series.nearest)


def _chart(console: Console, series: CountSeries, history: FieldHistory) -> None:
    """One pest as a chart, with what its marks mean."""
    paragraph(console, series.title, "bold")
    treated = [t.applied_at.date() for t in history.treatments]
    for text in chart(series, treated, width=console.width):
        console.print(Text(text))
    interval = 100 * float(history.loaded.knowledge.decisions.counting.interval)
    marks = f"{COUNT} mean, {RANGE} its {interval:.0f} percent range, {THRESHOLD} threshold"
    paragraph(console, f"{marks}{f', {TREATED} treated' if treated else ''}.", "quiet")


def chart(series: CountSeries, treated: Sequence[dt.date], *, width: int) -> list[str]:
    """Counts by date, thresholds from visit to visit, treatments as upright lines.

    Each column is a day, or two or more where the season does not fit; of several visits in one
    the last is drawn.
    """
    days = [date for date, _ in series.counts]
    inside = [day for day in treated if min(days) <= day <= max(days)]
    first, last = min(days), max(days)
    each = math.ceil(((last - first).days + 1) / max(width - AXIS_WIDTH, 1))
    columns = (last - first).days // each + 1

    def place(day: dt.date) -> int:
        return (day - first).days // each

    def blank() -> list[float | None]:
        return [None] * columns

    means, lows, highs, limits, labels = blank(), blank(), blank(), blank(), [""] * columns
    for date, one in series.counts:
        at = place(date)
        means[at] = series.scaled(one, one.mean_per_set)
        lows[at] = series.scaled(one, one.low)
        highs[at] = series.scaled(one, one.high)
        limits[at:] = [series.scaled(one, one.threshold_per_set)] * (columns - at)
        labels[at] = said_day(date)
    top = max(value for value in (*means, *highs, *limits) if value is not None)
    highs = [top if low is not None and high is None else high
             for low, high in zip(lows, highs, strict=True)]  # fmt: skip
    upright = blank()
    for day in inside:
        upright[place(day)] = top
    ground = [None if value is None else 0.0 for value in upright]
    return draw(
        labels,
        bands=[ChartBand(TREATED, ground, upright), ChartBand(RANGE, lows, highs)],
        lines=[Line(THRESHOLD, limits), Line(COUNT, means)],
        top=top,
        width=width,
        rows=CHART_ROWS,
    )


def _harvest_note(treatments: Sequence[Treatment], knowledge: Knowledge) -> str | None:
    """What the intervals of treatments rest on; None where there is none."""
    if not treatments:
        return None
    where = knowledge.decisions.treated.entry_rule.note.partition(";")[0]
    return (
        f"Intervals before entry ({where}) and harvest are those noted from the label; the label "
        "is the law."
    )
