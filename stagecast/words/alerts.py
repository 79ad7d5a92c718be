"""What an alert says: one sentence with its numbers, what to do, and one short message a scout."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence

from stagecast.base.dates import said_day
from stagecast.visits.pressure import LeafLoss
from stagecast.week.alerts import (
    Alert,
    CloseCount,
    ForecastShift,
    LongUnseen,
    MayEnter,
    NearBloom,
    PestAbout,
    StaleWeather,
    WindowOpens,
)
from stagecast.week.days import ScoutDay
from stagecast.week.morning import Today
from stagecast.week.week import walk_of
from stagecast.words.counts import chance_text, number_text
from stagecast.words.notes import counted
from stagecast.words.week import clock_text

MESSAGE = 160
"""Characters of one plain text message."""

NAMED = 6


def place_text(alert: Alert) -> str:
    """The field as it is called, or the station."""
    if alert.field is None:
        return f"station {alert.station}"
    field = alert.field.forecast.field
    return f"{field.field_id} {field.field_name}".strip()


def alert_text(alert: Alert) -> str:
    """What it tells, in one sentence with its numbers."""
    span = said_day(alert.first)
    if alert.last != alert.first:
        span = f"{span} to {said_day(alert.last)}"
    match alert.what:
        case NearBloom(chance, days):
            likely = f"R2 within {days} days is {chance_text(chance)} likely"
            return f"beans near full bloom: {likely}, {span}"
        case WindowOpens(window):
            return f"{window.title} opens about {said_day(alert.first)}"
        case PestAbout(pest, title, fields):
            ids = ", ".join(one.field_id for one in fields[:NAMED])
            more = f" and {len(fields) - NAMED} more" if len(fields) > NAMED else ""
            return f"{pest.name}: {title} from {said_day(alert.first)} on in {ids}{more}"
        case LongUnseen(limit, last_visit):
            seen = f"last seen {said_day(last_visit)}" if last_visit else "never seen"
            return f"{seen}; longest gap ends {said_day(limit)}"
        case CloseCount():
            return _count_text(alert.what)
        case MayEnter(until):
            return f"may be entered again from {until:%a} {said_day(until.date())} {until:%H:%M}"
        case StaleWeather(last_observed, days):
            last = (
                f"last measured {said_day(last_observed)}" if last_observed else "nothing measured"
            )
            return f"no temperatures for {counted(days, 'day')}, {last}"
        case ForecastShift(stage, was, to):
            days = (to - was).days
            way = "later" if days > 0 else "sooner"
            return f"{stage} now about {said_day(to)}, {counted(abs(days), 'day')} {way} than told"


def _count_text(what: CloseCount) -> str:
    found = what.found
    if isinstance(found, LeafLoss):
        told = f"leaf loss {found.percent:g} of {found.threshold:g} percent"
    else:
        told = (
            f"{found.pest.name} {number_text(found.found_mean)} of {number_text(found.threshold)}"
        )
        if found.p_above is not None:
            told += f", {chance_text(found.p_above)} over it"
    told += f" on {said_day(what.counted_on)}"
    if found.above:
        return f"above its threshold: {told}"
    if what.crossing is None:
        return f"near its threshold: {told}"
    return f"near its threshold: {told}; may cross by {said_day(what.crossing.day)}"


def do_text(alert: Alert) -> str:
    """What to do about it."""
    walk = None if alert.field is None else walk_of(alert.field).day
    on = "" if walk is None else f" on {said_day(walk)}"
    match alert.what:
        case NearBloom():
            return f"look at the top nodes{on}; the bloom window follows"
        case WindowOpens():
            return f"walk it{on}" if on else "plan a walk"
        case PestAbout():
            return "look for it on the next walk"
        case LongUnseen():
            return f"walk it{on}" if on else "walk it, or say why not"
        case CloseCount(found):
            if found.above:
                return "decide with the grower: consider, never spray on the count alone"
            return f"count again{on}"
        case MayEnter():
            return f"check whether it worked{on}; the label decides who may enter"
        case StaleWeather():
            return "bring the weather up to date: stagecast weather"
        case ForecastShift():
            return "note the stage on the next walk"


def short_texts(told: Today, alerts: Sequence[Alert]) -> list[tuple[str, str]]:
    """Each scout with a message of at most :data:`MESSAGE` characters."""
    days = {day.scout: day for day in told.days}
    scouts = [scout.name for scout in told.season.settings.scouts] or [""]
    return [(scout, _message(told, days.get(scout), alerts)) for scout in scouts]


def _message(told: Today, day: ScoutDay | None, alerts: Sequence[Alert]) -> str:
    parts = [f"{told.season.as_of:%a} {said_day(told.season.as_of)}: {_day_text(day)}"]
    parts += _ids("decide", (one.plan.field_id for one in told.decide))
    by_kind = [
        ("near R2", NearBloom),
        ("unseen too long", LongUnseen),
        ("near threshold", CloseCount),
    ]
    decided = {one.plan.field_id for one in told.decide}
    for words, kind in by_kind:
        ids = (a.field.field_id for a in alerts if a.field is not None and isinstance(a.what, kind))
        parts += _ids(words, (one for one in ids if one not in decided))
    parts += [f"{a.what.pest.short} {said_day(a.first)}" for a in alerts
              if isinstance(a.what, PestAbout)]  # fmt: skip
    return _fitted(list(dict.fromkeys(parts)))


def _day_text(day: ScoutDay | None) -> str:
    if day is None or day.leave_home is None:
        return "no field to walk"
    ids = " ".join(stop.field_id for stop in day.stops[:NAMED])
    more = f" +{len(day.stops) - NAMED}" if len(day.stops) > NAMED else ""
    return f"{clock_text(day.leave_home)} {ids}{more}"


def _ids(words: str, ids: Iterable[str]) -> list[str]:
    found = list(dict.fromkeys(ids))
    more = f" +{len(found) - NAMED}" if len(found) > NAMED else ""
    return [f"{words} {' '.join(found[:NAMED])}{more}"] if found else []


def _fitted(parts: Sequence[str]) -> str:
    """As many parts as fit into one message, in plain letters that cost one place each."""
    text = ""
    for part in map(_plain, parts):
        longer = f"{text}; {part}" if text else part[:MESSAGE]
        if len(longer) > MESSAGE:
            break
        text = longer
    return text


def _plain(text: str) -> str:
    """Letters without marks, and ``?`` for what has none: other letters halve a message."""
    parted = unicodedata.normalize("NFKD", text)
    kept = (char for char in parted if not unicodedata.combining(char))
    return "".join(char if " " <= char <= "~" else "?" for char in kept)
