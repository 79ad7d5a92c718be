"""What a visit is for: what the windows open on its day say to look for, and how to sample."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from stagecast.dates import said_day
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import Pest
from stagecast.scouting.thresholds import threshold_text, thresholds_at
from stagecast.scouting.windows import ScoutingWindow


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
