"""A route told in days, hours and words: who goes where when, and why a field is left out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stagecast.base.dates import DAY_S, said_day
from stagecast.week.fields import work_on
from stagecast.week.hot_days import hot_day
from stagecast.week.problem import Week, ways_of
from stagecast.week.route.day_times import day_times
from stagecast.week.route.problem import Route, Stop, schedule
from stagecast.week.route.roads import CENTS
from stagecast.week.route.solve import why_missed
from stagecast.week.types import HotDay, LeftOut, ScoutDay, WeekStop


def scout_days(week: Week, route: Route) -> tuple[ScoutDay, ...]:
    """Every shift as a scout's day, by date and in the order of the scouts."""
    return tuple(_day(week, shift, order) for shift, order in enumerate(route.orders))


def _day(week: Week, index: int, order: Sequence[int]) -> ScoutDay:
    shift, scout = week.problem.shifts[index], week.crew[week.scouts[index]]
    date = week.dates[shift.day]
    made = schedule(week.problem, index, order)
    assert made is not None, "solvers only return routes that can be driven"
    ways = ways_of(week, shift, order)
    times = day_times(
        [(stop.begins_s - shift.day * DAY_S, stop.ends_s - shift.day * DAY_S) for stop in made],
        [int(week.problem.drive_s[way]) for way in ways],
        lunch_s=scout.lunch_s,
        lunch_length_s=scout.lunch_length_s,
    )
    stops = tuple(
        _stop(week, stop, date, at, way)
        for stop, at, way in zip(made, times.stops, ways, strict=False)
    )
    return ScoutDay(
        date=date,
        scout=scout.name,
        home=(scout.latitude, scout.longitude),
        leave_home=_at(date, times.leaves_s) if made else None,
        back_home=_at(date, times.backs_s) if made else None,
        stops=stops,
        drive_km=float(sum(week.roads.km[way] for way in ways)),
        drive_min=float(sum(week.roads.minutes[way] for way in ways)),
        work_min=float(sum(week.fields[stop.site].minutes for stop in made)),
        lunch=None
        if times.lunch is None
        else (_at(date, times.lunch[0]), _at(date, times.lunch[1])),
        hot=_hottest(week, stops, date),
        starts_at=week.at if shift.begins_at is not None else None,
    )


def _stop(
    week: Week, stop: Stop, date: dt.date, at: tuple[int, int], way: tuple[int, int]
) -> WeekStop:
    field = week.fields[stop.site]
    look_for, sampling = work_on(field.plan, date, week.season.loaded)
    return WeekStop(
        plan=field.plan,
        arrive=_at(date, at[0]),
        leave=_at(date, at[1]),
        look_for=look_for,
        sampling=sampling or field.sampling,
        sets=field.sets,
        drive_km=float(week.roads.km[way]),
        drive_min=float(week.roads.minutes[way]),
        waiting=week.waiting[stop.site],
    )


def _at(date: dt.date, seconds: int) -> dt.datetime:
    return dt.datetime.combine(date, dt.time()) + dt.timedelta(seconds=seconds)


def _hottest(week: Week, stops: Sequence[WeekStop], date: dt.date) -> HotDay | None:
    """The hottest place of a day, by the stations of its fields."""
    seasons = {
        stop.plan.forecast.weather.season.station.station: stop.plan.forecast.weather.season
        for stop in stops
    }
    found = [hot_day(season, date, week.season.loaded.knowledge) for season in seasons.values()]
    hot = [one for one in found if one is not None]
    return max(hot, key=lambda one: one.high_c, default=None)


def left_out(week: Week, route: Route) -> tuple[LeftOut, ...]:
    """Fields that are due and not walked, the dearest first."""
    found = [
        LeftOut(field.plan, _why(week, route, site), week.waiting[site])
        for site, field in enumerate(week.fields)
        if site not in route.walked
    ]
    return tuple(sorted(found, key=lambda one: (-one.waiting.left_out, one.field_id)))


def _why(week: Week, route: Route, site: int) -> str:
    """Why a field is not walked: it cannot be, it does not pay, or others need the hours more."""
    field, problem = week.fields[site], week.problem
    if not problem.shifts:
        return "nobody works in these days"
    if not field.spans:
        return field.closed
    alone = [i for i in range(len(problem.shifts)) if schedule(problem, i, [site]) is not None]
    if not alone:
        return _never(week, site)
    if field.must:
        return why_missed(problem, site)
    drive, saved = _cheapest(week, route, site, alone)
    if saved <= drive:
        return f"not worth the drive: it adds ${drive:.0f}, and being there saves ${saved:.0f}"
    last = said_day(week.dates[-1])
    return f"no hours left up to {last}: fields that lose more by waiting take them"


def _never(week: Week, site: int) -> str:
    """Why a field fits into no shift even alone."""
    first = week.fields[site].first
    last = week.dates[week.problem.shifts[-1].day]
    if first > last:
        return f"not before {first:%a} {said_day(first)}, after the last day of work in these days"
    return week.fields[site].closed or why_missed(week.problem, site)


def _cheapest(week: Week, route: Route, site: int, alone: Sequence[int]) -> tuple[float, float]:
    """Least driving that a field adds to the route, and what being there saves, in dollars.

    Only shifts take part in which it could be walked alone; hours that other fields have there are
    not looked at.
    """
    problem = week.problem
    here, drive = problem.sites[site], problem.drive_cents
    gains = []
    for index in alone:
        shift, order = problem.shifts[index], route.orders[index]
        saved = here.skip_cents - here.wait_cents[shift.day]
        for start, end in ways_of(week, shift, order) or [(shift.start, shift.home)]:
            added = int(drive[start, here.place] + drive[here.place, end] - drive[start, end])
            gains.append((saved - added, added, saved))
    _, added, saved = max(gains)
    return added / CENTS, saved / CENTS
