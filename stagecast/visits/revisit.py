"""When to be back in a field, and why: the interval, and what moves it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from stagecast.counts.stand import StandAssessment
from stagecast.forecast.forecast import NOT_PLANTED, PLANTED, FieldForecast
from stagecast.forecast.ranges import DateRange
from stagecast.knowledge import Knowledge
from stagecast.knowledge.looks import Look
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.rules import Revisit
from stagecast.pests.thresholds import FieldFacts, holding
from stagecast.pests.windows import ScoutingWindow
from stagecast.season.log.entries import ScoutingLog
from stagecast.season.settings.work import VisitsSettings
from stagecast.season.tables.visits import Visit
from stagecast.visits.interval import (
    Crossing,
    Interval,
    LongestGap,
    PoorStand,
    SourceSays,
    days_to_next,
)
from stagecast.visits.last_look import InsectsEnd, insects_end
from stagecast.visits.look_for import CropSign, LookFor, is_open, what_to_look_for
from stagecast.visits.other_looks import FieldLook, opened_since
from stagecast.visits.pressure import CountedPressure
from stagecast.visits.reentry import (
    ONE_DAY,
    EfficacyCheck,
    NoEntry,
    efficacy_check,
    first_free_day,
    no_entry_on,
)  # fmt: skip
from stagecast.visits.rest import longest_unseen, may_rest


@dataclass(frozen=True, slots=True)
class WindowDates:
    """A window as a reason names it."""

    window: str
    pest: str | None
    title: str
    short: str
    opens: DateRange
    closes: DateRange


@dataclass(frozen=True, slots=True)
class SeasonOver:
    """The season ended on a day."""

    last_day: dt.date


@dataclass(frozen=True, slots=True)
class Ripe:
    """The crop is at R7 or R8, after which pests no longer cost yield.

    ``still`` are pests for which a threshold is on file all the same.
    """

    stage: str
    still: tuple[Pest, ...] = ()


@dataclass(frozen=True, slots=True)
class RipeBefore:
    """R7 is expected by a day on or before the visit."""

    day: dt.date


@dataclass(frozen=True, slots=True)
class InsectsOver:
    """The state treats insects no longer by the day of the visit."""

    end: InsectsEnd
    day: dt.date


@dataclass(frozen=True, slots=True)
class NotEmerged:
    """The field is not up yet; it is looked at once it likely stands at VC."""

    planting_date: dt.date
    planted: bool
    planned: bool
    emergence: DateRange
    first_look: dt.date | None


@dataclass(frozen=True, slots=True)
class SeenBeforeEmergence:
    """The last visit was before emergence, so no interval counts from it."""

    last_visit: dt.date
    emergence: dt.date
    first_look: dt.date


@dataclass(frozen=True, slots=True)
class PulledForward:
    """A window opens before the interval is over.

    ``not_below_days`` is set where the shortest interval keeps the visit after its opening.
    """

    window: WindowDates
    due_before: dt.date
    not_below_days: int | None


@dataclass(frozen=True, slots=True)
class FirstVisit:
    """No visit is recorded; the field likely stands at VC by a day, and is due from then on."""

    likely_vc: dt.date


@dataclass(frozen=True, slots=True)
class OpenThen:
    """A critical window is open on the day of the visit."""

    window: WindowDates
    day: dt.date


@dataclass(frozen=True, slots=True)
class InTime:
    """The interval would miss a look that a visit is moved for."""

    look: FieldLook
    due_before: dt.date


@dataclass(frozen=True, slots=True)
class AlsoThen:
    """Looks that came up since the last visit; they send nobody by themselves."""

    looks: tuple[Look, ...]


Reason = (
    SeasonOver | Ripe | RipeBefore | NotEmerged | SeenBeforeEmergence | Interval | PulledForward
    | SourceSays | LongestGap | FirstVisit | OpenThen | Crossing | EfficacyCheck | NoEntry
    | InTime | AlsoThen | InsectsOver | PoorStand
)  # fmt: skip
"""Why a visit is due on a day, or none is."""


@dataclass(frozen=True, slots=True)
class NextVisit:
    """The next visit to one field.

    Attributes
    ----------
    interval_days : int or None
        Days from the last visit to the next: 5 to 10 by the rule, fewer before a threshold may be
        crossed, more where a treated field may not be entered; None for a first look at the plants,
        and after R7, when no visit is due by the rule.
    due : datetime.date or None
        Before the day asked for when it is overdue.
    look_for : tuple of LookFor
        On that day, today when overdue; the most pressing first.
    sample : str
        Id of the sampling method.
    not_before : datetime.date or None
        For an efficacy check: the soonest day that will tell.
    limit : datetime.date or None
        The last day on which the field may still be unseen: then it must be walked.
    """

    field_id: str
    last_visit: dt.date | None
    interval_days: int | None
    due: dt.date | None
    reasons: tuple[Reason, ...]
    look_for: tuple[LookFor, ...] = ()
    sample: str = ""
    not_before: dt.date | None = None
    limit: dt.date | None = None

    @property
    def pulled(self) -> bool:
        """Whether a window pulled the visit forward."""
        return any(isinstance(reason, PulledForward) for reason in self.reasons)


@dataclass(slots=True)
class _Draft:
    """A visit while it is being decided on."""

    due: dt.date
    interval: int | None
    reasons: list[Reason]
    sooner: dt.date | None = None
    not_before: dt.date | None = None


def next_visit(
    forecast: FieldForecast,
    windows: Sequence[ScoutingWindow],
    visit: Visit | None,
    *,
    as_of: dt.date,
    region: str,
    knowledge: Knowledge,
    counted: CountedPressure | None = None,
    log: ScoutingLog | None = None,
    asked: VisitsSettings | None = None,
    looks: Sequence[FieldLook] = (),
    stand: StandAssessment | None = None,
) -> NextVisit:
    """Decide when a field is next due.

    Parameters
    ----------
    windows : sequence of ScoutingWindow
        All windows of the field.
    visit : Visit or None
        The last visit up to ``as_of``.
    region : str
        State code whose thresholds are named.
    counted : CountedPressure, optional
        What the counts of that visit say; goes before the word noted for it.
    log : ScoutingLog, optional
        Of the field, for its treatments.
    asked : VisitsSettings, optional
        Days of the season's own.
    looks : sequence of FieldLook
        What the stages call for besides insects. Those that may send a scout move a visit that
        would come after them; the others are only named.
    stand : StandAssessment, optional
        Counted at that visit, poor, and still to be mended.

    Notes
    -----
    The interval is that of :func:`stagecast.visits.interval.days_to_next`. A window that opens
    sooner pulls the visit to its middle opening date, though not below five days. Plants that
    nobody has looked at are due from the day on which they likely stand at VC, and longer overdue
    each day after it. No visit is due after the longest gap, a check after a treatment excepted;
    none falls into a restricted-entry interval, nor within three days of the last; and there is
    none after R7, nor after the stage at which the state stops treating insects, unless a pest was
    found for which it has a later one or a treatment is to be checked.
    """
    last = visit.date if visit else None
    field_id, stage = forecast.field.field_id, forecast.stage_now
    asked = asked or VisitsSettings()
    own_log = ScoutingLog() if log is None else log.of_field(field_id)
    if stage in (NOT_PLANTED, PLANTED):
        return _not_emerged(forecast, windows, last, own_log, as_of, asked, knowledge.revisit)
    if as_of > forecast.span.last_day:
        return NextVisit(field_id, last, None, None, (SeasonOver(forecast.span.last_day),))
    if stage in ("R7", "R8"):
        facts = FieldFacts.of(forecast.field)
        still = tuple(
            pest
            for pest in knowledge.pests.values()
            if holding(pest, stage=stage, region=region, knowledge=knowledge, facts=facts)
        )
        return NextVisit(field_id, last, None, None, (Ripe(stage, still),))
    planted = forecast.field.first_planted and forecast.field.planting_date
    treated = own_log if planted is None else own_log.after(planted)
    check = efficacy_check(
        treated, last, as_of=as_of, rule=knowledge.decisions.treated, days=days_to_check(counted)
    )
    if check is not None and last is not None and last <= check.treatment.applied_at.date():
        counted = None if counted is None else counted.before_treatment()
    if visit is None:
        first = _first_look(forecast, knowledge.revisit)
        draft = _Draft(first, None, [FirstVisit(first)])
    else:
        draft = _again(forecast, windows, visit, counted, own_log, as_of, asked, knowledge, stand)
        _in_time(draft, looks, visit.date, as_of, int(knowledge.revisit.near_threshold_days))
    limit = _limit(draft, forecast, windows, last, asked, knowledge.revisit)
    if check is not None:
        _check(draft, check, last)
    _not_at_once(draft, last, int(knowledge.revisit.soon_days))
    _keep_out(draft, own_log, field_id, as_of, last)
    ripe = forecast.stages["R7"].p50
    if ripe is not None and draft.due >= ripe:
        return NextVisit(field_id, last, None, None, (*draft.reasons, RipeBefore(ripe)))
    end = insects_end(forecast, treated.up_to(as_of), region=region, knowledge=knowledge)
    over = None if end.found or check is not None else end.dates.p50
    if over is not None and max(draft.due, as_of) >= over:
        return NextVisit(field_id, last, None, None, (*draft.reasons, InsectsOver(end, over)))
    walked = max(draft.due, as_of)
    open_then = [w for w in windows if w.critical and is_open(w, walked)]
    draft.reasons += [OpenThen(_dates(w), walked) for w in open_then[:1]]
    if also := tuple(one.look for one in opened_since(looks, last, walked)):
        draft.reasons.append(AlsoThen(also))
    then = forecast.stage_by(walked)
    look_for, sample = what_to_look_for(
        windows,
        walked,
        stage=then,
        region=region,
        knowledge=knowledge,
        facts=FieldFacts.of(forecast.field),
    )
    return NextVisit(
        field_id, last, draft.interval, draft.due, tuple(draft.reasons), look_for, sample,
        draft.not_before, limit,
    )  # fmt: skip


def _first_look(forecast: FieldForecast, rule: Revisit) -> dt.date:
    """The day on which plants that come up this season are first due."""
    likely_vc = forecast.likely_on("VC", float(rule.first_look_chance))
    emerged = forecast.stages["VE"].p50
    assert emerged is not None, "asked of plants that come up"
    return likely_vc or emerged


def _not_emerged(
    forecast: FieldForecast,
    windows: Sequence[ScoutingWindow],
    last: dt.date | None,
    log: ScoutingLog,
    as_of: dt.date,
    asked: VisitsSettings,
    rule: Revisit,
) -> NextVisit:
    """The visit to a field that is not up yet."""
    field, ve = forecast.field, forecast.stages["VE"]
    first = None if ve.p50 is None else _first_look(forecast, rule)
    planted = forecast.stage_now == PLANTED
    reason = NotEmerged(field.planting_date, planted, field.planned, ve, first)
    seedling = [w for w in windows if w.critical and w.opens.p50 == ve.p50]
    look_for = tuple(CropSign(item) for w in seedling for item in w.look_for)
    sample = seedling[0].sample if seedling else ""
    if first is None:
        return NextVisit(field.field_id, last, None, None, (reason,), look_for, sample)
    draft = _Draft(first, None, [reason])
    limit = _limit(draft, forecast, windows, None, asked, rule)
    _not_at_once(draft, last, int(rule.soon_days))
    _keep_out(draft, log, field.field_id, as_of, last)
    return NextVisit(
        field.field_id, last, None, draft.due, tuple(draft.reasons), look_for, sample, limit=limit
    )


def _limit(
    draft: _Draft,
    forecast: FieldForecast,
    windows: Sequence[ScoutingWindow],
    last: dt.date | None,
    asked: VisitsSettings,
    rule: Revisit,
) -> dt.date:
    """The last day unseen, counted from the last look at these plants; no visit is due after it.

    Plants that nobody has looked at are counted from the day on which they are first due.
    """
    if last is None or draft.interval is None:
        return longest_unseen(draft.due, forecast.field, windows, asked, rule)
    limit = longest_unseen(last, forecast.field, windows, asked, rule)
    if limit < draft.due:
        days = (limit - last).days
        draft.reasons.append(LongestGap(days, draft.interval))
        draft.due, draft.interval = limit, days
    return limit


def _again(
    forecast: FieldForecast,
    windows: Sequence[ScoutingWindow],
    visit: Visit,
    counted: CountedPressure | None,
    log: ScoutingLog,
    as_of: dt.date,
    asked: VisitsSettings,
    knowledge: Knowledge,
    stand: StandAssessment | None,
) -> _Draft:
    """The visit after another one: the interval, and what pulls it forward."""
    rule = knowledge.revisit
    rests = may_rest(visit.date, forecast, windows, log.up_to(as_of), rule.no_rest)
    rest_days = (asked.between_days or int(rule.between_days)) if rests else None
    days, why = days_to_next(
        visit, counted, knowledge=knowledge, log=log, rest_days=rest_days, stand=stand
    )
    draft = _Draft(visit.date + dt.timedelta(days=days), None, list(why))
    if any(isinstance(one, Crossing | SourceSays | PoorStand) for one in why):
        draft.sooner = draft.due
    pull = _pulling(windows, visit.date, as_of, most_rank=int(rule.pulling_rank))
    least = int(rule.near_threshold_days)
    soonest = visit.date + dt.timedelta(days=least)
    if pull is not None and pull.opens.p50 is not None and max(pull.opens.p50, soonest) < draft.due:
        held_back = least if pull.opens.p50 < soonest else None
        draft.reasons.append(PulledForward(_dates(pull), draft.due, held_back))
        draft.due = max(pull.opens.p50, soonest)
    draft.interval = (draft.due - visit.date).days
    emerged = forecast.stages["VE"].p50
    if emerged is not None and visit.date < emerged:
        first = _first_look(forecast, rule)
        if draft.due < first:
            return _Draft(first, None, [SeenBeforeEmergence(visit.date, emerged, first)])
    return draft


def _in_time(
    draft: _Draft, looks: Sequence[FieldLook], last: dt.date, as_of: dt.date, least_days: int
) -> None:
    """Move a visit that would come after a look to its last day, not below the shortest interval.

    Only for looks that may send a scout, that began since the last visit and are not over.
    """
    soonest = max(last + least_days * ONE_DAY, as_of)
    for one in looks:
        if not one.look.sends or one.closes.p50 is None or one.first <= last:
            continue
        day = one.closes.p50 - ONE_DAY
        if soonest <= day < draft.due and one.first <= day:
            draft.reasons.append(InTime(one, draft.due))
            draft.due, draft.interval = day, (day - last).days


def days_to_check(counted: CountedPressure | None) -> tuple[int, int] | None:
    """Days after a treatment by the source of a pest that was near its threshold before it."""
    rules = () if counted is None else counted.go_back
    treated = [one.rule.days for one in rules if one.rule.when == "treated"]
    return min(treated, default=None)


def _check(draft: _Draft, check: EfficacyCheck, last: dt.date | None) -> None:
    """Move a visit between the days of an efficacy check; what makes it sooner stays."""
    due = min(max(draft.due, check.soonest), check.latest)
    draft.due = due if draft.sooner is None else min(due, draft.sooner)
    draft.not_before = min(check.soonest, draft.due)
    if last is not None:
        draft.interval = (draft.due - last).days
    draft.reasons.append(check)


def _not_at_once(draft: _Draft, last: dt.date | None, soon_days: int) -> None:
    """Keep the fewest days between two visits: tomorrow tells nothing new."""
    if last is None:
        return
    soonest = last + soon_days * ONE_DAY
    if draft.not_before is not None:
        draft.not_before = max(draft.not_before, soonest)
    if draft.due < soonest:
        draft.due = soonest
        draft.interval = None if draft.interval is None else soon_days


def _keep_out(
    draft: _Draft, log: ScoutingLog, field_id: str, as_of: dt.date, last: dt.date | None
) -> None:
    """Move a visit out of a restricted-entry interval."""
    walked = max(draft.due, as_of)
    held = no_entry_on(log, field_id, walked)
    if held is None:
        return
    draft.due = first_free_day(log, field_id, walked)
    draft.reasons.append(held)
    if last is not None and draft.interval is not None:
        draft.interval = (draft.due - last).days


def _pulling(
    windows: Sequence[ScoutingWindow], last: dt.date, as_of: dt.date, *, most_rank: int
) -> ScoutingWindow | None:
    """The next window to open that no visit has seen open yet, of the crop or of a leading pest.

    Host stages alone say when a pest could hurt, not that it comes: they pull no visit forward;
    nor does heat by a value from memory.
    """
    ahead = [
        w
        for w in windows
        if w.timing in ("crop", "heat", "catch")
        and not w.unverified
        and (w.pest is None or w.rank <= most_rank)
        and w.opens.p50 is not None
        and w.opens.p50 > last
        and (w.closes.p50 is None or w.closes.p50 > as_of)
    ]
    return min(ahead, key=lambda w: (w.opens.p50 or dt.date.max, not w.critical), default=None)


def _dates(window: ScoutingWindow) -> WindowDates:
    return WindowDates(
        window.window, window.pest, window.title, window.short, window.opens, window.closes
    )
