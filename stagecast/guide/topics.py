"""Topics of the guide: what there is, what each is about, and which is meant by a word."""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from pathlib import Path

from stagecast.base.errors import SeasonProblems

ORDER = (
    "words", "files", "log", "commands", "week", "visits", "counts", "pests", "weather", "forecast",
    "daily", "pages", "phone", "desk", "region", "json",
)  # fmt: skip
"""In the order in which a newcomer may want them."""

SUGGESTED, LIKENESS = 3, 0.6


@dataclass(frozen=True, slots=True)
class Topic:
    """One file of the guide.

    Attributes
    ----------
    name: the name of its file, as it is typed.
    line: what it is about, in a sentence.
    text: all of it, as Markdown; a heading and the line come first.
    """

    name: str
    line: str
    text: str


def topics() -> tuple[Topic, ...]:
    """Every topic, in the order of the guide."""
    return tuple(_read(name) for name in ORDER)


def topic(name: str) -> Topic:
    """The topic of a name.

    Raises
    ------
    SeasonProblems
        When there is none of the name; those that may be meant are named.
    """
    if name.casefold() in ORDER:
        return _read(name.casefold())
    near = ", ".join(_near(name))
    step = f"near to it: {near}" if near else "run `stagecast guide` for the list of topics"
    raise SeasonProblems.of("guide", "there is no such topic", found=name, next_step=step)


def _read(name: str) -> Topic:
    text = (Path(__file__).parent / f"{name}.md").read_text("utf-8")
    return Topic(name, text.split("\n", 3)[2], text)


def _near(name: str) -> list[str]:
    """Topics that are spelled alike, else those that speak of it, the most first."""
    asked = name.casefold().strip()
    alike = difflib.get_close_matches(asked, ORDER, n=SUGGESTED, cutoff=LIKENESS)
    if alike or not asked:
        return alike
    spoken = {one.name: _times(asked, one.text) for one in topics()}
    return sorted((n for n in ORDER if spoken[n]), key=lambda n: -spoken[n])[:SUGGESTED]


def _times(word: str, text: str) -> int:
    return len(re.findall(rf"\b{re.escape(word)}", text.casefold()))
