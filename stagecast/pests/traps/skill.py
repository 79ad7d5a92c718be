"""Heat and the calendar for one event at one trap: each year foretold from the others.

Where both were tried, both are used, each for as much as its errors deserve: weights of inverse
variance, drawn towards halves where few years tell them.

Days are counted from the spring day of their year, so that a calendar date is the same number in
every year; a check is taken to be made at noon.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from stagecast.pests.traps.rules import Event
from stagecast.phenology.accumulate import sum_at, time_reached
from stagecast.phenology.pests import HeatSums

Rule = Literal["calendar", "heat"]


@dataclass(frozen=True, slots=True)
class TooFewYears:
    """Why a rule was not tested: how many past years have what it needs, and how many it needs.

    Attributes
    ----------
    with_ : {"event", "whole weather", "event while heat is summed"}
        What the years must have.
    among: for ``event while heat is summed``: how many years have whole weather.
    """

    with_: Literal["event", "whole weather", "event while heat is summed"]
    years: int
    needed: int
    among: int | None = None


NoHeat = Literal["no model", "no place", "no temperatures", "no station"] | TooFewYears
"""Why heat was not tried: the pest has no model, nobody placed the trap, there are no temperatures
at all, no station near has enough whole years among those of the catches, or too few years."""


@dataclass(frozen=True, slots=True)
class EventSkill:
    """How far the mean date and the mean heat sum missed one event, year by year.

    Attributes
    ----------
    days: year -> day of the event, for every year in which it is known.
    heat: year -> degree-days C from spring up to the event, for the years that count for heat.
    calendar_errors, heat_errors: year -> foretold minus seen, days. On the same years, where heat
        was tried; both are empty where no rule could be tested.
    both_errors: the same of both together, the weights of a year from the other years alone.
    heat_share: what heat counts for where both are used; 0 where heat was not tried.
    untested: why neither rule was tested.
    no_heat: why heat was not tried; None where it was, and where nothing was.
    """

    event: Event
    days: Mapping[int, float]
    heat: Mapping[int, float]
    calendar_errors: Mapping[int, float]
    heat_errors: Mapping[int, float]
    both_errors: Mapping[int, float]
    heat_share: float
    untested: TooFewYears | None
    no_heat: NoHeat | None

    @property
    def years(self) -> tuple[int, ...]:
        """The years on which the errors rest."""
        return tuple(self.calendar_errors)

    @property
    def calendar_rmse(self) -> float | None:
        """Root mean square error of the mean date, days."""
        return _rmse(self.calendar_errors)

    @property
    def heat_rmse(self) -> float | None:
        """Root mean square error of heat, days."""
        return _rmse(self.heat_errors)

    @property
    def both_rmse(self) -> float | None:
        """Root mean square error of heat and the mean date together, days."""
        return _rmse(self.both_errors)

    @property
    def better(self) -> Rule | None:
        """The rule with the smaller error; the simpler one, the date, of equals."""
        calendar, heat = self.calendar_rmse, self.heat_rmse
        if calendar is None:
            return None
        return "calendar" if heat is None or calendar <= heat else "heat"

    @property
    def better_by_days(self) -> float | None:
        """By how much the error of the better rule is smaller; None where only one was tried."""
        calendar, heat = self.calendar_rmse, self.heat_rmse
        return None if calendar is None or heat is None else abs(calendar - heat)


def event_skill(
    event: Event,
    days: Mapping[int, float],
    sums: Mapping[int, HeatSums],
    *,
    fewest: int,
    no_heat: NoHeat | None,
    half_known: float,
) -> EventSkill:
    """Try both rules on one event, and both together.

    Parameters
    ----------
    days: year -> day of the event.
    sums: year -> heat from spring on, one member, for whole years only.
    fewest: years that a rule needs to be tested, 2 or more.
    no_heat: why there are no sums at all.
    half_known: years after which the errors count for half of the weights.
    """
    days = dict(sorted(days.items()))
    if len(days) < fewest:
        few = TooFewYears("event", len(days), fewest)
        return EventSkill(event, days, {}, {}, {}, {}, 0.0, few, None)
    inside = {year: sums[year] for year, day in days.items() if _within(day, sums.get(year))}
    heat = {year: float(sum_at(s.sums, np.array([days[year]]))[0]) for year, s in inside.items()}
    if len(heat) < fewest:
        why = no_heat or _too_few(days, sums, inside=len(heat), fewest=fewest)
        return EventSkill(event, days, heat, calendar_errors(days), {}, {}, 0.0, None, why)
    shared = {year: days[year] for year in heat}
    by_date, by_heat = calendar_errors(shared), heat_errors(shared, heat, inside)
    both = {
        year: share * by_heat[year] + (1.0 - share) * by_date[year]
        for year, share in _shares_of_others(shared, heat, inside, half_known).items()
    }
    share = heat_share(by_date, by_heat, half_known=half_known)
    return EventSkill(event, days, heat, by_date, by_heat, both, share, None, None)


def calendar_errors(days: Mapping[int, float]) -> dict[int, float]:
    """Mean day of the other years minus the day itself, by year, of two years or more."""
    return {year: mean - days[year] for year, mean in _means_of_others(days).items()}


def heat_errors(
    days: Mapping[int, float], heat: Mapping[int, float], sums: Mapping[int, HeatSums]
) -> dict[int, float]:
    """Day on which the mean heat of the other years was reached minus the day itself, by year.

    A mean that a year never reaches is taken as reached when its season ends, which is the
    smallest error it can have.
    """
    errors = {}
    for year, need_c in _means_of_others(heat).items():
        season = sums[year].sums
        reached = float(time_reached(season, np.array([need_c]))[0])
        errors[year] = min(reached, season.shape[-1] - 1.0) - days[year]
    return errors


def heat_share(
    by_date: Mapping[int, float], by_heat: Mapping[int, float], *, half_known: float
) -> float:
    """What heat counts for beside the mean date, 0 to 1, by the errors of both.

    Weights of inverse variance, of what the two do not err in common, leave the least error; their
    ratio is drawn towards one, on a logarithmic scale, as far as few years leave it open.

    References
    ----------
    Bates, J.M., Granger, C.W.J. 1969. The combination of forecasts. Operational Research Quarterly
    20: 451-468.
    """
    date = np.array(list(by_date.values()))
    heat = np.array([by_heat[year] for year in by_date])
    common = float((date * heat).mean())
    alone_date = max(float(np.square(date).mean()) - common, 0.0)
    alone_heat = max(float(np.square(heat).mean()) - common, 0.0)
    if not alone_date + alone_heat:
        return 0.5
    known = len(date) / (len(date) + half_known)
    return float(alone_date**known / (alone_date**known + alone_heat**known))


def _shares_of_others(
    days: Mapping[int, float],
    heat: Mapping[int, float],
    sums: Mapping[int, HeatSums],
    half_known: float,
) -> dict[int, float]:
    """For each year what heat counts for by the errors of the other years."""
    shares = {}
    for year in days:
        others = {y: day for y, day in days.items() if y != year}
        used = {y: heat[y] for y in others}
        shares[year] = heat_share(
            calendar_errors(others), heat_errors(others, used, sums), half_known=half_known
        )
    return shares


def _means_of_others(values: Mapping[int, float]) -> dict[int, float]:
    return {
        year: float(np.mean([other for y, other in values.items() if y != year])) for year in values
    }


def _too_few(
    days: Mapping[int, float], sums: Mapping[int, HeatSums], *, inside: int, fewest: int
) -> TooFewYears:
    """Whether whole weather is missing, or the event fell where no heat is summed."""
    whole = sum(year in sums for year in days)
    if whole < fewest:
        return TooFewYears("whole weather", whole, fewest)
    return TooFewYears("event while heat is summed", inside, fewest, whole)


def _within(day: float, sums: HeatSums | None) -> bool:
    """Whether heat was summed on a day at all."""
    return sums is not None and 0.0 <= day <= sums.sums.shape[-1] - 1


def _rmse(errors: Mapping[int, float]) -> float | None:
    return float(np.sqrt(np.mean(np.square(list(errors.values()))))) if errors else None
