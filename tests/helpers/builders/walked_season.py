"""A whole season, walked as the product plans it: invented fields whose truth has every error.

Each morning the product plans from what is in the folder alone, its day is walked, and what was
seen goes into the log. Stages come from the errors that the forecast declares, drawn anew in a
year that is not among its past ones (``simulated_stages``); stink bugs grow or not as in
``simulated_season``, from true R2 on, and a field found at the threshold is treated the next day.
All is drawn by seed, field and day, so a season can be left and taken up again.
"""

from __future__ import annotations

import datetime as dt
import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from simulated_season import THRESHOLD, Truth, fields_of
from simulated_stages import Place, truths
from stage_helpers import LEARNING, at, invented_years

from stagecast.forecast.load import load_season
from stagecast.knowledge import load
from stagecast.phenology.soybean import STAGES
from stagecast.season.log.entries import (
    LOG_FILE,
    LoggedCount,
    LoggedSet,
    LoggedVisit,
    ScoutingLog,
    Treatment,
)
from stagecast.season.log.store import LogStore
from stagecast.season.settings.workday import money
from stagecast.visits.look_for import is_open, pests_named
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.waiting import waiting_cost
from stagecast.week.week import WeekRoute, season_route

YEAR, PAST_YEARS = 2026, 12
FIRST_MORNING = dt.date(YEAR, 5, 4)
ONE_DAY = dt.timedelta(days=1)
HOME = (36.37, -88.88)
MORNINGS_FILE = "mornings.jsonl"
PEST, RAIN_SHARE, KILLED = "stink-bugs", 0.22, 0.9


@dataclass(frozen=True)
class Size:
    """How large a season is."""

    fields: int
    scouts: int
    days: int
    seed: int = 14


@dataclass(frozen=True, eq=False)
class TrueField:
    """When its stages came, days since 1 January; its bugs from R2 on; how far dates noted are off.

    ``times`` has shape (stages,).
    """

    times: np.ndarray
    bugs: Truth
    off_days: float

    def mean_on(self, date: dt.date, treated: Sequence[dt.date]) -> float:
        """Stink bugs per set of 25 sweeps."""
        day = _day(date) - float(at(self.times, "R2"))
        left = (1.0 - KILLED) ** sum(on < date for on in treated)
        return 0.0 if day < 0 else left * self.bugs.on(int(day))


@dataclass(frozen=True)
class Morning:
    """What one morning's plan came to.

    ``late`` are fields in a critical window past their limit that are walked today at last;
    ``named`` those said not to fit, or closed; ``forgotten`` all others. ``waiting`` is what the
    fields that are not walked today lose today, in dollars, due or not: so that two versions which
    ask for different fields can be held against each other.
    """

    date: str
    stops: int
    left_out: int
    late: tuple[str, ...]
    named: tuple[str, ...]
    forgotten: tuple[str, ...]
    waiting: float
    drive: float
    cpu_s: float


def _day(date: dt.date) -> int:
    return (date - dt.date(YEAR, 1, 1)).days


# --- the folder and its truth ---------------------------------------------------------------------


def build(folder: Path, size: Size) -> Path:
    """Write an invented season in which nothing was walked yet."""
    random = np.random.default_rng([size.seed, 1])
    (folder / "weather").mkdir(parents=True)
    scouts = "".join(f'[[scouts]]\nname = "Scout {n + 1}"\n' for n in range(size.scouts))
    (folder / "season.toml").write_text(
        f'year = {YEAR}\nunits = "us"\nregion = "TN"\n'
        'working_days = ["mon", "tue", "wed", "thu", "fri"]\n'
        f"[home]\nlatitude = {HOME[0]}\nlongitude = {HOME[1]}\n{scouts}",
        encoding="utf-8",
    )
    rows = [
        "field_id,grower,field_name,latitude,longitude,area_acres,planting_date,maturity_group,"
        "growth_habit,notes"
    ]
    for number in range(size.fields):
        north, east = random.normal(0.0, 0.12, 2)
        acres = round(float(np.clip(60 * np.exp(0.6 * random.normal()), 10, 250)))
        planted = dt.date(YEAR, 4, 15) + int(random.integers(0, 50)) * ONE_DAY
        group = random.choice(["3.8", "4.2", "4.6", "4.8", "4", "IV late"])
        place = f"{HOME[0] + north:.4f},{HOME[1] + east:.4f}"
        name = f"F{number + 1:03},Grower {number % 12 + 1},"
        rows.append(f"{name},{place},{acres},{planted},{group},,")
    (folder / "fields.csv").write_text("\n".join([*rows, ""]), encoding="utf-8")
    low, high = _years(size)
    days = [
        f"{dt.date(year, 1, 1) + i * ONE_DAY},{low[row, i]:.1f},{high[row, i]:.1f}"
        for row, year in enumerate(range(YEAR - PAST_YEARS, YEAR + 1))
        for i in range(low.shape[1])
    ]
    text = "\n".join(["date,tmin_c,tmax_c", *days, ""])
    (folder / "weather" / "S1.csv").write_text(text, encoding="utf-8")
    (folder / "weather" / "stations.csv").write_text(
        f"station,latitude,longitude,elevation_m\nS1,{HOME[0]},{HOME[1]},100\n", encoding="utf-8"
    )
    return folder


def _years(size: Size) -> tuple[np.ndarray, np.ndarray]:
    """Past years, then this one; leap days have no line, and are bridged."""
    return invented_years(
        mean_c=15.0, swing_c=12.0, range_c=11.0, seed=size.seed, members=PAST_YEARS + 1
    )


def truth_of(folder: Path, size: Size) -> dict[str, TrueField]:
    """The truth of every field of a folder."""
    random = np.random.default_rng([size.seed, 2])
    low, high = _years(size)
    bugs = fields_of(size.fields, random)
    random.shuffle(bugs)  # type: ignore[arg-type]
    found = {}
    fields = load_season(folder, as_of=dt.date(YEAR, 4, 1)).season.fields
    for field, pests in zip(fields, bugs, strict=True):
        group = field.maturity
        planted = _day(field.planting_date)
        place = Place(0.0, field.latitude, group.number, planted, group.written)
        times = truths(place, low[-1], high[-1], random)[0]
        off = float(LEARNING.lasting_sd) * random.standard_normal()
        found[field.field_id] = TrueField(times, pests, off)
    return found


# --- day by day -----------------------------------------------------------------------------------


def walk(folder: Path, size: Size) -> Iterator[tuple[Morning, WeekRoute]]:
    """Walk the mornings that are not in the folder yet, and keep each as it is done."""
    truth = truth_of(folder, size)
    done = [morning.date for morning in mornings(folder)]
    for number in range(size.days):
        date = FIRST_MORNING + number * ONE_DAY
        rain = np.random.default_rng([size.seed, 3, number]).uniform() < RAIN_SHARE
        if date.isoformat() in done or date.weekday() > 4 or rain:
            continue
        began = time.process_time()
        season = SeasonDay.open(folder, as_of=date)
        route = season_route(season)
        morning = _morning(route, time.process_time() - began)
        yield morning, route
        store = LogStore(folder / LOG_FILE)
        visits, treatments = _walked(route, truth, size, store.read())
        store.add(visits, treatments, entered_at=dt.datetime.combine(date, dt.time(18)))
        with (folder / MORNINGS_FILE).open("a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(morning)) + "\n")


def mornings(folder: Path) -> list[Morning]:
    """Those that were walked."""
    path = folder / MORNINGS_FILE
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    return [Morning(**json.loads(line)) for line in lines]


def _walked(
    route: WeekRoute, truth: dict[str, TrueField], size: Size, log: ScoutingLog
) -> tuple[list[LoggedVisit], list[Treatment]]:
    """What the scouts note on the first day of a route, and what is sprayed because of it."""
    visits, treatments = [], []
    today = [day for day in route.days if day.date == route.season.as_of]
    for day in today:
        for stop in day.stops:
            date, field = day.date, truth[stop.field_id]
            number = int(stop.field_id[1:])
            random = np.random.default_rng([size.seed, 4, number, _day(date)])
            sets: tuple[LoggedSet, ...] = ()
            counts: list[int] = []
            if PEST in pests_named(stop.look_for) and stop.sampling:
                sprayed = [t.applied_at.date() for t in log.of_field(stop.field_id).treatments]
                mean = field.mean_on(date, sprayed)
                spread = random.gamma(field.bugs.k, mean / field.bugs.k, stop.sets)
                counts = random.poisson(spread).tolist()
                sets = tuple(
                    LoggedSet(n, 25.0, "sweeps", (LoggedCount(PEST, "", float(count)),))
                    for n, count in enumerate(counts, 1)
                )
            stage = _noted(field, date, random)
            name = f"{stop.field_id}-{date}"
            visits.append(
                LoggedVisit(name, stop.field_id, date, who=day.scout, stage=stage, sets=sets)
            )
            if counts and float(np.mean(counts)) >= THRESHOLD:
                at_eight = dt.datetime.combine(date + ONE_DAY, dt.time(8))
                treatments.append(Treatment(f"t-{name}", stop.field_id, "invented", at_eight, 24.0))
    return visits, treatments


def _noted(field: TrueField, date: dt.date, random: np.random.Generator) -> str | None:
    """The stage that a scout notes; none past the fourth node or before emergence."""
    new = np.sqrt(float(LEARNING.staging_sd) ** 2 - float(LEARNING.lasting_sd) ** 2)
    as_seen = _day(date) + 0.5 - field.off_days - new * random.standard_normal()
    reached = [stage for stage in STAGES if at(field.times, stage) <= as_seen]
    late_node = reached and reached[-1] == "V4" and as_seen > at(field.times, "V4") + 4.0
    return reached[-1] if reached and not late_node else None


# --- what a morning came to -----------------------------------------------------------------------


def _morning(route: WeekRoute, cpu_s: float) -> Morning:
    today = route.season.as_of
    walked = {stop.field_id for stop in route.stops if stop.arrive.date() == today}
    named = {one.field_id for one in route.left_out} | {one.plan.field_id for one in route.late}
    over = [plan for plan in route.season.fields if past_its_limit(plan, today)]
    late = [plan.field_id for plan in over if plan.field_id in walked]
    told = [
        p.field_id for p in over if p.field_id not in walked and (p.field_id in named or p.closed)
    ]
    rest = {*late, *told}
    return Morning(
        date=today.isoformat(),
        stops=len(walked),
        left_out=len(route.left_out),
        late=tuple(late),
        named=tuple(told),
        forgotten=tuple(p.field_id for p in over if p.field_id not in rest),
        waiting=_lost_today(route, walked),
        drive=float(sum(day.drive_km for day in route.days if day.date == today)),
        cpu_s=cpu_s,
    )


def _lost_today(route: WeekRoute, walked: set[str]) -> float:
    season = route.season
    prices = money(season.settings, season.knowledge)
    return sum(
        waiting_cost(one, season.loaded, first_day=season.as_of, days=1, money=prices).by_day[0]
        for one in season.fields
        if one.field_id not in walked and one.visit.due is not None
    )


def past_its_limit(plan: FieldDay, today: dt.date) -> bool:
    """Whether a field in a critical window was last seen longer ago than its limit allows.

    Worked out here anew: from its last visit, or from the day on which it likely stands at VC.
    """
    limit = int(load().revisit.longest_gap_critical_days)
    seen = plan.last_visit.date if plan.last_visit is not None else None
    emerged = plan.forecast.stages["VC"].p50
    since = seen if seen is not None else emerged
    if since is None or plan.visit.due is None or (today - since).days <= limit:
        return False
    return any(w.pest is None and w.critical and is_open(w, today) for w in plan.windows)


def days_to_find(folder: Path, size: Size) -> tuple[list[int], int]:
    """Days from the true crossing of the threshold to the treatment, by field; and those missed.

    A field treated before it crossed counts as found on the day.
    """
    truth, log = truth_of(folder, size), LogStore(folder / LOG_FILE).read()
    last = _day(FIRST_MORNING) + size.days
    late, missed = [], 0
    for field_id, field in truth.items():
        crosses = field.bugs.crosses
        if crosses is None or not np.isfinite(at(field.times, "R2")):
            continue
        day = float(at(field.times, "R2")) + crosses
        if day >= min(last, float(at(field.times, "R6"))):
            continue
        treated = [_day(t.applied_at.date()) - 1 for t in log.of_field(field_id).treatments]
        if treated:
            late.append(max(0, round(treated[0] - day)))
        else:
            missed += 1
    return late, missed
