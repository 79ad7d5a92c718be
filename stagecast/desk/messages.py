"""What the desk says back: links, messages and questions."""

from __future__ import annotations

import datetime as dt
import hashlib
import html
import re
from collections.abc import Iterator, Sequence
from urllib.parse import urlencode

from starlette.responses import HTMLResponse, Response

from stagecast.base.errors import StagecastError
from stagecast.pages.render import render
from stagecast.screens.screen import day_text
from stagecast.season.log.book import NewEntries
from stagecast.season.log.entries import AnyEntry, LoggedVisit
from stagecast.words.counts import number_text


def link(page: str, **query: str) -> str:
    """The address of a page; what it is about stands in the query, never in the path."""
    return f"/{page}?{urlencode(query)}"


_META = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')


def page(text: str, status: int = 200) -> Response:
    """A page with its own policy as a header too, and in no frame."""
    found = _META.search(text)
    assert found is not None, "every page says what a browser may do with it"
    policy = f"{html.unescape(found[1])}; frame-ancestors 'none'"
    return HTMLResponse(text, status, headers={"Content-Security-Policy": policy})


MANY = 200
"""From how many of one pest in one set on one is asked whether it is so: 20 typed as 200."""


def to_ask(entries: NewEntries, *, as_of: dt.date, old: AnyEntry | None = None) -> list[str]:
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


MOST_SHOWN = 50


def message_html(title: str, sentences: Sequence[str], *, nav: bool = False) -> str:
    """A page of sentences; links to the other pages where they may be followed."""
    return render("desk_message.html", title=title, sentences=shown(sentences), nav=nav, here="")


def broken_html(error: StagecastError) -> str:
    """The page of a season folder that cannot be worked out just now."""
    return message_html("The season folder needs a look", error.sentences(), nav=True)


def opened_html(target: str) -> str:
    """The page that goes on to another one of ours."""
    return render("desk_opened.html", target=target)


def shown(sentences: Sequence[str]) -> list[str]:
    """The first so many, and how many more there are."""
    left = len(sentences) - MOST_SHOWN
    return [*sentences[:MOST_SHOWN], *([f"and {left:,} more"] if left > 0 else [])]
