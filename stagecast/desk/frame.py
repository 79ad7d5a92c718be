"""What stands round a page of the desk: the list of fields beside it, and how far a new plan is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from stagecast.desk.listing import listing, with_current
from stagecast.desk.season import Latest
from stagecast.pages.render import render
from stagecast.words.notes import NO_ANSWER, planning_text

SCRIPTS = ("desk_live.js", "desk_list.js", "desk_anywhere.js")
"""What every page with a list runs: it updates itself; the list is searched and walked by keys; a
table may be dropped on it."""


BLANK = Markup("")


@dataclass(frozen=True, slots=True)
class Frame:
    """Round a page.

    Attributes
    ----------
    listing: the list of fields; blank while there is no plan yet
    version: of the plan that is shown; "" while there is none
    waits: how far a newer plan is, in words; "" where the page shows the newest
    """

    listing: Markup = BLANK
    version: str = ""
    waits: str = ""


ALONE = Frame()
"""Of a page that stands by itself: nothing is beside it, and it is the newest."""


def frame_of(latest: Latest, *, field_id: str = "") -> Frame:
    """The frame of a page; ``field_id`` is the field that it is about, marked in the list."""
    season = latest.season
    made = BLANK if season is None else listing(season)
    return Frame(
        listing=with_current(made, field_id) if field_id else made,
        version=latest.version,
        waits=waits_text(latest),
    )


def waits_text(latest: Latest) -> str:
    """How far a newer plan is; "" where what is shown is the newest."""
    far = latest.progress
    return "" if far is None else planning_text(far.done, far.of, first=latest.season is None)


def framed(
    template: str,
    frame: Frame,
    *,
    here: str = "",
    scripts: tuple[str, ...] = (),
    **values: Any,
) -> str:
    """A page of the desk in its frame.

    Parameters
    ----------
    template: extends ``desk_base.html``
    here: which of the links at the top it is
    scripts: what it runs besides those of every page
    """
    return render(
        template,
        script=(*SCRIPTS, *scripts),
        connect=True,
        frame=frame,
        no_answer=NO_ANSWER,
        nav=True,
        here=here,
        **values,
    )


def waiting_html(frame: Frame, title: str) -> str:
    """A page that waits for the first plan, or for the newest, and goes on by itself."""
    return framed("desk_wait.html", frame, title=title)
