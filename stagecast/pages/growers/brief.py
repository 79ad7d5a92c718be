"""The page for a grower: why a field needs scouting now."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from urllib.parse import quote

from stagecast.forecast.forecast import NOT_PLANTED, PLANTED, FieldForecast
from stagecast.knowledge import Knowledge
from stagecast.pages.growers.found import Found, found_in
from stagecast.pages.growers.next_visit import (
    RIPE,
    PestToFind,
    look_for,
    looks_said,
    next_said,
    next_short,
    open_then,
    others,
    walked_on,
)
from stagecast.pages.growers.stage_chart import StageChart, stage_chart_of
from stagecast.pages.heat_chart import WindowPanel, grower_rows, window_panel, window_picture
from stagecast.pages.needs import above_mark
from stagecast.pages.number_line import number_line
from stagecast.pages.render import render
from stagecast.pages.ribbon import Ribbon, field_picture, ribbon_of
from stagecast.pests.windows import Declared, ScoutingWindow
from stagecast.season.settings.settings import ConsultantSettings
from stagecast.season.tables.blocked import Blocked
from stagecast.season.tables.fields import ACRES_PER_HECTARE
from stagecast.season.tables.visits import Visit
from stagecast.visits.heat import WindowHeat
from stagecast.visits.look_for import pressing
from stagecast.visits.reentry import NoEntry
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.week import above_of
from stagecast.words.fields import undated_text
from stagecast.words.notes import counted, unverified_note
from stagecast.words.plain import (
    LONGEST_TEXT,
    clock,
    explained,
    headed,
    listed,
    plain_day,
    sentence,
    short_day,
    stage_said,
    typed,
    why_said,
)
from stagecast.words.stand import stand_said
from stagecast.words.visits import blocked_text
from stagecast.words.week import above_texts

BLOOM = ("R1", "R2", "R3", "R4", "R5")
"""Stages at which bees are in the flowers."""


@dataclass(frozen=True, eq=False)
class Brief:
    """All that the page says of a field; its charts are made when they are asked for.

    Attributes
    ----------
    field_id, name, grower: as typed
    made: the day it stands for
    consultant: whom to ask
    facts: area and planting, in a line
    closed: set where the field may not be entered: said before all else
    stage: code of the stage now
    where, why, stand, next_steps, unknown, cautions: sentences
    also: other pests that may be about, with their thresholds
    looks: what its stages call for besides insects, a sentence each
    next_short: the next visit, for a list of fields
    field, behind: what the charts are made of
    """

    field_id: str
    name: str
    grower: str
    made: dt.date
    consultant: ConsultantSettings
    facts: str
    closed: str | None
    stage: str
    where: tuple[str, ...]
    why: tuple[str, ...]
    stand: tuple[str, ...]
    next_steps: tuple[str, ...]
    unknown: tuple[str, ...]
    cautions: tuple[str, ...]
    field: FieldDay
    behind: WindowHeat | None
    found: Found
    look_for: tuple[PestToFind, ...]
    also: tuple[tuple[str, str], ...]
    looks: tuple[str, ...]
    next_short: str

    @cached_property
    def stages(self) -> StageChart:
        """The dates of its stages."""
        return stage_chart_of(self.field.forecast)

    @cached_property
    def ribbon(self) -> Ribbon:
        """Its season."""
        return ribbon_of(self.field)

    @cached_property
    def heat(self) -> WindowPanel | None:
        """The heat behind the window that presses most, where heat opens it."""
        return None if self.behind is None else _heat(self.behind, self.field.season)

    @property
    def news(self) -> tuple[str, str, str]:
        """The page in three lines: where the beans are, what was found, when we come."""
        return self.where[0], self.found.headline, self.next_steps[0]

    @property
    def next_more(self) -> tuple[str, ...]:
        """What is said of the next visit beside the news; all of it where nothing follows."""
        return self.next_steps[1:] if self.look_for else self.next_steps

    @property
    def found_more(self) -> bool:
        """Whether there is more to tell of what was found than the news."""
        return bool(self.found.rows) or self.found.sentences != (self.found.headline,)

    @property
    def up(self) -> bool:
        """Whether seedlings are up."""
        return self.stage not in (NOT_PLANTED, PLANTED)

    @property
    def sweeps(self) -> bool:
        """Whether a threshold counts by sweeps, which are then explained."""
        return any("sweep" in one.threshold for one in self.look_for)


def brief_of(field: FieldDay) -> Brief:
    """Work out what the page of a field says."""
    season, forecast = field.season, field.forecast
    found = found_in(field)
    windows = sorted(open_then(field), key=lambda w: w.pest is None or w.pest != found.leading)
    behind = _heat_behind(field, windows, found.leading)
    wanted = tuple(look_for(field, windows))
    return Brief(
        field_id=field.field_id,
        name=forecast.field.field_name,
        grower=forecast.field.grower,
        made=season.as_of,
        consultant=season.settings.consultant,
        facts=_facts(field),
        closed=closed_said(field.no_entry, field.blocked) if field.closed else None,
        stage=forecast.stage_now,
        where=tuple(_where(field)),
        why=tuple(_why(field, windows, found.leading)),
        stand=tuple(_stand(field)),
        next_steps=tuple(next_said(field, above=found.above)),
        unknown=tuple(unknown_said(field, behind, wanted)),
        cautions=tuple(cautions_said([forecast.stage_now], closed=field.no_entry is not None)),
        field=field,
        behind=behind,
        found=found,
        look_for=wanted,
        also=tuple(others(field, windows)),
        looks=tuple(looks_said(field)),
        next_short=next_short(field),
    )


def brief_html(brief: Brief) -> str:
    """The page, self-contained."""
    return render(
        "brief.html",
        brief=brief,
        field=named(brief.field_id, brief.name),
        grower=typed(brief.grower),
        consultant=brief.consultant,
        made=f"{plain_day(brief.made, weekday=True)}, {brief.made.year}",
        stage_ribbon=field_picture(brief.ribbon),
        heat_picture=None if brief.heat is None else window_picture(brief.heat),
        heat_rows=() if brief.heat is None else grower_rows(brief.heat.chart),
        number_line=number_line,
        above_mark=above_mark,
        short_day=short_day,
        headed=headed,
    )


def named(field_id: str, name: str) -> str:
    """``F05 Two Silos``, as it may be shown."""
    return " ".join(filter(None, (typed(field_id), typed(name))))


def _facts(field: FieldDay) -> str:
    planted = field.forecast.field
    us = field.season.settings.units == "us"
    area = planted.area_acres if us else planted.area_acres / ACRES_PER_HECTARE
    verb = "to be planted" if field.forecast.stage_now == NOT_PLANTED else "planted"
    if planted.planned:
        verb = "planned to be planted"
    if planted.first_planted is not None:
        verb = "replanted"
    size = f"{area_said(area)} {'acres' if us else 'hectares'}"
    return f"{size}, {verb} {plain_day(planted.planting_date)}"


def area_said(area: float) -> str:
    """A whole number, or one decimal where the area was written with one."""
    tenths = round(area, 1)
    return f"{tenths:g}" if math.isclose(tenths, area, rel_tol=1e-6) else f"{area:.0f}"


def closed_said(no_entry: NoEntry | None, blocked: Sequence[Blocked]) -> str:
    """Until when nobody enters, and why."""
    held = [] if no_entry is None else [_held(no_entry)]
    return " ".join([*held, *map(_blocked, blocked)])


def _blocked(blocked: Blocked) -> str:
    return sentence(typed(blocked_text(blocked), most=LONGEST_TEXT))


def _held(held: NoEntry) -> str:
    until = held.until_minute
    product = headed(typed(held.treatment.product)) or "A product"
    applied = plain_day(held.treatment.applied_at.date())
    return (
        f"Do not enter this field until {plain_day(until.date(), weekday=True)}, {clock(until)}. "
        f"{product} was applied on {applied}; its label sets the time."
    )


def _where(field: FieldDay) -> Iterator[str]:
    forecast, as_of = field.forecast, field.season.as_of
    stage, last = forecast.stage_now, _stage_seen(field)
    if last is not None and last.date == as_of:
        yield f"Today we saw the beans at {stage_said(str(last.stage))}."
    elif stage == NOT_PLANTED:
        yield "This field is not planted yet."
    elif stage == PLANTED:
        yield "The seed is in the ground. By our forecast nothing is up yet."
    elif last is not None and last.stage == stage:
        seen = f"On {plain_day(last.date)} we saw the beans at {stage_said(stage)}"
        yield f"{seen}; by our forecast they are still there."
    else:
        yield f"By our forecast the beans are at {stage_said(stage)}."
    if last is not None and last.stage != stage and last.date != as_of:
        yield f"On {plain_day(last.date)} we saw {stage_said(str(last.stage))}."
    following = forecast.next_stage(as_of)
    if following is not None:
        yield comes_said(forecast, following)
    if following != "R7" and stage not in RIPE and forecast.stages["R7"].p50 is not None:
        ripe = plain_day(forecast.stages["R7"].p50)
        yield f"{stage_said('R7')}: about {ripe}."


def _stage_seen(field: FieldDay) -> Visit | None:
    """The last visit to the plants that stand on which their stage was noted."""
    forecast, last = field.forecast, field.last_visit
    seen = [lesson.visit for lesson in forecast.lessons if lesson.own and lesson.visit.stage]
    if last is not None and last.stage and last.date >= forecast.field.planting_date:
        seen.append(last)
    return max(seen, key=lambda visit: visit.date, default=None)


def comes_said(forecast: FieldForecast, stage: str) -> str:
    """When a stage comes, with its range."""
    dates = forecast.stages[stage]
    if dates.p50 is None or dates.p10 is None:
        return f"{stage_said(stage)} may not come this season."
    about = f"Next is {stage_said(stage)}, about {plain_day(dates.p50)}"
    if dates.p10 == dates.p90:
        return f"{about}."
    last = "later" if dates.p90 is None else plain_day(dates.p90)
    return f"{about} (8 chances in 10: {plain_day(dates.p10)} to {last})."


def _heat_behind(
    field: FieldDay, windows: Sequence[ScoutingWindow], leading: str | None
) -> WindowHeat | None:
    """The heat behind the most pressing window that heat opens: one that is open, or opens soon.

    Where a pest leads by its counts, only its own.
    """
    if field.visit.due is None:
        return None
    soon, walked = int(field.season.knowledge.revisit.entering_days), walked_on(field)
    coming = [w for w in field.windows if w.state(walked, entering_days=soon) == "coming"]
    coming.sort(key=lambda window: pressing(window, window.opens.p50 or walked))
    ours = [w for w in (*windows, *coming) if w.timing == "heat" and not w.unverified]
    ours = [w for w in ours if leading is None or w.pest == leading]
    told = (field.season.heat.behind(field.forecast, window) for window in ours)
    return next((found for found in told if found is not None), None)


def _heat(behind: WindowHeat, season: SeasonDay) -> WindowPanel:
    stale = int(season.knowledge.weather.stale_days)
    return window_panel(behind, season.settings.units, season.as_of, stale_days=stale)


def _why(field: FieldDay, windows: Sequence[ScoutingWindow], leading: str | None) -> Iterator[str]:
    """The time of the crop, and the pest that was found near its threshold or is most pressing."""
    if field.visit.due is None:
        return
    crop = sorted((w for w in windows if w.pest is None), key=lambda w: not w.critical)
    for window in crop[:1]:
        own = window.why.text if isinstance(window.why, Declared) else ""
        yield why_said(window.window, field.forecast.stage_now) or sentence(explained(own))
    first = leading or next((w.pest for w in windows if w.pest is not None), None)
    if first is not None:
        pest = field.season.knowledge.pests[first]
        harm = pest.damage.partition(";")[0].partition(":")[0]
        told = typed(explained(harm), most=LONGEST_TEXT)
        yield f"First on our list: {typed(pest.name)} ({told})."


def _stand(field: FieldDay) -> Iterator[str]:
    """The last stand count, until flowers show that it is settled."""
    found, bloom = field.stand, field.forecast.stages[BLOOM[0]].p50
    if found is not None and (bloom is None or field.season.as_of < bloom):
        yield from stand_said(found)


def unknown_said(
    field: FieldDay, behind: WindowHeat | None = None, wanted: Sequence[PestToFind] = ()
) -> Iterator[str]:
    """What the forecast leaves out, and what of the page is untested or from memory."""
    weather = field.forecast.weather.season
    if weather.member_years:
        years = counted(len(weather.member_years), "past year")
        until = weather.forecast_until
        said = "" if until is None else f"the forecast to {plain_day(until)}, then "
        yield f"Coming weather: we try {said}that of {years}."
    last = weather.last_known
    if last is not None and last < field.season.as_of and weather.member_years:
        yield f"The station has no readings after {plain_day(last)}."
    water = field.forecast.water
    if water is not None and water.dry_since is not None:
        since = plain_day(water.dry_since)
        yield f"The soil is dry since {since}: the beans may ripen sooner or later than we say."
    first = "Drought, hail" if water is None else "Hail"
    yield f"{first}, disease and replanting: not in our forecast."
    if behind is not None and not behind.tested:
        yield f"Timing of {typed(behind.pest.name)} by warmth: untested here."
    from_memory = list(_from_memory(behind, wanted, field.season.knowledge))
    if from_memory:
        yield f"From memory, unverified: {listed(from_memory)}."


def _from_memory(
    behind: WindowHeat | None, wanted: Sequence[PestToFind], knowledge: Knowledge
) -> Iterator[str]:
    """What on the page rests on values that nobody looked up."""
    if unverified_note(knowledge) is not None:
        yield "some numbers behind the stage dates"
    if behind is not None and behind.window.unverified:
        yield f"the timing of {typed(behind.pest.name)}"
    pests = [one.pest for one in wanted if one.unverified]
    if pests:
        yield f"the {'threshold' if len(pests) == 1 else 'thresholds'} of {listed(pests)}"


def cautions_said(stages: Iterable[str], *, closed: bool) -> Iterator[str]:
    """What to mind; ``closed``: the page says until when nobody enters."""
    yield "A threshold passed is a reason to talk, never just to spray."
    law = "The product label is the law."
    yield law if closed else f"{law} It also says when to enter."
    if any(stage in BLOOM for stage in stages):
        yield "Bees are in the flowers now."
    yield "Ask us, your county extension office, or a licensed adviser."


@dataclass(frozen=True, slots=True)
class IndexRow:
    """A field in the list: its page, where it stands, what was found, and when we come."""

    file: str
    field: str
    grower: str
    stage: str
    found: str
    above: bool
    next: str
    closed: bool


@dataclass(frozen=True, slots=True)
class GrowerRows:
    """The fields of one grower, in file order."""

    name: str
    rows: tuple[IndexRow, ...]


def index_html(season: SeasonDay, briefs: Sequence[Brief], names: Mapping[str, str]) -> str:
    """The page, self-contained; first the fields that wait for a decision.

    ``names``: field id -> name of its file beside this one.
    """
    day, refused = season.as_of, season.loaded.refused
    rows = {one.field_id: index_row(one, names[one.field_id]) for one in briefs}
    decide = [
        replace(rows[field.field_id], found="; ".join(found))
        for field, found in above_texts(above_of(season), day_text=short_day)
        if field.field_id in rows
    ]
    return render(
        "brief_index.html",
        made=f"{plain_day(day, weekday=True)}, {day.year}",
        above_mark=above_mark,
        decide=decide,
        growers=by_grower(list(rows.values())),
        undated=typed(undated_text(season.read.season), most=3 * LONGEST_TEXT),
        refused=[typed(problem.sentence(), most=3 * LONGEST_TEXT) for problem in refused],
    )


def index_row(brief: Brief, file: str) -> IndexRow:
    """What the list says of a field."""
    found = brief.found
    seen = "" if found.date is None else f" ({short_day(found.date)})"
    return IndexRow(
        file=quote(file),
        field=named(brief.field_id, brief.name),
        grower=typed(brief.grower),
        stage=stage_said(brief.stage),
        found=f"{found.short}{seen}",
        above=found.above,
        next=brief.next_short,
        closed=brief.closed is not None,
    )


def by_grower(rows: Sequence[IndexRow]) -> tuple[GrowerRows, ...]:
    """Growers by name, each with all fields; those without a name come last."""
    found: dict[str, list[IndexRow]] = {}
    for row in rows:
        found.setdefault(row.grower, []).append(row)
    order = sorted(found, key=lambda name: (not name, name.casefold(), name))
    return tuple(GrowerRows(name, tuple(found[name])) for name in order)
