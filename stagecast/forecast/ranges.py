"""A date that says how sure it is: the tenth, middle and ninetieth per cent of possible seasons."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from stagecast.phenology.spread import quantile_days
from stagecast.weather.seasons import SeasonSpan

PROBABILITIES = (0.1, 0.5, 0.9)
_KEPT = 256  # more than the ranges of one field


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
    # Many pests of a field open or close with the same stage: the same numbers are ranged once.
    return _range_of(times.tobytes(), None if weights is None else weights.tobytes(), span)


@lru_cache(maxsize=_KEPT)
def _range_of(times: bytes, weights: bytes | None, span: SeasonSpan) -> DateRange:
    quantiles = quantile_days(
        np.frombuffer(times), PROBABILITIES, None if weights is None else np.frombuffer(weights)
    )
    return DateRange(*(span.date(float(time)) for time in quantiles))
