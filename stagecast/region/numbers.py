"""What the compiled loop reads: knowledge and errors of the draws as plain arrays.

Tuples of arrays go into :mod:`stagecast.region.kernel` as :func:`records`. Crop events are places
in :data:`~stagecast.knowledge.crop.STAGE_ORDER`; days are indices since 1 January of the season.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from statistics import NormalDist
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from stagecast.base.units import FloatArray
from stagecast.knowledge import Knowledge
from stagecast.knowledge.crop import Ensemble, Soybean, stage_place
from stagecast.knowledge.pest import Activity, HeatModel, Pest
from stagecast.phenology.ensemble import Draws, MemberErrors, make_draws, member_errors
from stagecast.phenology.parameters import Cardinals, CropParameters
from stagecast.phenology.spread import normal_draws, unrelated_order
from stagecast.weather.seasons import SeasonSpan

IntArray = NDArray[np.int64]
Records = NDArray[np.void]

BY_CALENDAR, BY_STAGE, BY_SIGHTING = 0, 1, 2
"""From what a pest's heat is counted: a day of the year, a crop event, a day of the field's."""

_TRIES = 200  # orders compared for the least correlation; a matter of arithmetic, not of crops


class CropNumbers(NamedTuple):
    """The stage model's parameters, as :class:`CropParameters` has them."""

    emergence_need: float
    emergence_base_c: float
    emergence_cap_c: float
    node_cardinals_c: Cardinals
    ve_r1_cardinals_c: Cardinals
    r1_r5_cardinals_c: Cardinals
    r5_r7_cardinals_c: Cardinals
    usual_range_c: float
    wide_days_before_r1: float
    wide_days_after_r5: float
    floor: float
    post_shift_h: float
    post_slope_factor: float
    sun_angle_rad: float
    shares_r1_r5: tuple[float, float, float, float]
    shares_r5_r7: tuple[float, float]
    days_r7_r8: float
    leaf_needs: tuple[float, float, float, float, float]

    @classmethod
    def of(cls, soybean: Soybean) -> CropNumbers:
        """The same numbers as the plan's."""
        crop = CropParameters.from_knowledge(soybean)
        to_r5 = (crop.share_r2, crop.share_r3, crop.share_r4, 1.0)
        plastochrons = (crop.vc_at, *(crop.v1_at + n for n in range(4)))
        return cls(
            crop.emergence_need,
            crop.emergence_base_c,
            crop.emergence_cap_c,
            crop.node_cardinals_c,
            crop.ve_r1_cardinals_c,
            crop.r1_r5_cardinals_c,
            crop.r5_r7_cardinals_c,
            crop.usual_range_c,
            crop.wide_days_before_r1,
            crop.wide_days_after_r5,
            crop.photoperiod_floor,
            crop.post_shift_h,
            crop.post_slope_factor,
            float(np.radians(float(soybean.photoperiod.sun_angle))),
            to_r5,
            (crop.share_r6, 1.0),
            crop.days_r7_r8,
            tuple(count * crop.phyllochron for count in plastochrons),  # type: ignore[arg-type]
        )


class GroupNumbers(NamedTuple):
    """Photothermal parameters of the kinds of field in a part, each of shape (kinds, levels)."""

    critical_h: FloatArray
    sensitivity: FloatArray
    need_ve_r1: FloatArray
    need_r1_r5: FloatArray
    need_r5_r7: FloatArray


class MemberNumbers(NamedTuple):
    """One possible season under one draw of the errors, each of shape (members,).

    ``z`` is the standard normal error of a pest's heat, ``late_days`` the days from R6 to R6.5.
    """

    season: IntArray
    level: IntArray
    emergence: FloatArray
    nodes: FloatArray
    before_r1: FloatArray
    r1_r5: FloatArray
    r5_r7: FloatArray
    r8_days: FloatArray
    z: FloatArray
    late_days: FloatArray


class PestNumbers(NamedTuple):
    """How each pest's heat is counted, each of shape (pests,).

    ``starts`` is the day index of a calendar biofix or the place of a crop event.
    """

    lower_c: FloatArray
    upper_c: FloatArray
    shape: IntArray
    moved: IntArray
    double: NDArray[np.bool_]
    cutoff: IntArray
    spread: FloatArray
    biofix: IntArray
    starts: IntArray


class WindowNumbers(NamedTuple):
    """Windows of the crop, each of shape (windows,)."""

    opens: IntArray
    opens_plus: FloatArray
    closes: IntArray
    closes_plus: FloatArray


class ActivityNumbers(NamedTuple):
    """Windows of pests that heat opens, each of shape (activities,).

    Needs are degree-days C; NaN where a window closes by days (``lasts``) or with its host alone.
    """

    pest: IntArray
    host_first: IntArray
    first_need: FloatArray
    last_need: FloatArray
    lasts: FloatArray


def records(numbers: tuple[NDArray[Any], ...]) -> Records:
    """A named tuple of arrays of one shape as an array of records.

    The loop hands one array on, and not ten: each has an owner who is told of every use.
    """
    names: tuple[str, ...] = numbers._fields  # type: ignore[attr-defined]
    columns = list(zip(names, numbers, strict=True))
    found = np.empty(numbers[0].shape, dtype=[(name, column.dtype) for name, column in columns])
    for name, column in columns:
        found[name] = column
    return found


# --- members --------------------------------------------------------------------------------------


@cache
def draws_of(count: int, levels: int, shared: float, seed: int) -> Draws:
    """So many draws of the errors, the same ones for the same seed."""
    return make_draws(levels=levels, per_level=count // levels, shared=shared, seed=seed)


def group_levels(ensemble: Ensemble) -> FloatArray:
    """Standard normal errors of the cultivar within its group, shape (levels,)."""
    levels = int(ensemble.levels)
    return draws_of(levels, levels, float(ensemble.shared), int(ensemble.seed)).group


def members_of(seasons: int, draws: int, soybean: Soybean) -> MemberNumbers:
    """Possible seasons of a cell: past years times draws of the errors.

    With as many draws as the plan has, its own members: every season under all of its draws. With
    fewer, each member has a draw of its own, and all of them together are spread as one set, so
    that thirty seasons with one draw each tell as wide a range as the plan does.

    Parameters
    ----------
    seasons : int
        Past years that stand for the days ahead; 1 when the season is over.
    draws : int
        Draws of the errors for each.
    """
    ensemble = soybean.ensemble
    levels, planned = int(ensemble.levels), int(ensemble.levels) * int(ensemble.per_level)
    own = draws == planned
    members = seasons * draws
    count = planned if own else levels * -(-members // levels)
    drawn = draws_of(count, levels, float(ensemble.shared), int(ensemble.seed))
    if not own:
        # Few draws of two errors that make up one differ in spread by chance: brought back to one.
        phase = {name: z / z.std() for name, z in drawn.phase.items()}
        drawn = replace(drawn, phase=phase)
    errors = member_errors(drawn, ensemble=ensemble)
    level = np.repeat(np.arange(levels), count // levels)
    order = np.tile(np.arange(count), seasons) if own else _unrelated(errors, level)[:members]
    spread = draws if own else members
    z = normal_draws(spread)[unrelated_order(spread)]
    share = (unrelated_order(spread) + 0.5) / spread
    if not own:
        # Of an order of its own: a cultivar that is late has nothing to do with late worms.
        mixed = np.random.Generator(np.random.PCG64(int(ensemble.seed))).permutation(members)
        z, share = z[mixed], share[mixed[::-1]]
    fewest, most = soybean.between.r6_5.values
    repeats = members // spread

    def taken(values: FloatArray) -> FloatArray:
        return np.ascontiguousarray(np.broadcast_to(values, errors.nodes.shape).ravel()[order])

    return MemberNumbers(
        np.repeat(np.arange(seasons), draws),
        level[order],
        taken(errors.emergence),
        taken(errors.nodes),
        taken(errors.before_r1),
        taken(errors.r1_r5),
        taken(errors.r5_r7),
        taken(errors.r8_days),
        np.tile(z, repeats),
        np.tile(fewest + (most - fewest) * share, repeats),
    )


def _unrelated(errors: MemberErrors, level: IntArray) -> IntArray:
    """An order of the draws in which none of their errors goes with the order of past years."""
    rows = np.vstack([level, *(e.ravel() for e in (
        errors.emergence, errors.nodes, errors.before_r1, errors.r1_r5, errors.r5_r7,
        errors.r8_days))]).astype(np.float64)  # fmt: skip
    rows -= rows.mean(axis=1, keepdims=True)
    rows /= np.maximum(np.linalg.norm(rows, axis=1, keepdims=True), np.finfo(np.float64).tiny)
    years = np.arange(rows.shape[1]) - (rows.shape[1] - 1) / 2.0
    random = np.random.Generator(np.random.PCG64(rows.shape[1]))
    orders = [random.permutation(rows.shape[1]) for _ in range(_TRIES)]
    return min(orders, key=lambda order: float(np.abs(rows[:, order] @ years).max()))


# --- pests and windows ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TimedPest:
    """A pest that heat times in a region, what its heat is counted from, and its windows."""

    pest: Pest
    model: HeatModel
    biofix: int
    starts: int
    activities: tuple[Activity, ...]


def timed_pests(
    knowledge: Knowledge, span: SeasonSpan, *, sighted: Sequence[str] = ()
) -> tuple[TimedPest, ...]:
    """Pests that a calendar day or a crop stage starts, and those of which a day is given.

    Parameters
    ----------
    sighted : sequence of str
        Ids of pests for which the fields' table gives the day from which heat counts.
    """
    found = []
    for pest in knowledge.pests.values():
        activities = tuple(a for a in pest.activities if a.opens is not None)
        if pest.heat is None or not activities:
            continue
        start = (BY_SIGHTING, 0) if pest.id in sighted else _start(pest.heat, span)
        if start is not None:
            found.append(TimedPest(pest, pest.heat, *start, activities))
    return tuple(found)


def needs_sighting(pest: Pest) -> bool:
    """Whether only a catch, or eggs or adults seen, start its heat."""
    return pest.heat is not None and all(b.kind in ("trap catch", "seen") for b in pest.heat.biofix)


def _start(model: HeatModel, span: SeasonSpan) -> tuple[int, int] | None:
    """The first biofix that needs nobody in the field."""
    for one in model.biofix:
        if one.kind == "calendar day":
            return BY_CALENDAR, span.index(dt.date(span.year, one.month or 1, one.day or 1))
        if one.kind == "crop stage":
            return BY_STAGE, stage_place(one.stage or "planting")
    return None


AVERAGE, TRIANGLE, SINE = 0, 1, 2
CLAMPED, CAPPED = 1, 2

# Shape of the day's curve, how its extremes are moved first, and whether halves are taken.
_METHODS = {
    "simple average": (AVERAGE, 0, False),
    "clamped average": (AVERAGE, CLAMPED, False),
    "capped average": (AVERAGE, CAPPED, False),
    "single triangle": (TRIANGLE, 0, False),
    "double triangle": (TRIANGLE, 0, True),
    "single sine": (SINE, 0, False),
    "double sine": (SINE, 0, True),
}
_CUTOFFS = {"none": 0, "horizontal": 1, "intermediate": 2, "vertical": 3}


def pest_numbers(pests: Sequence[TimedPest], knowledge: Knowledge) -> PestNumbers:
    """How the heat of some pests is counted."""
    usual = float(knowledge.timing.heat_tolerance) / NormalDist().inv_cdf(0.9)
    models = [one.model for one in pests]

    def floats(values: Sequence[float]) -> FloatArray:
        return np.array(values, dtype=np.float64)

    def ints(values: Sequence[int]) -> IntArray:
        return np.array(values, dtype=np.int64)

    return PestNumbers(
        floats([m.lower_c for m in models]),
        floats([np.nan if m.upper_c is None else m.upper_c for m in models]),
        ints([_METHODS[m.method][0] for m in models]),
        ints([_METHODS[m.method][1] for m in models]),
        np.array([_METHODS[m.method][2] for m in models], dtype=np.bool_),
        ints([_CUTOFFS[m.cutoff] for m in models]),
        floats([usual if m.spread is None else float(m.spread) for m in models]),
        ints([one.biofix for one in pests]),
        ints([one.starts for one in pests]),
    )


def window_numbers(knowledge: Knowledge) -> WindowNumbers:
    """The windows of the crop."""
    crop = knowledge.windows
    return WindowNumbers(
        np.array([stage_place(w.opens.stage) for w in crop], dtype=np.int64),
        np.array([w.opens.plus_days for w in crop], dtype=np.float64),
        np.array([stage_place(w.closes.stage) for w in crop], dtype=np.int64),
        np.array([w.closes.plus_days for w in crop], dtype=np.float64),
    )


def activity_numbers(pests: Sequence[TimedPest]) -> ActivityNumbers:
    """The windows of some pests that their heat opens."""
    activities = [(number, one.pest, a) for number, one in enumerate(pests) for a in one.activities]

    def first(pest: Pest, activity: Activity) -> float:
        share = 1.0 if activity.before is None else float(activity.before)
        return share * pest.event(activity.opens or "").need_c

    def last(pest: Pest, activity: Activity) -> float:
        if activity.closes is None:
            return np.nan
        share = 1.0 if activity.after is None else float(activity.after)
        return share * pest.event(activity.closes).need_c

    def days(activity: Activity) -> float:
        if activity.closes is not None or activity.lasts is None:
            return np.nan
        return float(activity.lasts)

    return ActivityNumbers(
        np.array([number for number, _, _ in activities], dtype=np.int64),
        np.array([stage_place(a.host.first) for _, _, a in activities], dtype=np.int64),
        np.array([first(pest, a) for _, pest, a in activities], dtype=np.float64),
        np.array([last(pest, a) for _, pest, a in activities], dtype=np.float64),
        np.array([days(a) for _, _, a in activities], dtype=np.float64),
    )
