"""Route problems from a seed: fields in a plane, waiting that grows by the day, hours and musts."""

from __future__ import annotations

import numpy as np

from stagecast.base.dates import DAY_S
from stagecast.week.route.problem import RouteField, RouteProblem, Shift, Span

STARTS_S, ENDS_S = 7 * 3600, 15 * 3600 + 1800
"""A day of work on the working clock: 7:00 to 16:00 with half an hour of lunch."""

LATER_DAYS = 3
METRE_S, METRE_CENTS = 3.6 / 72, 0.1 * (0.45 + 30 / 72)
"""Seconds and cents of driving one metre, at 72 km/h, 0.45 dollars a km and 30 an hour."""


def random_problem(
    seed: int,
    *,
    sites: int,
    days: int,
    scouts: int = 1,
    musts: float = 0.1,
    narrow: float = 0.3,
    side_km: float = 60.0,
    ends_s: int = ENDS_S,
    dollars_a_day: float = 4.0,
) -> RouteProblem:
    """An invented week.

    Parameters
    ----------
    seed : int
    sites, days, scouts : int
    musts, narrow : float
        Share of fields that must be walked, and that are closed at times; half of the latter in
        the middle, so that they have two spans.
    side_km : float
        Fields lie in a square with the homes near its middle.
    ends_s : int
        When each shift ends.
    dollars_a_day : float
        Median cost of waiting.
    """
    rng = np.random.default_rng(seed)
    homes = side_km * 500 + rng.uniform(-0.1, 0.1, (scouts, 2)) * side_km * 1000
    places = np.vstack([homes, rng.uniform(0, side_km * 1000, (sites, 2))])
    metres = 1.3 * np.linalg.norm(places[:, None] - places, axis=2)
    rate = dollars_a_day * rng.lognormal(0, 1, sites)
    growth = rng.uniform(1.0, 1.2, sites)
    made = []
    for index in range(sites):
        by_day = 100 * rate[index] * growth[index] ** np.arange(days + LATER_DAYS)
        until = np.rint(np.concatenate([[0], np.cumsum(by_day)])).astype(int).tolist()
        made.append(
            RouteField(
                field_id=f"F{index + 1:03d}",
                place=scouts + index,
                service_s=60 * int(rng.integers(20, 61)),
                spans=some_spans(rng, days, ends_s, closed_at_times=rng.random() < narrow),
                wait_cents=tuple(until[:days]),
                skip_cents=until[-1],
                must=bool(rng.random() < musts),
                due_day=int(rng.integers(-6, days)),
            )
        )
    shifts = tuple(
        Shift(f"S{scout}", day, scout, day * DAY_S + STARTS_S, day * DAY_S + ends_s)
        for day in range(days)
        for scout in range(scouts)
    )
    return RouteProblem(
        tuple(made),
        shifts,
        np.rint(metres * METRE_S).astype(np.int64),
        np.rint(metres * METRE_CENTS).astype(np.int64),
    )


def some_spans(
    rng: np.random.Generator, days: int, ends_s: int, *, closed_at_times: bool
) -> tuple[Span, ...]:
    """The whole route, or from some moment on, half of the time with a hole of some hours."""
    last = (days - 1) * DAY_S + ends_s
    if not closed_at_times:
        return (Span(0, last),)
    first, hole_s = (int(rng.integers(STARTS_S, last - 7200)) for _ in range(2))
    if rng.random() < 0.5:
        return (Span(first, last),)
    day = hole_s // DAY_S * DAY_S
    begins = day + int(rng.integers(STARTS_S - 3600, ends_s - 3600))
    ends = begins + int(rng.integers(3600, 4 * 3600))
    return (Span(0, begins), Span(ends, last)) if ends < last else (Span(0, begins),)
