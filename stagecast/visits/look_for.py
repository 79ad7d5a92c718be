"""What a visit is for: the pests and signs to look for on a day, and how to take counts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest
from stagecast.pests.thresholds import FieldFacts, ShownThreshold, judged_by, standing
from stagecast.pests.windows import ScoutingWindow


@dataclass(frozen=True, slots=True)
class CropSign:
    """What the crop itself shows, as windows.toml says it."""

    text: str


@dataclass(frozen=True, slots=True)
class PestSign:
    """A pest, its signs by its own file, and the thresholds to go by at the stage."""

    pest: Pest
    text: str
    thresholds: tuple[ShownThreshold, ...]


@dataclass(frozen=True, slots=True)
class AlsoPossible:
    """Pests whose windows are open too, beyond those that one goes out with a plan for."""

    pests: tuple[Pest, ...]


@dataclass(frozen=True, slots=True)
class Soon:
    """Pests that heat or catches bring within a week of a visit, and from when."""

    pests: tuple[tuple[Pest, dt.date], ...]


LookFor = CropSign | PestSign | AlsoPossible | Soon


def pests_named(look_for: Sequence[LookFor]) -> set[str]:
    """Ids of all pests in what to look for."""
    named: set[str] = set()
    for one in look_for:
        match one:
            case PestSign(pest):
                named.add(pest.id)
            case AlsoPossible(pests):
                named |= {pest.id for pest in pests}
            case Soon(coming):
                named |= {pest.id for pest, _ in coming}
    return named


def what_to_look_for(
    windows: Sequence[ScoutingWindow],
    day: dt.date,
    *,
    stage: str,
    region: str,
    knowledge: Knowledge,
    facts: FieldFacts,
) -> tuple[tuple[LookFor, ...], str]:
    """What the windows open on a day ask for, the most pressing first; id of the sampling method.

    One goes out with a plan, so only the most pressing pests are described; the others that may
    be about are named.
    """
    open_then = first_of_each(looked_at(windows, day))
    pests = list(dict.fromkeys(w.pest for w in open_then if w.pest is not None))
    planned = pests[: int(knowledge.revisit.planned_pests)]
    look_for: list[LookFor] = []
    for window in open_then:
        if window.pest is None:
            look_for += [sign for text in window.look_for
                         if (sign := CropSign(text)) not in look_for]  # fmt: skip
        elif window.pest in planned:
            pest = knowledge.pests[window.pest]
            found = judged_by(pest, region=region, stage=stage, knowledge=knowledge, facts=facts)
            method = knowledge.sampling.get(window.sample)
            shown = standing(found, unit=None if method is None else method.unit)
            look_for += [PestSign(pest, text, shown) for text in window.look_for]
    others = tuple(knowledge.pests[pest] for pest in pests if pest not in planned)
    if others:
        look_for.append(AlsoPossible(others))
    soon = _soon(windows, day, pests, entering_days=int(knowledge.revisit.entering_days))
    if soon:
        look_for.append(Soon(tuple((knowledge.pests[pest], opens) for pest, opens in soon)))
    critical = [w for w in open_then if w.critical]
    sample = (critical or open_then)[0].sample if open_then else ""
    return tuple(look_for), sample


def first_of_each(windows: Sequence[ScoutingWindow]) -> list[ScoutingWindow]:
    """The first window of each pest, and all of the crop: one pest is looked for once."""
    kept: dict[str, ScoutingWindow] = {}
    for window in windows:
        kept.setdefault(window.pest or f"crop {window.window}", window)
    return list(kept.values())


LAST = 99
"""The place of a pest without one."""


def comes_on(window: ScoutingWindow, *, most_rank: int = LAST) -> dt.date | None:
    """The day on which heat or catches bring a pest that then has a place up to ``most_rank``.

    None of all others, and of those that only heat from memory times.
    """
    opens = window.opens.p50
    if window.pest is None or opens is None or not window.known:
        return None
    rank = window.rank_on(opens)
    return opens if rank is not None and rank <= most_rank else None


def _soon(
    windows: Sequence[ScoutingWindow], day: dt.date, here: Sequence[str], *, entering_days: int
) -> list[tuple[str, dt.date]]:
    limit = day + dt.timedelta(days=entering_days)
    found: dict[str, dt.date] = {}
    for w in windows:
        opens = comes_on(w)
        if w.pest is None or w.pest in here or opens is None:
            continue
        if day < opens <= limit:
            found[w.pest] = min(opens, found.get(w.pest, opens))
    return sorted(found.items(), key=lambda item: item[1])


def looked_at(windows: Iterable[ScoutingWindow], day: dt.date) -> list[ScoutingWindow]:
    """The windows open on a day that one goes out for, the most pressing first.

    A pest that has no place in the field, at its stage and on the day is left out.
    """
    ours = (w for w in windows if is_open(w, day) and (w.pest is None or w.rank_on(day)))
    return sorted(ours, key=lambda window: pressing(window, day))


def pressing(window: ScoutingWindow, day: dt.date) -> tuple[bool, bool, int, bool]:
    """Pests by rank first, since one goes out with a plan; then what the crop itself shows.

    Of two alike the one that heat or catches say is here goes before one that the host stages
    only allow; one whose heat is unknown comes last.
    """
    unknown = window.timing == "heat unknown"
    return window.pest is None, unknown, window.rank_on(day) or LAST, not window.known


def is_open(window: ScoutingWindow, day: dt.date) -> bool:
    """Whether a window is open on a day, by its middle dates."""
    opens, closes = window.opens.p50, window.closes.p50
    return opens is not None and opens <= day and (closes is None or closes >= day)
