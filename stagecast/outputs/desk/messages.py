"""Pages that say a few sentences: what is wrong, what is not there, what was refused."""

from __future__ import annotations

from collections.abc import Sequence

from stagecast.errors import StagecastError
from stagecast.outputs.pages.render import render

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
