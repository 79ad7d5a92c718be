"""What a chart of a pest's heat shows, in degree-days of the season's unit.

A :class:`HeatChart` is of one curve from its first day on; a :class:`StationsChart` lays the curves
of several stations over each other, round the day that is asked for.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, repeat
from string import ascii_lowercase

import numpy as np

from stagecast.base.units import Units, heat_scale
from stagecast.forecast.ranges import DateRange
from stagecast.pests.curves import CurveWeek, HeatRange, PestCurve
from stagecast.visits.heat import PestEvent, PestHeat, PestStations, WindowHeat

ABOVE_LAST_EVENT = 1.1
ABOVE_NEED = 1.15
"""How far a chart reaches, as a share of its last event's need, or of the need of a window."""

HEADROOM = 1.1
"""Of the heat across a chart, so that an event at its end can be named."""

BACK, AHEAD = dt.timedelta(days=42), dt.timedelta(days=28)
"""How far before and after the day a chart of stations reaches."""


@dataclass(frozen=True, slots=True)
class Need:
    """A level of a chart: the heat that an event needs, and the letter that stands for it."""

    letter: str
    heat: float


@dataclass(frozen=True, slots=True, eq=False)
class HeatChart:
    """A curve with its needs.

    Attributes
    ----------
    unit : str
        ``F`` or ``C``.
    first : datetime.date
        On which counting begins.
    weeks : tuple of CurveWeek
        Those shown.
    latest : CurveWeek or None
        Up to this season's last known day, which need not end a week.
    needs : tuple of Need
    bottom, top : float
        Heat at its foot and its head.
    """

    unit: str
    as_of: dt.date
    first: dt.date
    weeks: tuple[CurveWeek, ...]
    latest: CurveWeek | None
    needs: tuple[Need, ...]
    top: float

    bottom: float = 0.0

    @property
    def last(self) -> dt.date:
        """The last day across the chart."""
        return max([self.first, *(week.through for week in self.weeks)])


def events_chart(heat: PestHeat, curve: PestCurve, *, units: Units, as_of: dt.date) -> HeatChart:
    """A curve up to a little above the last event that is in its reach; events named by letters."""
    needs = [event.need_c for event in heat.likely_events]
    most = _most(curve.weeks)
    last = max((need for need in needs if need <= most), default=most)
    top_c = max(min(most, ABOVE_LAST_EVENT * last), 1.0)
    named = [Need(letter, need) for letter, need in zip(event_letters(), needs, strict=False)]
    return _in_units(curve, _until(curve.weeks, top_c), named, top_c, units=units, as_of=as_of)


def event_letters() -> Iterator[str]:
    """A letter for each event, by which a chart names it; none for those past the alphabet."""
    return chain(ascii_lowercase, repeat(""))


def need_chart(found: WindowHeat, *, units: Units, as_of: dt.date) -> HeatChart:
    """A curve up to a little after the heat that opens a window, or to a week after today."""
    shown_c = ABOVE_NEED * found.need_c
    weeks = _until(found.curve.weeks, shown_c, after=as_of)
    top_c = max(1.0, shown_c, _most(weeks))
    return _in_units(found.curve, weeks, [Need("", found.need_c)], top_c, units=units, as_of=as_of)


def _most(weeks: Sequence[CurveWeek]) -> float:
    heats = [week.past.p90 for week in weeks if week.past is not None]
    heats += [week.this_season for week in weeks if week.this_season is not None]
    return max(heats, default=0.0)


def _until(
    weeks: Sequence[CurveWeek], heat_c: float, *, after: dt.date = dt.date.min
) -> Sequence[CurveWeek]:
    """Weeks up to the one, after a day, in which nearly all past seasons have passed a heat."""
    for i, week in enumerate(weeks):
        if week.past is not None and week.past.p10 > heat_c and week.through > after:
            return weeks[: i + 1]
    return weeks


def _in_units(
    curve: PestCurve,
    weeks: Iterable[CurveWeek],
    needs: Iterable[Need],
    top_c: float,
    *,
    units: Units,
    as_of: dt.date,
) -> HeatChart:
    scale, unit = heat_scale(units)
    latest = None
    if curve.last_known is not None and curve.so_far is not None:
        latest = CurveWeek(curve.last_known, curve.so_far, curve.past_so_far).scaled(scale)
    return HeatChart(
        unit=unit,
        as_of=as_of,
        first=curve.biofix,
        weeks=tuple(week.scaled(scale) for week in weeks),
        latest=latest,
        needs=tuple(replace(need, heat=scale * need.heat) for need in needs),
        top=scale * top_c,
    )


@dataclass(frozen=True, slots=True)
class StationLine:
    """A station's season: where its heat stood on days, the last of them the last known."""

    station: str
    points: tuple[tuple[dt.date, float], ...]


@dataclass(frozen=True, slots=True)
class EventLine:
    """An event on the chart: the heat that it needs, and when it comes at each station."""

    event: PestEvent
    heat: float
    dates: tuple[DateRange, ...]


@dataclass(frozen=True, slots=True, eq=False)
class StationsChart:
    """Curves of several stations laid over each other, round a day.

    Attributes
    ----------
    first, last : datetime.date
        Across the chart.
    lines : tuple of StationLine
        Of the stations whose count has begun, the warmest first.
    past : tuple of (datetime.date, HeatRange)
        The least 10, the middle 50 and the most 90 per cent of past seasons at any station.
    events : tuple of EventLine
        Those whose heat lies on the chart, by heat.
    bottom, top : float
        Heat at its foot and its head.
    """

    unit: str
    as_of: dt.date
    first: dt.date
    last: dt.date
    lines: tuple[StationLine, ...]
    past: tuple[tuple[dt.date, HeatRange], ...]
    events: tuple[EventLine, ...]
    bottom: float
    top: float


def stations_chart(about: PestStations, *, units: Units, as_of: dt.date) -> StationsChart:
    """The curves of a pest at its stations from some weeks before a day to some after it."""
    scale, unit = heat_scale(units)
    curves = [(one.station, one.curve) for one in about.stations if one.curve is not None]
    first = min(as_of, max(min(curve.biofix for _, curve in curves), as_of - BACK))
    ends = [week.through for _, curve in curves for week in curve.weeks]
    last = max(first + AHEAD, min(max(ends, default=as_of), as_of + AHEAD))
    known = [_line(name, curve, first, last, scale) for name, curve in curves]
    lines = sorted((line for line in known if line.points), key=lambda line: -line.points[-1][1])
    past = tuple(_past_of([curve for _, curve in curves], first, last, scale))
    heats = [heat for line in lines for _, heat in line.points]
    low = [*heats, *(heats_.p10 for _, heats_ in past)]
    high = [*heats, *(heats_.p90 for _, heats_ in past)]
    bottom = min(low, default=0.0)
    top = max(1.0, HEADROOM * (max(high, default=0.0) - bottom)) + bottom
    return StationsChart(
        unit=unit,
        as_of=as_of,
        first=first,
        last=last,
        lines=tuple(lines),
        past=past,
        events=tuple(
            one for one in event_lines(about.stations, units) if bottom <= one.heat <= top
        ),
        bottom=bottom,
        top=top,
    )


def event_lines(stations: Sequence[PestHeat], units: Units) -> Iterator[EventLine]:
    """The likely events of a pest, with their dates at each station."""
    scale, _ = heat_scale(units)
    longest = max(stations, key=lambda one: len(one.likely_events))
    for place, event in enumerate(longest.likely_events):
        dates = tuple(one.events[place].dates for one in stations)
        yield EventLine(event, scale * event.need_c, dates)


def _line(
    station: str, curve: PestCurve, first: dt.date, last: dt.date, scale: float
) -> StationLine:
    known = {curve.biofix: 0.0}
    known |= {w.through: w.this_season for w in curve.weeks if w.this_season is not None}
    if curve.last_known is None or curve.so_far is None:
        return StationLine(station, ())
    known[curve.last_known] = curve.so_far
    days = [day for day in _days(known, first, last) if day <= curve.last_known]
    return StationLine(station, tuple((day, scale * _between(known, day)) for day in days))


def _past_of(
    curves: Sequence[PestCurve], first: dt.date, last: dt.date, scale: float
) -> Iterator[tuple[dt.date, HeatRange]]:
    """The spread of past seasons over all stations that have some, day by day of their weeks."""
    each = [
        {curve.biofix: HeatRange(0.0, 0.0, 0.0)}
        | {week.through: week.past for week in curve.weeks if week.past is not None}
        for curve in curves
        if curve.past_years
    ]
    for day in sorted({day for one in each for day in _days(one, first, last)}):
        there = [one for one in each if min(one) <= day <= max(one)]
        low, middle, high = (
            [_between({d: getattr(h, part) for d, h in one.items()}, day) for one in there]
            for part in ("p10", "p50", "p90")
        )
        if there:
            yield (
                day,
                HeatRange(scale * min(low), scale * float(np.median(middle)), scale * max(high)),
            )


def _days(known: Iterable[dt.date], first: dt.date, last: dt.date) -> list[dt.date]:
    """The days of a curve inside the chart, with those on which it enters and leaves it."""
    days = sorted(known)
    edges = (day for day in (first, last) if days[0] <= day <= days[-1])
    return sorted({*edges, *(day for day in days if first <= day <= last)})


def _between(known: Mapping[dt.date, float], day: dt.date) -> float:
    """The heat on a day, on a straight line between the days that are known."""
    days = sorted(known)
    numbers = [one.toordinal() for one in days]
    return float(np.interp(day.toordinal(), numbers, [known[one] for one in days]))
