"""What is likely a slip of the hand, and is asked about before it is logged."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Sequence

from stagecast.outputs.desk.messages import shown
from stagecast.outputs.screen import day_text
from stagecast.scouting.judge_counts import number_text
from stagecast.scouting.log_book import Entries
from stagecast.season.log_content import AnyEntry
from stagecast.season.log_entries import LoggedVisit

MANY = 200
"""From how many of one pest in one set on one is asked whether it is so: 20 typed as 200."""


def to_ask(entries: Entries, *, as_of: dt.date, old: AnyEntry | None = None) -> list[str]:
    """Sentences to say yes to; what the entry that is corrected says already is not asked again."""
    known = set(_odd(old, as_of)) if isinstance(old, LoggedVisit) else set()
    found = (text for visit in entries.visits for text in _odd(visit, as_of))
    return shown([text for text in found if text not in known])


def answer_to(asked: Sequence[str]) -> str:
    """What a form sends as the yes to these very sentences, and to no others."""
    return hashlib.sha256("\n".join(asked).encode("utf-8")).hexdigest()[:16]


def _odd(visit: LoggedVisit, as_of: dt.date) -> Iterator[str]:
    if visit.date > as_of:
        day, today = day_text(visit.date, weekday=True), day_text(as_of, weekday=True)
        yield (
            f"The visit is of {day}, after {today}, the day of the forecast. It would take no "
            "part before its day comes."
        )
    for one in visit.sets:
        for count in one.counts:
            if count.number >= MANY:
                what = f"{count.pest.replace('-', ' ')} {count.life_stage}".strip()
                yield f"A set has {number_text(count.number)} {what}."
