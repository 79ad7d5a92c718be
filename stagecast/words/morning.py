"""What a morning says in few words: why a field is walked, what comes, what is told ahead."""

from __future__ import annotations

import datetime as dt
import unicodedata
from collections.abc import Iterable, Sequence

from stagecast.base.dates import said_day
from stagecast.season.outbox import OutMessage, OutState, SentOut
from stagecast.visits.interval import Crossing, PoorStand, SourceSays
from stagecast.visits.pressure import Density, Harmless, LeafLoss, NoThreshold
from stagecast.visits.reentry import EfficacyCheck
from stagecast.visits.revisit import FirstVisit, InTime, NextVisit, PulledForward
from stagecast.visits.season_day import FieldDay, SeasonDay
from stagecast.week.alerts import (
    Alert,
    CloseCount,
    ForecastShift,
    LongUnseen,
    MayEnter,
    NearBloom,
    PestAbout,
    StaleWeather,
    StandPoor,
    WindowOpens,
)
from stagecast.week.days import ScoutDay
from stagecast.week.morning import (
    Coming,
    EntryEnds,
    LookComes,
    NearCounts,
    News,
    NotWalked,
    NowOver,
    PestComes,
    StageComes,
    StageMoved,
    Today,
)
from stagecast.week.week import walk_of
from stagecast.words.counts import chance_text, number_text
from stagecast.words.notes import CAUTION, counted
from stagecast.words.stand import plants_text, stand_line
from stagecast.words.week import clock_text

NAMED, NAMED_IDS, BESIDE_LOOKS, NEAR = 4, 6, 3, 2
"""How many fields one line names: with days, by ids alone, beside titles of looks, with counts."""

MESSAGE = 160
"""Characters of one plain text message."""


def why_in_short(visit: NextVisit, *, days_late: int) -> str:
    """Why a field is walked then, in about five words: ``2 d late, first look``.

    ``days_late``: below 0 where it is walked before it is due: then the due day is told.
    """
    if days_late <= 0:
        return _core(visit) or _usual(visit, sooner=days_late < 0)
    why = _core(visit, dated=False)
    if not why and visit.interval_days is not None:
        why = f"{visit.interval_days}-day look"
    return ", ".join(filter(None, (f"{days_late} d late", why)))


def _core(visit: NextVisit, *, dated: bool = True) -> str:
    """The first reason that says more than the interval; ``dated``: with its day."""
    for reason in visit.reasons:
        match reason:
            case EfficacyCheck():
                return "treatment check"
            case Crossing(day=day):
                return f"may cross by {said_day(day)}"
            case SourceSays():
                return f"{reason.back.pest.short} found"
            case PoorStand():
                return "poor stand"
            case PulledForward():
                opens = f" from {_day_text(reason.window.opens.p50)}" if dated else ""
                return f"{reason.window.short}{opens}"
            case InTime():
                return reason.look.look.title
            case FirstVisit():
                return "first look"
    return ""


def _usual(visit: NextVisit, *, sooner: bool) -> str:
    if sooner and visit.due is not None:
        return f"due {said_day(visit.due)}"
    if visit.interval_days is None or visit.last_visit is None:
        return ""
    return f"{visit.interval_days} days from {said_day(visit.last_visit)}"


def last_count(field: FieldDay) -> str:
    """What pressed most at the last visit: ``stink bugs 6.5 of 9, near, 2 Jul``."""
    last = field.last_visit
    if last is None:
        return "not seen yet"
    found, on, stand = field.counted, said_day(last.date), field.last_stand
    if stand is not None and (found is None or (stand.answer != "keep" and not found.pressing)):
        return f"stand {plants_text(stand.estimate.mean)}, {stand.answer}, {on}"
    if found is None:
        return f"{last.pressure or 'seen, nothing counted'}, {on}"
    match found.cause:
        case Density() as one:
            return f"{density_text(one)}, {one.answer}, {on}"
        case LeafLoss(percent, threshold):
            near = "" if not found.cause.near else ", above" if found.cause.above else ", near"
            return f"leaf loss {percent:g} of {threshold:g}%{near}, {on}"
        case NoThreshold(pest, mean):
            return f"{pest.short} {number_text(mean)}, no threshold, {on}"
        case Harmless(pest, mean, early=early):
            return f"{pest.short} {number_text(mean)}, too {'early' if early else 'late'}, {on}"
    return f"none found, {on}"


def density_text(one: Density) -> str:
    """``stink bugs 6.5 of 9``; of plants by the plant: ``aphid 237 of 250``."""
    each = one.set_size if one.unit == "plants" else 1.0
    found, limit = one.found_mean / each, one.threshold / each
    return f"{one.pest.short} {number_text(found)} of {number_text(limit)}"


def coming_text(one: Coming) -> str:
    """One thing that comes: ``R1: F15 12 Jul, F08 12 Jul, 3 more``."""
    match one:
        case EntryEnds(field, until):
            day = f"{until:%a} {said_day(until.date())} {until:%H:%M}"
            return f"{field.field_id}: may be entered again from {day}"
        case NearCounts(fields):
            told = [f"{field.field_id} {last_count(field)}" for field, _ in fields]
            return f"near: {_listed(told, most=NEAR)}"
        case StageComes(stage, fields, looks):
            titles = [look.title for look in looks]
            said = any(title.startswith(stage) for title in titles)
            what = ", ".join(titles if said else [stage, *titles])
            return f"{what}: {_fields_text(fields, most=BESIDE_LOOKS if looks else NAMED)}"
        case LookComes(look, fields):
            return f"{look.title}: {_fields_text(fields, most=BESIDE_LOOKS)}"
        case PestComes(pest, fields):
            return f"{pest.name}: {_fields_text(fields)}"


def news_text(one: News) -> str:
    """One thing that is new since the last morning.

    A walk that moved to a later day has no reason beside it: what makes a field due is not what
    makes it wait.
    """
    match one:
        case NowOver(field, pest):
            return f"{field.field_id}: {pest.name} now at its threshold or over it"
        case NotWalked(fields):
            return f"no visit noted: {_fields_text(fields)}"
        case StageMoved(stage, fields):
            told = [f"{f.field_id} {_moved(was, now)}" for f, was, now in fields]
            return f"{stage} forecast: {_listed(told)}"
    was, now = one.was, one.to
    if now is None:
        return f"{one.field.field_id}: not walked in these days any more"
    core = _core(one.field.visit)
    why = f": {core}" if core and (was is None or now < was) else ""
    if was is None:
        return f"{one.field.field_id}: walk on {said_day(now)}{why}"
    return f"{one.field.field_id}: walk {said_day(now)}, was {said_day(was)}{why}"


def _day_text(day: dt.date | None) -> str:
    return "?" if day is None else said_day(day)


def _moved(was: dt.date, now: dt.date) -> str:
    days = (now - was).days
    return f"{said_day(now)} ({counted(abs(days), 'day')} {'later' if days > 0 else 'sooner'})"


def _fields_text(fields: Sequence[tuple[FieldDay, dt.date]], *, most: int = NAMED) -> str:
    return _listed([f"{one.field_id} {said_day(day)}" for one, day in fields], most=most)


def _listed(told: Sequence[str], *, most: int = NAMED) -> str:
    more = f", {len(told) - most} more" if len(told) > most else ""
    return ", ".join(told[:most]) + more


# --- alerts ---------------------------------------------------------------------------------------


def place_text(alert: Alert) -> str:
    """The field as it is called, or the station."""
    if alert.field is None:
        return f"station {alert.station}"
    field = alert.field.forecast.field
    return " ".join(f"{field.field_id} {field.field_name}".split())


def alert_text(alert: Alert) -> str:
    """What it tells, in one sentence with its numbers."""
    span = said_day(alert.first)
    if alert.last != alert.first:
        span = f"{span} to {said_day(alert.last)}"
    match alert.what:
        case NearBloom(chance=chance, days=days):
            likely = f"R2 within {days} days is {chance_text(chance)} likely"
            return f"beans near full bloom: {likely}, {span}"
        case WindowOpens(window):
            return f"{window.title} opens about {said_day(alert.first)}"
        case PestAbout(pest, title, fields):
            ids = ", ".join(one.field_id for one in fields[:NAMED_IDS])
            more = f" and {len(fields) - NAMED_IDS} more" if len(fields) > NAMED_IDS else ""
            return f"{pest.name}: {title} from {said_day(alert.first)} on in {ids}{more}"
        case LongUnseen(limit, last_visit):
            seen = f"last seen {said_day(last_visit)}" if last_visit else "never seen"
            return f"{seen}; longest gap ends {said_day(limit)}"
        case CloseCount():
            return _count_text(alert.what)
        case StandPoor(stand):
            return f"poor stand: {stand_line(stand)}, counted {said_day(stand.date)}"
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
        told = f"leaf loss {found.percent:g} of {found.threshold:g}%"
    else:
        told = density_text(found)
        if found.p_above is not None:
            told += f", chance over it {chance_text(found.p_above)}"
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
        case NearBloom(opens=opens):
            today = alert.field is not None and alert.field.season.as_of
            if not opens or not today:
                return f"look at the top nodes{on}"
            when = "is open" if opens <= today else f"opens about {said_day(opens)}"
            return f"look at the top nodes{on}; its window {when}"
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
        case StandPoor():
            return f"decide with the grower and your state's guide; look again{on}"
        case MayEnter():
            return f"check whether it worked{on}; the label decides who may enter"
        case StaleWeather():
            return "bring the weather up to date: stagecast weather"
        case ForecastShift():
            return "note the stage on the next walk"


def mail_subject(season: SeasonDay, alerts: Sequence[Alert]) -> str:
    """``Tue 7 Jul: 4 alerts, F13 above its threshold``."""
    day = f"{season.as_of:%a} {said_day(season.as_of)}: {counted(len(alerts), 'alert')}"
    counts = ((a.field, a.what) for a in alerts if isinstance(a.what, CloseCount))
    above = [field.field_id for field, what in counts if field is not None and what.found.above]
    return f"{day}, {' '.join(dict.fromkeys(above))} above a threshold" if above else day


def mail_text(days: Sequence[tuple[str, str]], alerts: Sequence[Alert]) -> str:
    """The day of some scouts in a line each, then every alert with what to do."""
    lines = [f"{scout}: {text}" if scout else text for scout, text in days]
    for alert in alerts:
        lines += [
            "",
            f"{'^ ' if alert.level > 1 else ''}{place_text(alert)}: {alert_text(alert)}",
            f"  {do_text(alert)}; told until {said_day(alert.lapses)}; {alert.key}",
        ]
    return "\n".join([*lines, "", CAUTION, ""])


def short_texts(told: Today, alerts: Sequence[Alert]) -> list[tuple[str, str]]:
    """Each scout with a message of at most :data:`MESSAGE` characters."""
    days = {day.scout: day for day in told.days}
    scouts = [scout.name for scout in told.season.settings.scouts] or [""]
    return [(scout, _message(told, days.get(scout), alerts)) for scout in scouts]


def _message(told: Today, day: ScoutDay | None, alerts: Sequence[Alert]) -> str:
    parts = [f"{told.season.as_of:%a} {said_day(told.season.as_of)}: {_stops_text(day)}"]
    parts += _ids("decide", (one.plan.field_id for one in told.decide))
    by_kind = [
        ("near R2", NearBloom),
        ("unseen too long", LongUnseen),
        ("near threshold", CloseCount),
        ("poor stand", StandPoor),
    ]
    decided = {one.plan.field_id for one in told.decide}
    for words, kind in by_kind:
        ids = (a.field.field_id for a in alerts if a.field is not None and isinstance(a.what, kind))
        parts += _ids(words, (one for one in ids if one not in decided))
    parts += [f"{a.what.pest.short} {said_day(a.first)}" for a in alerts
              if isinstance(a.what, PestAbout)]  # fmt: skip
    return _fitted(list(dict.fromkeys(parts)))


def _stops_text(day: ScoutDay | None) -> str:
    if day is None or day.leave_home is None:
        return "no field to walk"
    ids = " ".join(stop.field_id for stop in day.stops[:NAMED_IDS])
    more = f" +{len(day.stops) - NAMED_IDS}" if len(day.stops) > NAMED_IDS else ""
    return f"{clock_text(day.leave_home)} {ids}{more}"


def _ids(words: str, ids: Iterable[str]) -> list[str]:
    found = list(dict.fromkeys(ids))
    more = f" +{len(found) - NAMED_IDS}" if len(found) > NAMED_IDS else ""
    return [f"{words} {' '.join(found[:NAMED_IDS])}{more}"] if found else []


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


# --- a daily run ----------------------------------------------------------------------------------


def age_text(season: SeasonDay) -> str:
    """How old the temperatures are: ``measured to 6 Jul, 1 day old``; the oldest station's."""
    weather = season.loaded.weather.values()
    last = [one.season.last_observed for one in weather]
    measured = [day for day in last if day is not None]
    if not measured:
        return "nothing measured yet"
    oldest = min(measured)
    year = f" {oldest.year}" if oldest.year != season.as_of.year else ""
    days = max((season.as_of - oldest).days, 0)
    some = "" if len(measured) == len(last) else "; a station without any"
    return f"measured to {said_day(oldest)}{year}, {counted(days, 'day')} old{some}"


def sent_text(sent: SentOut, *, quiet_to: str) -> str:
    """What became of the messages: sent, waiting and why, perhaps sent."""
    parts = [f"{len(sent.sent)} sent"] if sent.sent else []
    if sent.quiet:
        parts.append(f"{_waits(sent.quiet)} until {quiet_to}: quiet hours")
    if sent.waiting:
        why = "; ".join(dict.fromkeys(sent.failed))
        parts.append(f"{_waits(sent.waiting)} for the next run: {why}")
    if sent.perhaps:
        which = ", ".join(f"{_to(one)} of {said_day(one.day)}" for one in sent.perhaps)
        parts.append(
            f"perhaps sent, so not sent again: {which}; no answer came once it was handed over"
        )
    if sent.lapsed:
        which = ", ".join(f"{_to(one)} of {said_day(one.day)}" for one in sent.lapsed)
        parts.append(f"not sent, too old or to nobody in season.toml: {which}")
    return "; ".join(parts) or "nothing to send"


def _waits(number: int) -> str:
    return "1 waits" if number == 1 else f"{number} wait"


def _to(one: OutMessage) -> str:
    return one.to or "the command"


_STATES: dict[OutState, str] = {
    "waiting": "waits to be sent",
    "handing": "perhaps sent",
    "sent": "sent",
    "perhaps": "perhaps sent",
    "lapsed": "never sent, too old by now",
}


def message_state(message: OutMessage) -> str:
    """What became of one message of alerts."""
    return _STATES[message.state]


def message_head(message: OutMessage) -> str:
    """``2 alerts by mail to me@example.org``."""
    alerts = counted(len(message.told), "alert")
    return f"{alerts} by mail to {message.to}" if message.way == "mail" else f"{alerts} by command"
