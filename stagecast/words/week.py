"""Words that the week's screen and files share."""

from __future__ import annotations

import datetime as dt
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Literal

from stagecast.base.dates import MINUTE_S, said_day
from stagecast.base.units import KM_PER_MILE, Units
from stagecast.counts.defoliation import DefoliationAssessment
from stagecast.knowledge import Knowledge
from stagecast.knowledge.rules import Sampling
from stagecast.pests.windows import SEEDLING
from stagecast.season.locks import Lock
from stagecast.season.settings.workday import driving_rules
from stagecast.season.tables.blocked import Blocked
from stagecast.season.tables.fields import ACRES_PER_HECTARE
from stagecast.visits.look_for import CropSign, PestSign, pests_named
from stagecast.visits.pressure import LeafLoss
from stagecast.visits.reentry import EfficacyCheck, NoEntry
from stagecast.visits.season_day import FieldDay
from stagecast.week.changes import Moved
from stagecast.week.days import (
    DayOff,
    FieldLate,
    LeftOutWhy,
    MustNeeds,
    NoHours,
    NotWorthDrive,
    ScoutDay,
    TooLong,
    WeekStop,
)
from stagecast.week.fields import NoGap, TooSoon
from stagecast.week.minutes import Pace
from stagecast.week.trial import Placing
from stagecast.week.waiting import StandRisk, WaitingTerm
from stagecast.week.week import Above, Walk, WeekRoute, above_of
from stagecast.words.counts import leaf_line_text, line_text
from stagecast.words.notes import counted
from stagecast.words.visits import efficacy_check_text, until_text
from stagecast.words.waiting import last_found, term_name

CENT = 0.005
"""Dollars below which a cost reads as none."""

MOST_NAMED = 6
"""Fields of one sentence that are named; of more it says how many."""

NO_ROOM = "neither three hours more on a day nor a day off make room"


def file_text(text: str) -> str:
    """Text as any file may hold it: line breaks and tabs stay, other control characters go.

    Neither XML 1.0 nor iCalendar has a way to write them. Halves of a character pair, which no
    file in UTF-8 can hold, go too, and so do the two code points that XML leaves out.
    """
    return "".join(char for char in text if char in "\n\t" or not _unwritable(char))


def _unwritable(char: str) -> bool:
    return unicodedata.category(char) in ("Cc", "Cs") or char in "\ufffe\uffff"


def above_texts(
    above: Iterable[Above], *, day_text: Callable[[dt.date], str] = said_day
) -> list[tuple[FieldDay, list[str]]]:
    """Fields that wait for a decision, each with what was found at its threshold or over it."""
    found: dict[FieldDay, list[str]] = {}
    for one in above:
        told = f"{over_text(one)} ({day_text(one.seen.date)})"
        found.setdefault(one.plan, []).append(told)
    return list(found.items())


def decide_texts(plan: FieldDay) -> list[str]:
    """``over a threshold, decide: stink bugs 19.5 of 9 ...``, where a field waits for it."""
    ours = [one for one in above_of(plan.season) if one.plan.field_id == plan.field_id]
    return [f"over a threshold, decide: {'; '.join(found)}" for _, found in above_texts(ours)]


def over_text(one: Above) -> str:
    """``stink bugs 19.5 of 9 per 25 sweeps (15.1-26.8), over 95%, above``."""
    found = one.assessed
    if isinstance(found, DefoliationAssessment):
        return f"leaf loss {leaf_line_text(found)}"
    return f"{one.name} {line_text(found)}"


def walk_text(
    walk: Walk, *, day_text: Callable[[dt.date], str] = said_day, apart: str = " "
) -> str:
    """``7 Jul``; with the rule's day where the route has another: ``7 Jul (due 6 Jul)``.

    ``apart`` stands before the rule's day.
    """
    if walk.due is None:
        return "-" if walk.day is None else day_text(walk.day)
    due = f"{apart}(due {day_text(walk.due)})"
    if walk.day is None:
        return f"left out{due}"
    return day_text(walk.day) if walk.day == walk.due else f"{day_text(walk.day)}{due}"


def other_day_text(walk: Walk) -> str:
    """Why a field is walked on another day than the one on which it is due; "" where it is not."""
    why = walk.why
    if why is None or walk.due is None or walk.day is None:
        return ""
    if isinstance(why, NoEntry | Blocked):
        return left_out_text(why)
    return {
        "overdue": "overdue",
        "no work": f"nobody works on {said_day(walk.due)}",
        "on the way": f"it lies on the way on {said_day(walk.day)}",
        "no drive": "the drive waits until it is worth it",
        "others first": "other fields lose more by waiting",
        "put there": "it was put on that day",
    }[why]


def file_name_of(plan: FieldDay) -> str:
    """Field id and name on one line, for files."""
    field = plan.forecast.field
    return " ".join(file_text(f"{field.field_id} {field.field_name}").split())


def day_name(day: ScoutDay) -> str:
    """``Tue 2026-07-07`` and the scout, where one has a name."""
    return " ".join(file_text(f"{day.date:%a} {day.date.isoformat()} {day.scout}").split())


def how_text(stop: WeekStop, knowledge: Knowledge) -> str:
    """``15-inch sweep net, 4 sets of 25 sweeps``; ``walk through`` where nothing is counted."""
    sampling = knowledge.sampling.get(stop.sampling)
    if sampling is None:
        return "walk through"
    return f"{sampling.title}, {stop.sets} {sets_of(sampling, stop.sets)}"


def sets_text(stop: WeekStop, knowledge: Knowledge) -> str:
    """How it is sampled, in short: ``4x25 sweeps``, ``stand look``."""
    sampling = knowledge.sampling.get(stop.sampling)
    if sampling is None:
        return "walk through"
    if sampling.short:
        return sampling.short
    if sampling.size in (None, 1):
        return f"{stop.sets} {sets_of(sampling, stop.sets)}"
    return f"{stop.sets}x{sampling.size} {sampling.unit}"


def sets_of(sampling: Sampling, sets: int) -> str:
    """What is taken: ``sets of 25 sweeps``, or ``set of 25 sweeps`` of one."""
    noun = sampling.sets.unit.removesuffix("s") if sets == 1 else sampling.sets.unit
    if sampling.unit is None or sampling.size in (None, 1):
        return noun
    return f"{noun} of {sampling.size} {sampling.unit}"


def look_heads(stop: WeekStop) -> list[str]:
    """What to look for, each in a word or two: the pests, and what else a look is for."""
    heads: dict[str, None] = {}
    for one in stop.look_for:
        if isinstance(one, PestSign):
            heads[one.pest.name] = None
        elif isinstance(one, CropSign):
            heads[one.text.partition(":")[0].partition(";")[0]] = None
    return list(heads)


def looks_text(stop: WeekStop, knowledge: Knowledge, *, most: int) -> str:
    """What to look for first, with what was last found of it, and how many more there are.

    Notes
    -----
    At an efficacy check what was near its threshold or above it at the counts before the treatment
    leads. Then what has most at stake, where it is to be looked for on that day. The last place
    goes to the most pressing of ``look_for``: what is at stake is known for the first day of the
    route, and a window may have opened since.
    """
    staked = {
        term_name(term, knowledge): last_found(term)
        for term in stop.waiting.terms
        if _now(term, stop)
    }
    heads = look_heads(stop)
    treated_for = _treated_for(stop, knowledge)
    names = list(dict.fromkeys([*treated_for, *staked]))[: max(most - 1, len(treated_for))]
    names += [head for head in [*heads, *staked] if head not in names][: most - len(names)]
    told = [f"{name} ({staked[name]})" if staked.get(name) else name for name in names]
    more = len({*heads, *staked, *names}) - len(names)
    return ", ".join(told) + (f", and {more} more" if more else "")


def _treated_for(stop: WeekStop, knowledge: Knowledge) -> list[str]:
    """Pests that were near their threshold or above it before the treatment to be checked."""
    counted = stop.plan.counted
    if counted is None or not stop.efficacy_check:
        return []
    leaves = knowledge.pests[knowledge.decisions.leaf_loss.pest].name
    names = [leaves if isinstance(one, LeafLoss) else one.pest.name for one in counted.pressing]
    return list(dict.fromkeys(names))


def _now(term: WaitingTerm, stop: WeekStop) -> bool:
    """Whether a part of the cost is something to look for on the day of a stop."""
    if term.dollars < CENT:
        return False
    if term.pest is not None:
        return term.pest in pests_named(stop.look_for)
    day, windows = stop.arrive.date(), stop.plan.windows
    return isinstance(term.risk, StandRisk) and any(
        w.window == SEEDLING and w.state(day, entering_days=0) == "open" for w in windows
    )


def area_text(acres: float, units: Units) -> str:
    """``45 acres``, or ``18.2 ha``."""
    area, unit, digits = acres, "acres", 4
    if units != "us":
        area, unit, digits = acres / ACRES_PER_HECTARE, "ha", 3
    told = f"{area:.0f}" if area >= 10**digits - 0.5 else f"{area:.{digits}g}"
    return f"{told} {unit}"


def due_text(stop: WeekStop) -> str:
    """``due 7 Jul``, and by how many days it is late; "" where the rule asks for no visit."""
    if stop.plan.visit.due is None:
        return ""
    text = f"due {said_day(stop.plan.visit.due)}"
    if stop.days_late <= 0:
        return text
    late = "later than asked" if stop.efficacy_check else "late"
    return f"{text}, {counted(stop.days_late, 'day')} {late}"


def seen_text(stop: WeekStop) -> str:
    """``last visit 29 Jun``."""
    last = stop.plan.visit.last_visit
    return "no visit yet" if last is None else f"last visit {said_day(last)}"


def check_text(stop: WeekStop) -> str:
    """Which treatment is to be looked at, and its days; "" where none is."""
    if not stop.efficacy_check:
        return ""
    rule, reasons = stop.plan.season.knowledge.decisions.treated, stop.plan.visit.reasons
    checks = (one for one in reasons if isinstance(one, EfficacyCheck))
    return next((efficacy_check_text(one, rule) for one in checks), "efficacy check")


def waiting_text(stop: WeekStop) -> str:
    """Dollars of waiting until the stop; on the first day, those of a day more; "" for none."""
    spent, by_day = stop.waiting.until(stop.arrive.date()), stop.waiting.by_day
    if spent >= CENT:
        return f"waiting cost {dollars_text(spent)}"
    if stop.arrive.date() == stop.waiting.first_day and by_day and by_day[0] >= CENT:
        return f"waiting costs {dollars_text(by_day[0])} a day"
    return ""


def left_out_text(why: LeftOutWhy) -> str:
    """Why a due field is not walked."""
    match why:
        case "nobody works":
            return "nobody works in these days"
        case "never open at work":
            return "it is never open at an hour at which somebody could walk it and be home in time"
        case "days full":
            return "each day has as many fields as you want in a day"
        case "too many musts":
            return "it must be walked, and too many others must be too: not tried one by one"
        case "musts need more time":
            return f"it must be walked, and {NO_ROOM}"
        case MustNeeds() | DayOff():
            return f"it must be walked; {room_text(why)}"
        case TooSoon(first, ends):
            last = "of the route" if ends == "route" else "of work in these days"
            return f"not before {first:%a} {said_day(first)}, after the last day {last}"
        case NoEntry():
            return f"do not enter until {until_text(why)} ({why.treatment.product})"
        case Blocked():
            return f"blocked: {why.why}" if why.why else "blocked by its grower"
        case NoGap(minutes):
            return f"the {minutes} minutes of a visit fit between none of its blocked times"
        case NotWorthDrive(drive, saved):
            adds, saves = f"it adds ${drive:.0f}", f"being there saves ${saved:.0f}"
            return f"not worth the drive: {adds}, and {saves}"
        case NoHours(up_to):
            lose_more = "fields that lose more by waiting take them"
            return f"no hours left up to {said_day(up_to)}: {lose_more}"
        case TooLong(need_s, longest_s):
            return (
                f"it takes {hours_text(-(-need_s // MINUTE_S))} with the drive there and back, "
                f"and the longest day has {hours_text(-(-longest_s // MINUTE_S))}"
            )


def late_text(late: FieldLate) -> str:
    """Why a field is walked after the last day on which it may be unseen, and what helps."""
    by = f"to be seen by {said_day(late.limit)}, walked {late.walked:%a} {said_day(late.walked)}"
    return f"{by}: {left_out_text(late.room or 'musts need more time')}"


def late_texts(late: Iterable[FieldLate], name: Callable[[FieldDay], str]) -> list[str]:
    """``Late, walked Wed 8 Jul: F1 to be seen by 6 Jul, F2 by 7 Jul``, a sentence a day."""
    by_day: dict[dt.date, list[str]] = {}
    for one in late:
        said = by_day.setdefault(one.walked, [])
        by = "by" if said else "to be seen by"
        said.append(f"{name(one.plan)} {by} {said_day(one.limit)}")
    return [
        f"Late, walked {day:%a} {said_day(day)}: {_as_many_as_named(said)}"
        for day, said in by_day.items()
    ]


def _as_many_as_named(said: Sequence[str]) -> str:
    more = len(said) - MOST_NAMED
    return ", ".join([*said[:MOST_NAMED], *([f"{more} more"] if more > 0 else [])])


def room_text(room: MustNeeds | DayOff) -> str:
    """``1 h more on Tue 7 Jul would make room``."""
    if isinstance(room, MustNeeds):
        more = f"{hours_text(room.more_min)} more on {room.day:%a} {said_day(room.day)}"
        return f"{more} would make room"
    whose = f" of {room.scout}" if room.scout else ""
    return f"{room.day:%a} {said_day(room.day)}, a day off{whose}, would make room"


def rooms_texts(late: Iterable[FieldLate], name: Callable[[FieldDay], str]) -> list[str]:
    """What would make room for fields that are walked late, those that it helps together.

    It was tried for each of them alone: ``... would make room for one of 2 fields: F1, F2``.
    """
    helped: dict[MustNeeds | DayOff | Literal["days full"] | None, list[str]] = {}
    for one in late:
        helped.setdefault(one.room, []).append(name(one.plan))
    told = []
    for room, names in helped.items():
        listed, many = _as_many_as_named(names), counted(len(names), "field")
        if room == "days full":
            told.append(f"each day has as many fields as you want in a day: {listed} later")
            continue
        text = NO_ROOM if room is None else room_text(room)
        told.append(f"{text} for {f'one of {many}: {listed}' if len(names) > 1 else listed}")
    return [f"{text[0].upper()}{text[1:]}" for text in told]


def moved_text(moved: Moved) -> str:
    """Why a field moved: its day is off, it is left out, or others make room or need it."""
    off = f"{said_day(moved.day_off)} is off" if moved.day_off is not None else ""
    if off and moved.off_for:
        off += f" for {moved.off_for}"
    if moved.to is None:
        why = "" if moved.left_out is None else left_out_text(moved.left_out)
        return "; ".join(filter(None, (off, why)))
    if off:
        return off
    return "there are hours for it now" if moved.was is None else "on the way of that day now"


def pace_text(pace: Pace) -> str | None:
    """``your own 22 minutes a field from 14 timed visits; usual 18``; None without timed visits."""
    timed = pace.timed
    if timed is None:
        return None
    own, usual = f"{timed.own_min:.0f}", f"{timed.usual_min:.0f}"
    return f"Your own {own} minutes a field from {timed.visits} timed visits; usual {usual}."


def ids_text(ids: Sequence[str], *, most: int) -> str:
    """``F01, F02 and 3 more``."""
    more = f" and {len(ids) - most} more" if len(ids) > most else ""
    return ", ".join(" ".join(field_id.split()) for field_id in ids[:most]) + more


def clock_text(moment: dt.datetime) -> str:
    """``7:05``."""
    return f"{moment.hour}:{moment.minute:02}"


def hours_text(minutes: float) -> str:
    """``5 h 10 min``, ``2 h``, ``40 min``."""
    hours, left = divmod(round(minutes), 60)
    told = [f"{hours} h"] * (hours > 0) + [f"{left} min"] * (left > 0 or hours == 0)
    return " ".join(told)


def dollars_text(dollars: float) -> str:
    """``$12`` from ten dollars on, ``$3.40`` below."""
    return f"${dollars:,.2f}" if abs(dollars) < 10 else f"${dollars:,.0f}"


def estimate_text(week: WeekRoute) -> str:
    """How many drives are estimates and of what, in the units a person chose; "" for none."""
    if not week.ways_estimated:
        return ""
    loaded = week.season.loaded
    settings = loaded.season.settings
    rules = driving_rules(settings, loaded.knowledge)
    speed = f"{rules.speed_kmh:.0f} km/h"
    if settings.units == "us":
        speed = f"{rules.speed_kmh / KM_PER_MILE:.0f} mph"
    how = f"straight line x {rules.road_factor:g} at {speed}"
    if week.ways_estimated >= week.ways:
        return f"All drives are estimates: {how}."
    share = f"{week.ways_estimated} of {counted(week.ways, 'drive')}"
    are = "is an estimate" if week.ways_estimated == 1 else "are estimates"
    return f"{share} {are}: {how}; the others are yours (travel.csv)."


def shift_text(date: dt.date, scout: str) -> str:
    """``Wed 8 Jul, Kim``."""
    return f"{date:%a} {said_day(date)}{f', {scout}' if scout else ''}"


def trial_text(trial: Placing) -> str:
    """What it comes to: minutes, dollars, and when the day ends."""
    if trial.here:
        return "where the route has it now"
    if trial.closed:
        return "not then: too soon for a visit, the field closed, or the day too short"
    if trial.full:
        return "the day is full: other fields would have to make room"
    parts = [_more_minutes(trial.drive_min), _more_dollars("waiting", trial.waiting_cost)]
    parts.append(_more_dollars("driving", trial.drive_cost))
    told = ", ".join(filter(None, parts)) or "the same minutes and dollars"
    return told if trial.back_home is None else f"{told}; home at {clock_text(trial.back_home)}"


def _more_minutes(minutes: float) -> str:
    whole = round(abs(minutes))
    return f"{whole} min {'more' if minutes > 0 else 'less'} driving" if whole else ""


def _more_dollars(what: str, dollars: float) -> str:
    if abs(dollars) < 0.5:
        return ""
    return f"{what} costs {dollars_text(abs(dollars))} {'more' if dollars > 0 else 'less'}"


def held_texts(route: WeekRoute) -> Iterator[str]:
    """Fields that stay where a person put them, and those that cannot."""
    for name, lock in sorted(route.held.items()):
        yield f"{name} stays on {lock_text(lock)}, where it was put"
    for name in sorted(route.crowded_out):
        yield f"{name} was put on a day that has no room for it: put it on another one"
    for name, lock in sorted(route.void.items()):
        yield (
            f"{name} was put on {lock_text(lock)} and cannot be walked then: the field is closed, "
            "or nobody works"
        )


def lost_text(dollars: float) -> str:
    """What waiting costs, beside a stop; "" for nothing."""
    return "" if dollars < CENT else dollars_text(dollars)


def lock_text(lock: Lock) -> str:
    """The day and the scout of a lock."""
    return shift_text(lock.day, lock.scout)


def fields_text(number: int) -> str:
    """``3 fields``; "nothing to walk" without any."""
    return counted(number, "field") if number else "nothing to walk"
