"""The guide on a terminal: its topics in a list, and one of them laid out."""

from __future__ import annotations

import re
from typing import ClassVar

from rich.console import Console, ConsoleOptions, RenderResult
from rich.markdown import CodeBlock, Heading, Markdown, MarkdownElement
from rich.padding import Padding
from rich.text import Text
from rich.theme import Theme

from stagecast.base.terminal import STYLES, cell, paged, paragraph, table
from stagecast.guide.topics import Topic

WIDEST = 100
"""Columns beyond which a line of text is hard to follow."""

_THEME = Theme(
    {
        "markdown.code": STYLES["soon"],
        "markdown.table.header": "bold",
        "markdown.table.border": "dim",
        "markdown.item.bullet": "",
    }
)
_LINK = re.compile(r"\[([^\]]+)\]\((?:(\w+)\.md)?(?:#[\w-]+)?\)")


class _Plain(Heading):
    """A heading at the left, as one reads it."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Text(self.text.plain, style="bold")


class _Typed(CodeBlock):
    """What can be typed or copied, without a background of its own."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Padding(Text(self.text.plain.rstrip(), style=STYLES["soon"]), (0, 0, 0, 1))


class _Guide(Markdown):
    elements: ClassVar[dict[str, type[MarkdownElement]]] = {
        **Markdown.elements,
        "heading_open": _Plain,
        "fence": _Typed,
    }


def show_topics(console: Console, topics: tuple[Topic, ...]) -> None:
    """One line for each topic, and how one is read."""
    made = table("topic", "what it is about")
    for topic in topics:
        made.add_row(cell(topic.name), cell(topic.line))
    console.print(made)
    console.print()
    paragraph(
        console, "One of them: stagecast guide TOPIC, such as stagecast guide counts", "quiet"
    )


def show_topic(console: Console, topic: Topic) -> None:
    """All of a topic, through the pager where it is longer than the terminal."""
    console.width = min(console.width, WIDEST)
    with paged(console), console.use_theme(_THEME):
        console.print(_Guide(_linked(topic), hyperlinks=False))


def _linked(topic: Topic) -> str:
    """The text with links as a terminal can follow them: by the command that shows their topic."""

    def said(link: re.Match[str]) -> str:
        words, other = link.groups()
        if other in (None, topic.name) or words == f"guide {other}":
            return str(words)
        return f"{words} (`stagecast guide {other}`)"

    return _LINK.sub(said, topic.text)
