"""A date that says how sure it is: the tenth, middle and ninetieth per cent of possible seasons."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stagecast.phenology.spread import quantile_days
from stagecast.weather.seasons import SeasonSpan

PROBABILITIES = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True)
class DateRange:
    """Dates by which an event has come in 10, 50 and 90 per cent of possible seasons.

    None stands for "not this season".
    """

    p10: dt.date | None
    p50: dt.date | None
    p90: dt.date | None

    def as_json(self) -> dict[str, str | None]:
        """ISO dates under the keys ``p10``, ``p50`` and ``p90``."""
        return {
            name: None if day is None else day.isoformat()
            for name, day in (("p10", self.p10), ("p50", self.p50), ("p90", self.p90))
        }


def date_range(
    times: NDArray[np.float64], span: SeasonSpan, weights: NDArray[np.float64] | None = None
) -> DateRange:
    """The range of an event from its time in every member.

    Parameters
    ----------
    times : ndarray, shape (members,)
        Fractional days since the span's first day; inf where not reached.
    weights : ndarray, shape (members,), optional
        How much each member counts; default all alike.
    """
    return date_ranges([times], span, weights)[0]


def date_ranges(
    events: Iterable[NDArray[np.float64]],
    span: SeasonSpan,
    weights: NDArray[np.float64] | None = None,
) -> list[DateRange]:
    """The ranges of several events of the same members, in one sort."""
    rows = np.array(list(events))
    if not rows.size:
        return []
    quantiles = quantile_days(rows, PROBABILITIES, weights).tolist()
    return [DateRange(*map(span.date, times)) for times in quantiles]


@dataclass(frozen=True, slots=True, eq=False)
class EventTimes:
    """When an event comes in every possible season, and between which dates.

    Attributes
    ----------
    times : ndarray, shape (members,)
        Fractional days since the span's first day; inf where it never comes. Not to be changed:
        events that come at the same times share them.
    weights : ndarray, shape (members,)
        How much each member counts.
    """

    times: NDArray[np.float64]
    weights: NDArray[np.float64]
    dates: DateRange

    @classmethod
    def of(
        cls, times: NDArray[np.float64], span: SeasonSpan, weights: NDArray[np.float64]
    ) -> EventTimes:
        """With the dates that follow from the times."""
        return cls(times, weights, date_range(times, span, weights))
