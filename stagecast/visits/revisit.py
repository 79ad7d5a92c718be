"""When to be back in a field, what pulls that forward, and what the visit is for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

from stagecast.base.dates import said_day
from stagecast.forecast.forecast import NOT_PLANTED, PLANTED, FieldForecast
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.rules import Revisit, Treated
from stagecast.pests.thresholds import threshold_text, thresholds_at
from stagecast.pests.windows import ScoutingWindow
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.tables.visits import Visit
from stagecast.visits.counts_say import CountsSay
from stagecast.visits.reentry import ONE_DAY, EfficacyCheck, efficacy_check, first_entry


@dataclass(frozen=True, slots=True)
class NextVisit:
    """The next visit to one field.

    Attributes
    ----------
    field_id : str
    last_visit : datetime.date or None
    interval_days : int or None
        Days from the last visit to the next: 5 to 10 by the rule, fewer before a threshold may be
        crossed, more where a treated field may not be entered; the usual 7 where no visit is
        recorded; None for the visit at emergence and after R7, when no visit is due by the rule.
    due : datetime.date or None
        Day of the next visit; before the day asked for when it is overdue.
    reasons : tuple of str
        Why, in words and numbers.
    look_for : tuple of str
        What to look for on that day, today when overdue; the most pressing first.
    sample : str
        How to take counts.
    pulled : bool
        Whether a window pulled the visit forward.
    not_before : datetime.date or None
        For an efficacy check: the soonest day that will tell.
    """

    field_id: str
    last_visit: dt.date | None
    interval_days: int | None
    due: dt.date | None
    reasons: tuple[str, ...]
    look_for: tuple[str, ...]
    sample: str
    pulled: bool = False
    not_before: dt.date | None = None


@dataclass(slots=True)
class _Draft:
    """A visit while it is being decided on."""

    due: dt.date
    interval: int | None
    reasons: list[str]
    pulled: bool = False
    crossing: dt.date | None = None
    not_before: dt.date | None = None


def next_visit(
    forecast: FieldForecast,
    windows: Sequence[ScoutingWindow],
    visit: Visit | None,
    *,
    as_of: dt.date,
    region: str,
    knowledge: Knowledge,
    counted: CountsSay | None = None,
    log: ScoutingLog | None = None,
) -> NextVisit:
    """Decide when a field is next due.

    Parameters
    ----------
    forecast : FieldForecast
    windows : sequence of ScoutingWindow
        All windows of the field.
    visit : Visit or None
        The last visit up to ``as_of``.
    as_of : datetime.date
    region : str
        State code whose thresholds are named.
    knowledge : Knowledge
    counted : CountsSay, optional
        What the counts of that visit say; goes before the word noted for it.
    log : ScoutingLog, optional
        Of the field, for its treatments.

    Notes
    -----
    Seven days is the rule, five near threshold, up to ten when there was virtually nothing
    (common practice, no source). A window that opens sooner pulls the visit to its middle
    opening date, though not below five days; a field not yet visited is due as soon as a
    critical window is open. A density that may be above its threshold soon calls for a visit
    before that day, if need be on the next. A treatment calls for an efficacy check, and no
    visit falls into a restricted-entry interval. There is no visit before VE or after R7.
    """
    last = visit.date if visit else None
    field_id = forecast.field.field_id
    own_log = ScoutingLog() if log is None else log.of_field(field_id)
    treated = knowledge.decisions.treated
    if forecast.stage_now in (NOT_PLANTED, PLANTED):
        found = _before_emergence(forecast, windows, last)
        return _kept_out(found, own_log, as_of, knowledge)
    if as_of > forecast.span.last_day:
        reason = f"the season ended on {said_day(forecast.span.last_day)}: no visit is due"
        return NextVisit(field_id, last, None, None, (reason,), (), "")
    if forecast.stage_now in ("R7", "R8"):
        reason = f"the crop is at {forecast.stage_now}: pests no longer cost yield after R7"
        return NextVisit(field_id, last, None, None, (reason,), (), "")
    check = efficacy_check(own_log, last, as_of=as_of, rule=treated)
    if check is not None and last is not None and last <= check.treatment.applied_at.date():
        counted = None if counted is None else counted.before_treatment()
    if visit is None:
        draft = _first_visit(windows, as_of, int(knowledge.revisit.base_days))
    else:
        draft = _again(forecast, windows, visit, counted, as_of=as_of, rule=knowledge.revisit)
    if check is not None:
        _check(draft, check, last)
    _keep_out(draft, own_log, field_id, as_of, last, treated)
    if _ripe(forecast, draft.due, draft.reasons):
        return NextVisit(field_id, last, None, None, tuple(draft.reasons), (), "")
    walked = max(draft.due, as_of)
    if visit is not None:
        open_then = [w for w in windows if w.critical and is_open(w, walked)]
        draft.reasons += [f"{w.title} is open on {said_day(walked)}" for w in open_then[:1]]
    stage = forecast.stage_now
    look_for, sample = visit_work(windows, walked, stage=stage, region=region, knowledge=knowledge)
    return NextVisit(
        field_id, last, draft.interval, draft.due, tuple(draft.reasons), look_for, sample,
        draft.pulled, draft.not_before,
    )  # fmt: skip


def _again(
    forecast: FieldForecast,
    windows: Sequence[ScoutingWindow],
    visit: Visit,
    counted: CountsSay | None,
    *,
    as_of: dt.date,
    rule: Revisit,
) -> _Draft:
    """The visit after another one: the interval, and what pulls it forward."""
    interval, why = _interval(visit, counted, rule)
    draft = _Draft(visit.date + dt.timedelta(days=interval), interval, [why])
    pull = _pulling(windows, visit.date, as_of)
    soonest = visit.date + dt.timedelta(days=int(rule.near_threshold_days))
    if pull is not None and pull.opens.p50 is not None and max(pull.opens.p50, soonest) < draft.due:
        text = (
            f"pulled forward from {said_day(draft.due)}: {_window_name(pull)} opens "
            f"{_range_text(pull.opens.p10, pull.opens.p90)}, half by {said_day(pull.opens.p50)}"
        )
        if pull.opens.p50 < soonest:
            text += f", but not before {int(rule.near_threshold_days)} days"
        draft.reasons.append(text)
        draft.due, draft.pulled = max(pull.opens.p50, soonest), True
    if counted is not None and counted.crossing is not None:
        draft.crossing = max(counted.crossing.day - ONE_DAY, visit.date + ONE_DAY)
        if draft.crossing < draft.due:
            draft.reasons.append(counted.crossing.why)
            draft.due = draft.crossing
    draft.interval = (draft.due - visit.date).days
    emerged = forecast.stages["VE"].p50
    if emerged is not None and draft.due < emerged:
        reason = (
            f"the last visit, {said_day(visit.date)}, was before emergence on {said_day(emerged)}"
        )
        return _Draft(emerged, None, [reason])
    return draft


def _check(draft: _Draft, check: EfficacyCheck, last: dt.date | None) -> None:
    """Move a visit between the days of an efficacy check; a crossing before them stays."""
    due = min(max(draft.due, check.soonest), check.latest)
    draft.due = due if draft.crossing is None else min(due, draft.crossing)
    draft.not_before = min(check.soonest, draft.due)
    if last is not None:
        draft.interval = (draft.due - last).days
    draft.reasons.append(check.why)


def _keep_out(
    draft: _Draft,
    log: ScoutingLog,
    field_id: str,
    as_of: dt.date,
    last: dt.date | None,
    rule: Treated,
) -> None:
    """Move a visit out of a restricted-entry interval."""
    walked = max(draft.due, as_of)
    entered, why = first_entry(log, field_id, walked, rule=rule)
    if entered > walked:
        draft.due, draft.reasons = entered, draft.reasons + why
        if last is not None and draft.interval is not None:
            draft.interval = (entered - last).days


def _kept_out(
    found: NextVisit, log: ScoutingLog, as_of: dt.date, knowledge: Knowledge
) -> NextVisit:
    """The same for the visit at emergence."""
    if found.due is None:
        return found
    walked = max(found.due, as_of)
    rule = knowledge.decisions.treated
    entered, why = first_entry(log, found.field_id, walked, rule=rule)
    if entered == walked:
        return found
    return replace(found, due=entered, reasons=(*found.reasons, *why))


def _ripe(forecast: FieldForecast, due: dt.date, reasons: list[str]) -> bool:
    """Whether R7 comes before a visit would; if so the reasons say it."""
    ripe = forecast.stages["R7"].p50
    if ripe is None or due < ripe:
        return False
    reasons.append(f"but R7 is expected by {said_day(ripe)}, and no visit is due after it")
    return True


def _before_emergence(
    forecast: FieldForecast, windows: Sequence[ScoutingWindow], last: dt.date | None
) -> NextVisit:
    ve = forecast.stages["VE"]
    when = "not this season" if ve.p50 is None else f"{said_day(ve.p50)}"
    around = "" if ve.p50 is None else f" ({_range_text(ve.p10, ve.p90)})"
    planted = forecast.field.planting_date
    verb = "is to be planted" if forecast.stage_now == NOT_PLANTED else "was planted"
    reason = f"{verb} {said_day(planted)}; emergence is expected {when}{around}, no visit before it"
    seedling = [w for w in windows if w.critical and w.opens.p50 == ve.p50]
    look_for = tuple(item for w in seedling for item in w.look_for)
    sample = seedling[0].sample if seedling else ""
    return NextVisit(forecast.field.field_id, last, None, ve.p50, (reason,), look_for, sample)


def _interval(visit: Visit, counted: CountsSay | None, rule: Revisit) -> tuple[int, str]:
    """Days from the last visit to the next by the pressure that was met, and why."""
    pressure = visit.pressure
    told: str = pressure or "pressure not noted"
    if counted is not None and counted.pressure is not None:
        pressure, told = counted.pressure, counted.why
    days = int(rule.base_days)
    if pressure == "near threshold":
        days = int(rule.near_threshold_days)
    elif pressure == "virtually none":
        days = int(rule.quiet_days)
    return days, f"{days} days: last visit {said_day(visit.date)}, {told}"


def _pulling(
    windows: Sequence[ScoutingWindow], last: dt.date | None, as_of: dt.date
) -> ScoutingWindow | None:
    """The next window to open that no visit has seen open yet.

    Host stages alone say when a pest could hurt, not that it comes: they pull no visit forward;
    nor does heat by a value from memory.
    """
    since = last if last is not None else as_of
    ahead = [
        w
        for w in windows
        if w.timing in ("crop", "heat", "catch")
        and not w.unverified
        and w.opens.p50 is not None
        and w.opens.p50 > since
        and (w.closes.p50 is None or w.closes.p50 > as_of)
    ]
    return min(ahead, key=lambda w: (w.opens.p50 or dt.date.max, not w.critical), default=None)


def _first_visit(windows: Sequence[ScoutingWindow], as_of: dt.date, interval: int) -> _Draft:
    """A field that was never visited: now if anything is open, else when something opens."""
    open_now = [w for w in windows if w.critical and is_open(w, as_of)]
    if open_now:
        window = open_now[0]
        about = _range_text(window.opens.p50, window.closes.p50)
        why = f"no visit is recorded and {_window_name(window)} is open now, {about}"
        return _Draft(as_of, interval, [why])
    limit = as_of + dt.timedelta(days=interval)
    pull = _pulling(windows, None, as_of)
    if pull is not None and pull.opens.p50 is not None and pull.opens.p50 <= limit:
        why = f"no visit is recorded; {_window_name(pull)} opens about {said_day(pull.opens.p50)}"
        return _Draft(pull.opens.p50, interval, [why])
    why = f"no visit is recorded and no critical window is open: {interval} days at most"
    return _Draft(limit, interval, [why])


def _window_name(window: ScoutingWindow) -> str:
    if window.pest is None:
        return f"'{window.title}'"
    return f"'{window.title}' ({window.short})"


def _range_text(first: dt.date | None, last: dt.date | None) -> str:
    begin = "?" if first is None else said_day(first)
    end = "not this season" if last is None else said_day(last)
    return f"{begin} to {end}"


def is_open(window: ScoutingWindow, day: dt.date) -> bool:
    """Whether a window is open on a day, by its middle dates."""
    opens, closes = window.opens.p50, window.closes.p50
    return opens is not None and opens <= day and (closes is None or closes >= day)


def visit_work(
    windows: Sequence[ScoutingWindow],
    day: dt.date,
    *,
    stage: str,
    region: str,
    knowledge: Knowledge,
) -> tuple[tuple[str, ...], str]:
    """What to look for on a day, and how: what the open windows say.

    One goes out with a plan, so only the most pressing pests are described; the others that may
    be about are named.
    """
    open_then = _first_of_each(sorted((w for w in windows if is_open(w, day)), key=pressing))
    pests = list(dict.fromkeys(w.pest for w in open_then if w.pest is not None))
    planned = pests[: int(knowledge.revisit.planned_pests)]
    look_for: list[str] = []
    for window in open_then:
        if window.pest is not None and window.pest not in planned:
            continue
        for item in window.look_for:
            text = item
            if window.pest is not None:
                pest = knowledge.pests[window.pest]
                known = _threshold(pest, region=region, stage=stage, knowledge=knowledge)
                text = f"{pest.name}: {item}{known}"
            if text not in look_for:
                look_for.append(text)
    others = [knowledge.pests[pest].name for pest in pests if pest not in planned]
    if others:
        look_for.append(f"also possible: {', '.join(others)}")
    soon = _soon(windows, day, pests, entering_days=int(knowledge.revisit.entering_days))
    if soon:
        named = [f"{knowledge.pests[pest].name} from {said_day(opens)}" for pest, opens in soon]
        look_for.append(f"soon: {', '.join(named)}")
    critical = [w for w in open_then if w.critical]
    sample = (critical or open_then)[0].sample if open_then else ""
    return tuple(look_for), sample


def _threshold(pest: Pest, *, region: str, stage: str, knowledge: Knowledge) -> str:
    """The best thresholds at a stage that a region can be shown, or nothing where none is known."""
    shown = thresholds_at(pest, region=region, stage=stage, knowledge=knowledge)
    return f"; threshold {threshold_text(shown)}" if shown else ""


def _first_of_each(windows: Sequence[ScoutingWindow]) -> list[ScoutingWindow]:
    """The first window of each pest, and all of the crop: one pest is looked for once."""
    kept: dict[str, ScoutingWindow] = {}
    for window in windows:
        kept.setdefault(window.pest or f"crop {window.window}", window)
    return list(kept.values())


def _soon(
    windows: Sequence[ScoutingWindow], day: dt.date, here: Sequence[str], *, entering_days: int
) -> list[tuple[str, dt.date]]:
    """Pests that heat or catches bring within a week of a visit, and from when."""
    limit = day + dt.timedelta(days=entering_days)
    found: dict[str, dt.date] = {}
    for w in windows:
        opens = w.opens.p50
        if w.pest is None or w.pest in here or opens is None or w.timing not in ("heat", "catch"):
            continue
        if day < opens <= limit:
            found[w.pest] = min(opens, found.get(w.pest, opens))
    return sorted(found.items(), key=lambda item: item[1])


def pressing(window: ScoutingWindow) -> tuple[bool, bool, int]:
    """Pests by rank first, since one goes out with a plan; then what the crop itself shows.

    Heat or catches that say it is here bring a pest one rank forward, over those that the host
    stages only allow; one whose heat is unknown comes last.
    """
    known = window.timing in ("heat", "catch")
    return window.pest is None, window.timing == "heat unknown", window.rank - known
