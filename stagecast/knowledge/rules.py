"""Limits, windows, rules of decision, and what waiting costs, as the files hold them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from functools import cached_property
from typing import Any, Literal, Self, TypeVar, cast

from pydantic import Field, model_validator

from stagecast.base.dates import HOUR_S, MINUTE_S, parse_time
from stagecast.knowledge.crop import CropEvent, Soybean, Water, WindowEnd
from stagecast.knowledge.groups import RegionGroup
from stagecast.knowledge.looks import Looks
from stagecast.knowledge.pest import Ends, Pest
from stagecast.knowledge.quantities import Count, Provenance, Quantity, Series, Statement, Strict
from stagecast.knowledge.ranks import RankRow
from stagecast.knowledge.stand import StandRules
from stagecast.knowledge.units import SampleUnit
from stagecast.knowledge.waiting import Waiting

T = TypeVar("T")


class Source(Strict):
    """A reference that values point at."""

    title: str
    publisher: str
    year: str = ""
    kind: Literal["paper", "standard", "extension", "handbook", "data", "own", "practice"]


# --- map ------------------------------------------------------------------------------------------


class Area(Strict):
    """An area wider than one region; from ``areas.toml``."""

    name: str
    without: tuple[str, ...] = ()


# --- weather.toml, fields.toml, traps.toml, timing.toml -------------------------------------------


class WeatherLimits(Strict):
    """Limits of ``weather.toml``."""

    bridge_days: Count
    stuck_days: Count
    tmin_floor: Quantity
    tmax_ceiling: Quantity
    widest_day: Quantity
    distance_doubtful: Quantity
    distance_limit: Quantity
    elevation_doubtful: Quantity
    past_seasons_wanted: Count
    season_end_month: Count
    season_end_day: Count
    stale_days: Count
    cell_deg: Quantity
    nearby_radius: Quantity
    nearby_limit: Count
    deadline: Quantity
    largest_answer: Quantity
    past_seasons_fetched: Count
    whole_year_share: Quantity
    alike_answers: Count
    moved_by: Quantity
    moved_share: Quantity
    doubt_days: Count
    doubt_years: Count
    past_by: Quantity
    neighbors_by: Quantity
    neighbor_days: Count
    drift_days: Count
    drift_by: Quantity
    forecast_days: Count
    forecast_first_day: Quantity
    forecast_late_share: Quantity
    forecast_late_days: Count
    units_first_month: Count
    units_last_month: Count
    units_days: Count
    units_coldest: Quantity
    units_warmest: Quantity


class FieldLimits(Strict):
    """What is refused or doubted in ``fields.csv``; from ``fields.toml``."""

    latitude_low: Quantity
    latitude_high: Quantity
    most_fields: Count
    most_nodes: Count
    area_least: Quantity
    area_doubtful: Quantity
    area_limit: Quantity
    planting_usual_first_month: Count
    planting_usual_last_month: Count
    row_width_low: Quantity
    row_width_high: Quantity
    group_latitudes: Series
    group_usual: Series
    group_far: Quantity
    boundary_reach: Quantity
    boundary_area_share: Quantity
    boundary_outside: Quantity


class TrapRules(Strict):
    """How catches in ``traps.csv`` are read; from ``traps.toml``."""

    most_checks: Count
    least_catch: Count
    sustained_checks: Count
    reach: Quantity
    history_years: Count
    half_known: Quantity
    spring_month: Count
    spring_day: Count


class Timing(Strict):
    """How sure heat-timed events are; from ``timing.toml``."""

    warmest_lower: Quantity
    heat_tolerance: Quantity


# --- windows.toml, sampling.toml, sweeps.toml, revisit.toml ---------------------------------------


class Window(Provenance):
    """A critical scouting window, tied to crop stages."""

    id: str = Field(pattern=r"^[a-z][a-z0-9-]*$")
    title: str
    short: str
    opens: WindowEnd
    closes: WindowEnd
    critical: bool
    why: str
    look_for: tuple[str, ...]
    sample: str


class TallyRule(Strict):
    """A published plan by infested plants, the first look of it."""

    infested: Count
    plants: Count
    undecided: Count
    confirm_soonest: Count
    confirm_latest: Count


class Sampling(Provenance):
    """How to take counts in a window: sets of ``size`` in ``unit``, or places, plants, traps.

    A method with a unit and no size counts what one place holds, however much that is. One with a
    ``scale`` counts nothing: the scout rates from 0 to it. ``short`` is for narrow columns, where
    the number of places says too little.
    """

    id: str
    title: str
    short: str = ""
    size: int | None = Field(default=None, ge=1)
    unit: SampleUnit | None = Field(default=None, alias="of")
    sets: Count
    how: str
    scale: Count | None = None
    tally: TallyRule | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.size is not None and self.unit is None:
            raise ValueError("the size of a set is in a unit")
        return self


class Sweeps(Strict):
    """Sets of sweeps and how they are converted; from ``sweeps.toml``."""

    usual_set: Count
    scaling: Provenance


class NoRest(Provenance):
    """Where a field does not rest between the seedling weeks and R1."""

    until_stage: CropEvent
    pest: str
    pest_regions: tuple[str, ...]


class Revisit(Strict):
    """The trade's revisit rule; from ``revisit.toml``."""

    base_days: Count
    near_threshold_days: Count
    quiet_days: Count
    longest_gap_critical_days: Count
    longest_gap_days: Count
    soon_days: Count
    first_look_chance: Quantity
    overlap_share: Quantity
    entering_days: Count
    planned_pests: Count
    pulling_rank: Count
    between_days: Count
    no_rest: NoRest


class Alerts(Strict):
    """What is told ahead and what is news; from ``alerts.toml``."""

    coming_days: Count
    coming_stages: tuple[CropEvent, ...]
    moved_days: Count
    kept_mornings: Count
    bloom_days: Count
    bloom_chance: Quantity
    window_days: Count
    pest_days: Count
    gap_days: Count
    shift_days: Count
    lapse_days: Count
    outbox_days: Count
    quiet_from: str
    quiet_to: str

    def quiet_at(self, time: dt.time) -> bool:
        """Whether nothing is sent at a time of day; the hours may go past midnight."""
        first, last = parse_time(self.quiet_from), parse_time(self.quiet_to)
        second = time.hour * HOUR_S + time.minute * MINUTE_S + time.second
        if first <= last:
            return first <= second < last
        return second >= first or second < last


# --- decisions.toml -------------------------------------------------------------------------------


class Counting(Strict):
    """How counts of sets are judged."""

    k_usual: Quantity
    k_log_sd: Quantity
    k_rise: Quantity
    k_least: Quantity
    k_most: Quantity
    mean_least: Quantity
    mean_most: Quantity
    interval: Quantity
    usual_sets: Count
    below: Quantity
    above: Quantity
    settle: Quantity
    stop: Quantity
    stop_sets: Count


class PressureShares(Strict):
    """Shares of a threshold at which a field is close to it, or virtually without."""

    near_share: Quantity
    quiet_share: Quantity
    quiet_half: Quantity
    leaf_quiet_share: Quantity


class Growth(Strict):
    """How a density is projected from one visit to the next."""

    per_day: Quantity
    sd: Quantity
    furthest: Count
    crossing: Quantity


class Treated(Strict):
    """What follows a treatment."""

    check_soonest: Count
    check_latest: Count
    again: Count
    entry_rule: Statement


class LeafLossPest(Strict):
    """The pest file whose thresholds speak of leaf loss by all feeders together."""

    pest: str


class Decisions(Strict):
    """All of ``decisions.toml``."""

    counting: Counting
    pressure: PressureShares
    growth: Growth
    treated: Treated
    leaf_loss: LeafLossPest


# --- workday.toml ---------------------------------------------------------------------------------


class Hours(Strict):
    """When a day of work starts and ends."""

    starts: Count
    ends: Count
    lunch: Count
    lunch_length: Count


class Driving(Strict):
    """How distances and times of driving are estimated."""

    speed: Quantity
    road_factor: Quantity


class FieldWork(Strict):
    """Minutes in a field."""

    fixed: Count
    per_set: Count
    per_place: Count
    walk_speed: Quantity
    most_walk: Count


class TimedVisits(Strict):
    """When timed visits tell how long a season's visits take."""

    fewest: Count
    longest_pause: Count
    least_share: Quantity
    most_share: Quantity


class Heat(Strict):
    """When a day is called hot."""

    high: Quantity
    chance: Quantity
    caution: Statement


class Workday(Strict):
    """All of ``workday.toml``."""

    hours: Hours
    driving: Driving
    field: FieldWork
    timed: TimedVisits
    heat: Heat


# --- all of it ------------------------------------------------------------------------------------


Points = tuple[tuple[float, float], ...]
"""Latitude and longitude, decimal degrees, along a line."""


class Borders(Provenance):
    """Where regions touch: both codes, and points along the line between them."""

    unit: str
    lines: tuple[tuple[str, str, Points], ...]

    @cached_property
    def between(self) -> dict[frozenset[str], Points]:
        """The line between two regions."""
        return {frozenset((one, other)): points for one, other, points in self.lines}


class Knowledge(Strict):
    """Everything in ``knowledge/``.

    ``neighbors`` gives the regions that touch a region, ``borders`` the line between two of them;
    ``areas`` are wider than one, ``groups`` hold those that are scouted alike; ``stops`` are the
    last stages at which a region treats any insect.
    """

    sources: dict[str, Source]
    regions: dict[str, str]
    neighbors: dict[str, tuple[str, ...]]
    borders: Borders
    areas: dict[str, Area]
    groups: dict[str, RegionGroup]
    ranks: tuple[RankRow, ...]
    sweeps: Sweeps
    soybean: Soybean
    weather: WeatherLimits
    water: Water
    fields: FieldLimits
    windows: tuple[Window, ...]
    stops: tuple[Ends, ...]
    sampling: dict[str, Sampling]
    looks: Looks
    revisit: Revisit
    alerts: Alerts
    timing: Timing
    traps: TrapRules
    decisions: Decisions
    stand: StandRules
    waiting: Waiting
    workday: Workday
    pests: dict[str, Pest]

    @cached_property
    def _kept(self) -> dict[object, Any]:
        return {}

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """As pydantic's, without what was looked up in the original."""
        copied = super().model_copy(update=update, deep=deep)
        copied.__dict__.pop("_kept", None)
        return copied

    def once(self, key: object, make: Callable[[], T]) -> T:
        """What is worked out from this knowledge alone, kept under a key: the same for all."""
        kept = self._kept
        if key not in kept:
            kept[key] = make()
        return cast(T, kept[key])

    @model_validator(mode="after")
    def _map_is_whole(self) -> Self:
        if self.neighbors.keys() != self.regions.keys():
            raise ValueError("neighbors has a line for every region, and for no other")
        for code, others in self.neighbors.items():
            if any(code not in self.neighbors.get(other, ()) for other in others):
                raise ValueError(f"a neighbor of {code} does not name it in turn")
        touching = {frozenset((a, b)) for a, others in self.neighbors.items() for b in others}
        if touching != self.borders.between.keys():
            raise ValueError("borders has a line for every two neighbors, and for no others")
        if lost := [
            one.found for one in self.looks.look if one.found and one.found not in self.pests
        ]:
            raise ValueError(f"looks name pests that are not there: {', '.join(lost)}")
        grouped = sorted(code for group in self.groups.values() for code in group.regions)
        if grouped != sorted(self.regions):
            raise ValueError("every region lies in one group, and no other code does")
        groups = {group for row in self.ranks for group in row.groups}
        named = {region for row in self.ranks for region in row.regions}
        pests = {row.pest for row in self.ranks}
        if lost := [*(groups - set(self.groups)), *(named - set(self.regions)),
                    *(pests - set(self.pests))]:  # fmt: skip
            raise ValueError(f"ranks name what is not there: {', '.join(sorted(lost))}")
        if lost := [stop.region for stop in self.stops if stop.region not in self.regions]:
            raise ValueError(f"stops name regions that are not there: {', '.join(lost)}")
        return self
