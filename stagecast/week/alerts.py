"""What is about to happen or has changed in a season, as alerts with stable keys."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from stagecast.counts.stand import StandAssessment
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.rules import Alerts
from stagecast.pests.windows import ScoutingWindow
from stagecast.phenology.soybean import STAGES
from stagecast.season.told import ToldAlerts
from stagecast.visits.interval import Crossing
from stagecast.visits.pressure import Density, LeafLoss
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.morning import leading_pests, stage_days
from stagecast.week.week import walk_of

ONE_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class NearBloom:
    """Full bloom (R2) within some days is likely; the window opens from which it is scouted."""

    chance: float
    days: int
    opens: dt.date | None


@dataclass(frozen=True, slots=True, eq=False)
class WindowOpens:
    """A critical window of the crop is about to open."""

    window: ScoutingWindow


@dataclass(frozen=True, slots=True, eq=False)
class PestAbout:
    """Heat or catches bring a pest to the fields of a station, the soonest first."""

    pest: Pest
    title: str
    fields: tuple[FieldDay, ...]


@dataclass(frozen=True, slots=True)
class LongUnseen:
    """A field comes to the last day on which it may be unseen, and is not walked by then."""

    limit: dt.date
    last_visit: dt.date | None


@dataclass(frozen=True, slots=True)
class CloseCount:
    """A count near its threshold or above it, and when it may cross."""

    found: Density | LeafLoss
    counted_on: dt.date
    crossing: Crossing | None


@dataclass(frozen=True, slots=True)
class StandPoor:
    """A stand was counted that is not to be kept as it is."""

    stand: StandAssessment


@dataclass(frozen=True, slots=True)
class MayEnter:
    """Restricted entry ends."""

    until: dt.datetime


@dataclass(frozen=True, slots=True)
class StaleWeather:
    """A station has measured nothing for days."""

    last_observed: dt.date | None
    days: int


@dataclass(frozen=True, slots=True)
class ForecastShift:
    """The forecast of a stage ahead moved since it was last told."""

    stage: str
    was: dt.date
    to: dt.date


AlertWhat = (
    NearBloom | WindowOpens | PestAbout | LongUnseen | CloseCount | MayEnter | StaleWeather
    | ForecastShift | StandPoor
)  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Alert:
    """One alert.

    Attributes
    ----------
    key: says what it is about and where, the same on every day.
    field: None for one of a station.
    station: of the field, or the one that it is about.
    first, last: when what it tells of is expected.
    lapses: the last day on which it is told.
    level: 1, or 2 where it got worse.
    day: the day on which it is told once more.
    """

    key: str
    field: FieldDay | None
    station: str
    what: AlertWhat
    first: dt.date
    last: dt.date
    lapses: dt.date
    level: int = 1
    day: dt.date | None = None


def alerts_of(season: SeasonDay, told: ToldAlerts) -> tuple[Alert, ...]:
    """All alerts of a season on a day, what is worst and soonest first."""
    rule = season.knowledge.alerts
    found = [alert for one in season.fields for alert in _of_field(one, rule, told)]
    found += _pests(season, rule)
    found += _weather(season)
    held = (alert for alert in found if alert.lapses >= season.as_of)
    return tuple(sorted(held, key=_worst_first))


def _worst_first(alert: Alert) -> tuple[bool, bool, int, dt.date, str]:
    count = isinstance(alert.what, CloseCount)
    above = isinstance(alert.what, CloseCount) and alert.what.found.above
    return not above, not count, -alert.level, alert.first, alert.key


def telling(told: ToldAlerts, season: SeasonDay, new: Iterable[Alert]) -> ToldAlerts:
    """What was told, once some alerts are; a stage's day is kept when it is first told or moved."""
    new = tuple(new)
    days = _first_days(season, told)
    for alert in new:
        if alert.field is not None and isinstance(alert.what, ForecastShift):
            days.setdefault(alert.field.field_id, {}).update(stage_days(alert.field))
    return told.telling(new, season.as_of, days)


def _first_days(season: SeasonDay, told: ToldAlerts) -> dict[str, dict[str, dt.date]]:
    """Field id -> stage -> middle day, of stages of which no day was ever told."""
    found: dict[str, dict[str, dt.date]] = {}
    for one in season.fields:
        known: Mapping[str, dt.date] = told.stages.get(one.field_id, {})
        for stage, middle in stage_days(one):
            if stage not in known:
                found.setdefault(one.field_id, {})[stage] = middle
    return found


def _of_field(one: FieldDay, rule: Alerts, told: ToldAlerts) -> Iterator[Alert]:
    yield from _near_bloom(one, rule)
    yield from _windows(one, rule)
    yield from _long_unseen(one, rule)
    yield from _close_counts(one, rule)
    yield from _poor_stand(one, rule)
    yield from _may_enter(one)
    yield from _shifts(one, rule, told)


def _alert(
    one: FieldDay, kind: str, what: AlertWhat, first: dt.date, last: dt.date, *,
    lapses: dt.date | None = None, level: int = 1, day: dt.date | None = None,
) -> Alert:  # fmt: skip
    """An alert of a field; it lapses on its last day unless another is given."""
    station = one.forecast.weather.season.station.station
    key = f"{one.field_id}.{kind}"
    return Alert(key, one, station, what, first, last, lapses or last, level, day)


def _near_bloom(one: FieldDay, rule: Alerts) -> Iterator[Alert]:
    """Beans near R2 that are not there yet, in the middle of the possible seasons."""
    bloom, as_of = one.forecast.stages["R2"], one.season.as_of
    if bloom.p50 is None or bloom.p50 <= as_of:
        return
    days = int(rule.bloom_days)
    at = one.forecast.probabilities(as_of + days * ONE_DAY)
    chance = sum(at[stage] for stage in STAGES[STAGES.index("R2") :])
    if chance >= float(rule.bloom_chance):
        opens = next((w.opens.p50 for w in one.windows if _at_bloom(one, w)), None)
        what = NearBloom(chance, days, opens)
        yield _alert(one, "near-R2", what, bloom.p10 or as_of, bloom.p90 or bloom.p50,
                     lapses=bloom.p50)  # fmt: skip


def _at_bloom(one: FieldDay, window: ScoutingWindow) -> bool:
    """Whether a critical window of the crop is open at full bloom."""
    bloom, opens, closes = one.forecast.stages["R2"].p50, window.opens.p50, window.closes.p50
    crop = window.pest is None and window.critical
    if not crop or bloom is None or opens is None or closes is None:
        return False
    return opens <= bloom <= closes


def _windows(one: FieldDay, rule: Alerts) -> Iterator[Alert]:
    """Windows about to open, but for that of bloom, of which beans near R2 tell."""
    as_of = one.season.as_of
    for window in one.windows:
        opens, closes = window.opens.p50, window.closes.p50
        if window.pest is not None or not window.critical or opens is None:
            continue
        if _at_bloom(one, window):
            continue
        if as_of < opens <= as_of + int(rule.window_days) * ONE_DAY:
            what = WindowOpens(window)
            yield _alert(one, window.window, what, opens, closes or opens, lapses=opens)


def _long_unseen(one: FieldDay, rule: Alerts) -> Iterator[Alert]:
    limit, as_of = one.visit.limit, one.season.as_of
    walk = walk_of(one).day
    in_time = limit is None or (walk is not None and walk <= limit)
    if in_time or limit is None or limit > as_of + int(rule.gap_days) * ONE_DAY:
        return
    level = 2 if limit < as_of else 1
    since = one.visit.last_visit
    kind = f"unseen-since-{since.isoformat() if since else 'planting'}"
    lapses = max(limit, as_of, walk or limit)
    yield _alert(one, kind, LongUnseen(limit, since), limit, limit, lapses=lapses, level=level)


def _close_counts(one: FieldDay, rule: Alerts) -> Iterator[Alert]:
    """Counts near their threshold or above it; what was treated since is decided."""
    counted, as_of = one.counted, one.season.as_of
    if counted is None or one.last_visit is None or one.visit.due is None:
        return
    if any(t.applied_at.date() >= counted.counted_on for t in one.log.treatments):
        return
    crossings = [reason for reason in one.visit.reasons if isinstance(reason, Crossing)]
    lapses = counted.counted_on + int(rule.lapse_days) * ONE_DAY
    for found in counted.pressing:
        pest = "leaf-loss" if isinstance(found, LeafLoss) else found.pest.id
        mine = (c for c in crossings if isinstance(found, Density) and c.density.pest == found.pest)
        crossing = next(mine, None)
        last = lapses if crossing is None else max(crossing.day, counted.counted_on)
        what = CloseCount(found, counted.counted_on, crossing)
        level = 2 if found.above else 1
        day = None if crossing is None else crossing.day
        yield _alert(one, f"count.{pest}.{counted.counted_on}", what, as_of, last, lapses=lapses,
                     level=level, day=day)  # fmt: skip


def _poor_stand(one: FieldDay, rule: Alerts) -> Iterator[Alert]:
    found = one.poor_stand
    if found is not None and one.visit.due is not None:
        lapses = found.date + int(rule.lapse_days) * ONE_DAY
        yield _alert(one, f"stand.{found.date}", StandPoor(found), one.season.as_of, lapses)


def _may_enter(one: FieldDay) -> Iterator[Alert]:
    if one.no_entry is not None:
        until = one.no_entry.until_minute
        kind = f"entry.{until.date()}"
        yield _alert(one, kind, MayEnter(until), until.date(), until.date(), day=until.date())


def _shifts(one: FieldDay, rule: Alerts, told: ToldAlerts) -> Iterator[Alert]:
    """The next stage whose forecast moved far; the first one tells of the later ones."""
    known: Mapping[str, dt.date] = told.stages.get(one.field_id, {})
    for stage in rule.coming_stages:
        days = one.forecast.stages[stage]
        was = known.get(stage)
        if was is None or days.p50 is None or days.p50 <= one.season.as_of:
            continue
        if abs((days.p50 - was).days) > int(rule.shift_days):
            what = ForecastShift(stage, was, days.p50)
            kind = f"moved.{stage}.{days.p50}"
            yield _alert(one, kind, what, days.p10 or days.p50, days.p90 or days.p50,
                         lapses=one.season.as_of)  # fmt: skip
            return


def _pests(season: SeasonDay, rule: Alerts) -> Iterator[Alert]:
    """What heat or catches bring to the fields of a station; values from memory tell nothing."""
    until = season.as_of + int(rule.pest_days) * ONE_DAY
    comes: dict[tuple[str, str, str], list[tuple[dt.date, FieldDay, ScoutingWindow]]] = {}
    for one in season.fields:
        station = one.forecast.weather.season.station.station
        for pest, window, opens in leading_pests(one):
            comes.setdefault((station, pest, window.window), []).append((opens, one, window))
    for (station, pest, window_id), found in comes.items():
        found.sort(key=lambda item: item[0])
        opens, _, window = found[0]
        if season.as_of < opens <= until:
            soon = tuple(one for day, one, _ in found if day <= until)
            what = PestAbout(season.knowledge.pests[pest], window.title, soon)
            last = found[-1][0]
            yield Alert(f"{station}.{pest}.{window_id}", None, station, what, opens, last, opens)


def _weather(season: SeasonDay) -> Iterator[Alert]:
    limit = int(season.knowledge.weather.stale_days)
    seasons = {w.season.station.station: w.season for w in season.loaded.weather.values()}
    for station, weather in seasons.items():
        last = weather.last_observed
        days = (season.as_of - (last or season.loaded.span.first_day)).days
        if days > limit:
            first = last or season.loaded.span.first_day
            level = 2 if days > 2 * limit else 1
            what = StaleWeather(last, days)
            yield Alert(f"{station}.weather.{first}", None, station, what, first, season.as_of,
                        season.as_of, level)  # fmt: skip
