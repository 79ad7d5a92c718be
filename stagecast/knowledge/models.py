"""Models of the remaining knowledge files, and the whole of it."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from stagecast.knowledge.crop import Soybean
from stagecast.knowledge.decisions import Decisions
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.quantities import Count, Provenance, Quantity, Strict
from stagecast.knowledge.stages import CropEvent
from stagecast.knowledge.week import Waiting, Workday


class Source(Strict):
    """A reference that values point at."""

    title: str
    publisher: str
    year: str = ""
    kind: Literal["paper", "standard", "extension", "handbook", "data", "own", "practice"]


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
    past_seasons_fetched: Count
    units_first_month: Count
    units_last_month: Count
    units_days: Count
    units_coldest: Quantity
    units_warmest: Quantity


class FieldLimits(Strict):
    """What is refused or doubted in ``fields.csv``; from ``fields.toml``."""

    latitude_low: Quantity
    latitude_high: Quantity
    area_doubtful: Quantity
    area_limit: Quantity
    planting_usual_first_month: Count
    planting_usual_last_month: Count


class WindowEnd(Strict):
    """A crop event, moved by a number of days."""

    stage: CropEvent
    plus_days: int = 0


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


class Sampling(Provenance):
    """How to take counts in a window."""

    id: str
    title: str
    unit: str
    sets: Count
    how: str


class Revisit(Strict):
    """The trade's revisit rule; from ``revisit.toml``."""

    base_days: Count
    near_threshold_days: Count
    quiet_days: Count
    overlap_share: Quantity
    entering_days: Count
    fields_per_day: Count
    planned_pests: Count


class Timing(Strict):
    """How sure heat-timed events are; from ``timing.toml``."""

    heat_tolerance: Quantity


class TrapRules(Strict):
    """How catches in ``traps.csv`` are read; from ``traps.toml``."""

    least_catch: Count
    sustained_checks: Count
    reach: Quantity
    history_years: Count
    spring_month: Count
    spring_day: Count


class Area(Strict):
    """An area wider than one region; from ``areas.toml``."""

    name: str
    without: tuple[str, ...] = ()


class Sweeps(Strict):
    """Sets of sweeps and how they are converted; from ``sweeps.toml``."""

    usual_set: Count
    scaling: Provenance


class Knowledge(Strict):
    """Everything in ``knowledge/``.

    ``neighbors`` gives the regions that touch a region; ``areas`` are wider than one.
    """

    sources: dict[str, Source]
    regions: dict[str, str]
    neighbors: dict[str, tuple[str, ...]]
    areas: dict[str, Area]
    sweeps: Sweeps
    soybean: Soybean
    weather: WeatherLimits
    fields: FieldLimits
    windows: tuple[Window, ...]
    sampling: dict[str, Sampling]
    revisit: Revisit
    timing: Timing
    traps: TrapRules
    decisions: Decisions
    waiting: Waiting
    workday: Workday
    pests: dict[str, Pest]

    @model_validator(mode="after")
    def _map_is_whole(self) -> Self:
        if self.neighbors.keys() != self.regions.keys():
            raise ValueError("neighbors has a line for every region, and for no other")
        for code, others in self.neighbors.items():
            if any(code not in self.neighbors.get(other, ()) for other in others):
                raise ValueError(f"a neighbor of {code} does not name it in turn")
        return self
