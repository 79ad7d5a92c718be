"""Why a visit is due, what it is for, and when a field may be entered, in words."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stagecast.base.dates import DAY_S, said_day, said_time
from stagecast.base.textfiles import clean
from stagecast.forecast.ranges import DateRange
from stagecast.knowledge.quantities import Statement
from stagecast.knowledge.rules import Treated
from stagecast.knowledge.units import SampleUnit
from stagecast.season.tables.blocked import Blocked
from stagecast.visits.interval import Crossing, Interval, LongestGap, PoorStand, SourceSays
from stagecast.visits.last_look import InsectsEnd
from stagecast.visits.look_for import AlsoPossible, CropSign, LookFor, PestSign
from stagecast.visits.pressure import CountedPressure, Density, Harmless, LeafLoss, NoThreshold
from stagecast.visits.reentry import EfficacyCheck, NoEntry
from stagecast.visits.revisit import (
    AlsoThen,
    FirstVisit,
    InsectsOver,
    InTime,
    NextVisit,
    NotEmerged,
    OpenThen,
    PulledForward,
    Reason,
    Ripe,
    RipeBefore,
    SeasonOver,
    SeenBeforeEmergence,
    WindowDates,
)
from stagecast.words.counts import chance_text, number_text, sets_text
from stagecast.words.stand import stand_line
from stagecast.words.thresholds import standing_text, unit_text


def reason_texts(visit: NextVisit, rule: Treated) -> list[str]:
    """Why a visit is due when it is, or none is."""
    return [reason_text(reason, rule) for reason in visit.reasons]


def reason_text(reason: Reason, rule: Treated) -> str:
    """One reason; ``rule`` says where restricted entry is laid down."""
    match reason:
        case SeasonOver(last_day):
            return f"the season ended on {said_day(last_day)}: no visit is due"
        case Ripe(stage, still):
            ripe = f"the crop is at {stage}: pests no longer cost yield after R7"
            names = ", ".join(pest.name for pest in still)
            return f"{ripe}; a threshold is on file still for {names}" if still else ripe
        case RipeBefore(day):
            return f"but R7 is expected by {said_day(day)}, and no visit is due after it"
        case InsectsOver(end, day):
            return f"but {insects_end_text(end)}: no visit is due from {said_day(day)} on"
        case NotEmerged():
            return _not_emerged(reason)
        case SeenBeforeEmergence(last_visit, emergence, first_look):
            visited, up = said_day(last_visit), said_day(emergence)
            before = f"the last visit, {visited}, was before emergence on {up}"
            return f"{before}; {_likely_vc(first_look)}"
        case Interval():
            return _interval(reason)
        case PulledForward():
            return _pulled(reason)
        case FirstVisit(likely_vc):
            return f"no visit is recorded; {_likely_vc(likely_vc)}"
        case OpenThen(window, day):
            return f"{window.title} is open on {said_day(day)}"
        case Crossing():
            return crossing_text(reason)
        case LongestGap(days, instead_of_days):
            return f"{_sooner(days, instead_of_days)}: no longer without a look"
        case PoorStand(stand, days, instead_of_days):
            told = f"{stand_line(stand)}, counted {said_day(stand.date)}"
            return f"{_sooner(days, instead_of_days)}: {told}"
        case SourceSays():
            return source_says_text(reason)
        case EfficacyCheck():
            return efficacy_check_text(reason, rule)
        case InTime(look, due_before):
            span = _span_text(look.first, look.closes.p50)
            return f"sooner than {said_day(due_before)}, for the {look.look.title}: {span}"
        case AlsoThen(looks):
            return f"also then: {', '.join(look.title for look in looks)}"
        case NoEntry():
            return no_entry_text(reason, rule.entry_rule)


def insects_end_text(end: InsectsEnd) -> str:
    """``TN: insecticides no longer pay from R6.5 on; still redbanded stink bug, to R7``."""
    if end.frost is not None:
        frost = end.frost
        return (
            f"station {clean(frost.station)} had a killing frost on {said_day(frost.date)}, before "
            "R7, and insects no longer cost yield where it killed the crop"
        )
    if end.rule is None:
        return f"{end.region} has no earlier end on file: insects no longer cost yield from R7 on"
    told = f"{end.region}: insecticides no longer pay from {end.stage} on"
    names = ", ".join(pest.name for pest in end.still)
    return f"{told}; still for {names}, to R7" if names else told


def _interval(reason: Interval) -> str:
    found = reason.found
    told = pressure_text(found) if isinstance(found, CountedPressure) else found
    text = f"{reason.days} days: last visit {said_day(reason.last_visit)}"
    text += f", {told or 'pressure not noted'}"
    if reason.rests:
        text += "; rests until R1: your own choice, extension texts say weekly"
    if reason.sprayed is not None:
        text += f"; no longer, after {reason.sprayed.product} on "
        text += said_day(reason.sprayed.applied_at.date())
    return text


def _not_emerged(reason: NotEmerged) -> str:
    ve = reason.emergence
    when = "not this season"
    if ve.p50 is not None:
        when = f"{said_day(ve.p50)} ({_span_text(ve.p10, ve.p90)})"
    verb = "was planted" if reason.planted else "is to be planted"
    if reason.planned:
        verb = "is planned for"
    planted = said_day(reason.planting_date)
    told = f"{verb} {planted}; emergence is expected {when}"
    return told if reason.first_look is None else f"{told}, {_likely_vc(reason.first_look)}"


def _pulled(reason: PulledForward) -> str:
    opens = reason.window.opens
    text = (
        f"pulled forward from {said_day(reason.due_before)}: {_window_text(reason.window)} opens "
        f"{_span_text(opens.p10, opens.p90)}, half by {_day_text(opens)}"
    )
    if reason.not_below_days is not None:
        text += f", but not before {reason.not_below_days} days"
    return text


def _likely_vc(day: dt.date) -> str:
    return f"likely at VC by {said_day(day)}"


def _window_text(window: WindowDates) -> str:
    name = f"'{window.title}'"
    return name if window.pest is None else f"{name} ({window.short})"


def _day_text(dates: DateRange) -> str:
    return "not this season" if dates.p50 is None else said_day(dates.p50)


def _span_text(first: dt.date | None, last: dt.date | None) -> str:
    begin = "?" if first is None else said_day(first)
    end = "not this season" if last is None else said_day(last)
    return f"{begin} to {end}"


def pressure_text(counted: CountedPressure) -> str:
    """The pressure and what made it so: ``some: stink bugs 1.8 of 9 per 25 sweeps``.

    All that is near its threshold or above it is named, what is above first.
    """
    pressure, cause = counted.pressure, counted.cause
    if counted.pressing:
        above = [_cause_text(one) for one in counted.pressing if one.above]
        near = [_cause_text(one) for one in counted.pressing if not one.above]
        told = [("above its threshold", above), ("near threshold", near)]
        return "; ".join(f"{how}: {', '.join(those)}" for how, those in told if those)
    match cause:
        case None:
            return f"{pressure}: nothing was found of what was looked for"
        case NoThreshold():
            amount = amount_text(cause.mean, cause.unit, cause.set_size)
            return f"{pressure}: {cause.pest.name} {amount}, no threshold on file"
        case Harmless():
            amount = amount_text(cause.mean, cause.unit, cause.set_size)
            when = "does not matter yet" if cause.early else "no longer matters"
            return f"{pressure}: {cause.pest.name} {amount}, which {when}"
    return f"{pressure}: {_cause_text(cause)}"


def _cause_text(cause: Density | LeafLoss) -> str:
    """``stink bugs 10.8 of 9 per 25 sweeps, 78% chance of being over it``."""
    if isinstance(cause, LeafLoss):
        return f"leaf loss {cause.percent:g} of {cause.threshold:g} percent"
    limit = amount_text(cause.threshold, cause.unit, cause.set_size)
    told = f"{cause.pest.name} {number_text(cause.found_mean)}{worth_text(cause)} of {limit}"
    if cause.from_stage is not None:
        told += f" from {cause.from_stage} on"
    if cause.p_above is not None and cause.near:
        told += f", {chance_text(cause.p_above)} chance of being over it"
    few = cause.sampled is not None and cause.answer == "too few"
    return f"{told}, in {sets_text(cause.sets)}, too few" if few else told


def worth_text(one: Density) -> str:
    """``, worth 4,``: what was found, by the weights of its threshold; "" without any."""
    return "" if one.found is None else f", worth {number_text(one.mean)},"


def crossing_text(crossing: Crossing) -> str:
    """By when a density may pass its threshold, how likely, and by what growth."""
    one = crossing.density
    name, threshold = one.pest.name, amount_text(one.threshold, one.unit, one.set_size)
    seen = f"{number_text(one.found_mean)}{worth_text(one)} in {sets_text(one.sets)}"
    seen += f" on {said_day(crossing.counted_on)}"
    grows = f"growing {float(one.rate):.2g} +/- {crossing.rate_sd:.2g} a day"
    passes = f"{name} may pass the threshold of {threshold} by {said_day(crossing.day)}"
    chance = f"chance {chance_text(crossing.probability)}"
    sooner = _sooner(crossing.days, crossing.instead_of_days)
    return f"{sooner}: {passes} ({chance}; {seen}, {grows})"


def source_says_text(says: SourceSays) -> str:
    """``4 days, not 7: velvetbean caterpillar was found (go back in 3 to 4 days: it can ...)``."""
    pest, rule = says.back.pest, says.back.rule
    first, last = rule.days
    within = f"{first} to {last} days" if first < last else f"{last} days"
    why = f"; {rule.note}" if rule.note else ""
    if rule.when == "dry":
        return f"in dry weather be back for {pest.name} in {within}{why}"
    what = "was found" if rule.when == "found" else "is near its threshold"
    sooner = _sooner(says.days, says.instead_of_days)
    return f"{sooner}: {pest.name} {what}, be back in {within}{why}"


def _sooner(days: int, instead_of_days: int) -> str:
    return f"{days} days, not {instead_of_days}"


def amount_text(number: float, unit: SampleUnit, set_size: float) -> str:
    """``6.5 per 25 sweeps``."""
    return f"{number_text(number)} {unit_text(unit, set_size)}".rstrip()


def look_for_texts(items: Sequence[LookFor]) -> list[str]:
    """All there is to look for, the most pressing first."""
    return [look_for_text(item) for item in items]


def look_for_text(item: LookFor) -> str:
    """One thing to look for, with its thresholds."""
    if isinstance(item, CropSign):
        return item.text
    if isinstance(item, PestSign):
        known = f"; threshold {standing_text(item.thresholds)}" if item.thresholds else ""
        return f"{item.pest.name}: {item.text}{known}"
    if isinstance(item, AlsoPossible):
        return f"also possible: {', '.join(pest.name for pest in item.pests)}"
    return f"soon: {', '.join(f'{pest.name} from {said_day(day)}' for pest, day in item.pests)}"


def efficacy_check_text(check: EfficacyCheck, rule: Treated) -> str:
    """Which treatment is looked at, and when."""
    (soonest, latest), treatment = check.days_after, check.treatment
    text = (
        f"efficacy check {soonest} to {latest} days after {treatment.product} on "
        f"{said_day(treatment.applied_at.date())}: {said_day(check.soonest)}"
    )
    if check.latest > check.soonest:
        text += f" to {said_day(check.latest)}"
    if check.held is not None:
        text += f", not sooner: {no_entry_text(check.held, rule.entry_rule)}"
    return text


def no_entry_text(held: NoEntry, rule: Statement) -> str:
    """``do not enter until Tue 7 Jul 16:00 (Product, 24 h from 6 Jul 16:00; ..., see the label)``.

    The rule's own note begins with where it stands.
    """
    where = rule.note.partition(";")[0]
    applied, product = held.treatment.applied_at, held.treatment.product
    return (
        f"do not enter until {until_text(held)} ({product}, {held.reentry_hours:g} h from "
        f"{said_day(applied.date())} {applied:%H:%M}; {where}, see the label)"
    )


def blocked_text(blocked: Blocked) -> str:
    """A blocked time, for a list: ``do not enter today 12:00 to 16:00 (blocked: wedding)``."""
    why = f"blocked: {blocked.why}" if blocked.why else "blocked by its grower"
    hours = ""
    if (blocked.from_s, blocked.to_s) != (0, DAY_S):
        hours = f" {said_time(blocked.from_s)} to {said_time(blocked.to_s)}"
    days = "today" if hours or blocked.first == blocked.last else f"up to {said_day(blocked.last)}"
    return f"do not enter {days}{hours} ({why})"


def until_text(held: NoEntry) -> str:
    """``Tue 7 Jul 16:00``."""
    until = held.until_minute
    return f"{until:%a} {said_day(until.date())} {until:%H:%M}"
