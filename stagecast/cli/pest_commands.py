"""Commands that look something up: one pest, every value with its source, the guide."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import (
    As,
    AsOf,
    AsScreen,
    Format,
    Screen,
    a_field,
    a_pest,
    a_topic,
    argument,
    day,
    option,
    print_document,
    print_json,
)

if TYPE_CHECKING:
    from stagecast.knowledge import Knowledge


Name = Annotated[
    str | None,
    argument(
        "NAME",
        "A pest: its id, name, short or scientific name. Without it: the list of all.",
        completed=a_pest,
    ),
]
SomeFolder = Annotated[Path | None, argument("DIR", "A season folder. Default: the library alone.")]
OneField = Annotated[
    str | None, option("--field", "ID", "The pest in this field.", completed=a_field)
]
OneStation = Annotated[
    str | None,
    option("--station", "ID", "The pest at this weather station. Default: every station in use."),
]
Numbers = Annotated[
    bool, typer.Option("--numbers", help="Print the numbers behind the chart, week by week.")
]
History = Annotated[
    bool,
    typer.Option("--history", help="Print figures that newer ones replaced, by state."),
]
Tags = Annotated[
    list[str] | None,
    option(
        "--tag", "TAG", "Only values with this tag, such as MEMORY. May be given more than once."
    ),
]
About = Annotated[
    str | None,
    option("--about", "TEXT", "Only values whose place holds this text, such as corn-earworm."),
]
Asked = Annotated[
    str | None,
    argument("TOPIC", "One topic. Without it: the list of them.", completed=a_topic),
]


def pest(
    name: Name = None,
    folder: SomeFolder = None,
    field: OneField = None,
    station: OneStation = None,
    as_of: AsOf = None,
    numbers: Numbers = False,
    history: History = False,
    format_: AsScreen = Screen.table,
) -> None:
    """One pest, or the list of all.

    Its timing this season against past ones, thresholds, and how to sample it.
    """
    from stagecast.base.terminal import console
    from stagecast.files import pest as documents
    from stagecast.knowledge import load
    from stagecast.screens.pest_page import show_page, show_pests
    from stagecast.season.settings.pest_names import find_pest

    as_json = format_ is Screen.json
    if history and not as_json:
        _history(name, folder)
        return
    if folder is None:
        _needs_folder(field=field, station=station, as_of=as_of, numbers=numbers)
    elif name is not None:
        _in_season(folder, name, field, station, as_of, numbers=numbers, as_json=as_json)
        return
    knowledge = load()
    if name is not None:
        found = find_pest(name, knowledge.pests)
        if as_json:
            print_json(documents.page_document(found, knowledge))
        else:
            show_page(console(), found, knowledge)
        return
    pests = sorted(knowledge.pests.values(), key=lambda pest: pest.id)
    if as_json:
        print_json(documents.pests_document(pests))
    else:
        show_pests(console(), pests)


def _history(name: str | None, folder: Path | None) -> None:
    from stagecast.base.errors import SeasonProblems
    from stagecast.base.terminal import console
    from stagecast.screens.pest_page import show_history
    from stagecast.season.settings.pest_names import find_pest

    if name is None:
        step = "name the pest: `stagecast pest NAME --history`"
        raise SeasonProblems.of("--history", "no pest is named", next_step=step)
    knowledge = knowledge_of(folder)
    show_history(console(), find_pest(name, knowledge.pests), knowledge)


def _in_season(
    folder: Path,
    name: str,
    field: str | None,
    station: str | None,
    as_of: str | None,
    *,
    numbers: bool,
    as_json: bool,
) -> None:
    from stagecast.base.errors import SeasonProblems
    from stagecast.base.terminal import console
    from stagecast.files.pest import season_document
    from stagecast.screens.pest import show_pest
    from stagecast.visits.pest_season import pest_season

    if field is not None and station is not None:
        message, step = "a field was named too", "give one of them"
        raise SeasonProblems.of("--station", message, next_step=step)
    found = pest_season(folder, name, as_of=day(as_of), field=field, station=station)
    if as_json:
        print_json(season_document(found))
    else:
        show_pest(console(), found, numbers=numbers, one_field=field is not None)
    if found.loaded.refused and field is None and station is None:
        raise SeasonProblems(found.loaded.refused)


def _needs_folder(**given: str | bool | None) -> None:
    """Refuse options that mean nothing without a season folder."""
    from stagecast.base.errors import Problem, SeasonProblems

    step = "name the folder after the pest: `stagecast pest NAME DIR`"
    wrong = [f"--{name.replace('_', '-')}" for name, value in given.items() if value]
    if wrong:
        raise SeasonProblems(
            [Problem(option, "this needs a season folder", next_step=step) for option in wrong]
        )


def sources(
    folder: SomeFolder = None, tag: Tags = None, about: About = None, format_: As = Format.table
) -> None:
    """Every value, with its unit and its source.

    And how it was come by.
    """
    from stagecast.base.terminal import console
    from stagecast.files.sources import COLUMNS, sources_document
    from stagecast.screens import sources as sources_view
    from stagecast.words.sources import source_rows

    knowledge = knowledge_of(folder)
    tags = [_tag(text) for text in tag or ()]
    rows = sources_view.chosen(source_rows(knowledge), tags=tags, about=about)
    if format_ is Format.table:
        sources_view.show_sources(console(), rows, knowledge)
    else:
        document = sources_document(rows, knowledge)
        print_document(document, document["values"], COLUMNS, format_)


def _tag(text: str) -> str:
    """A tag as it is written, typed in any case."""
    from stagecast.base.errors import SeasonProblems
    from stagecast.words.sources import TAGS

    if text.upper() in TAGS:
        return text.upper()
    message, accepted = "there is no such tag", ", ".join(TAGS)
    raise SeasonProblems.of("--tag", message, found=text, accepted=accepted)


def knowledge_of(folder: Path | None) -> Knowledge:
    """What is known: of stagecast alone, or with what a season folder adds to it."""
    from stagecast.knowledge import load
    from stagecast.season.folder import read_season

    return load() if folder is None else read_season(folder).knowledge


def guide(topic: Asked = None) -> None:
    """How things work, a topic at a time.

    Without a topic: the list of them.
    """
    from stagecast.base.terminal import console
    from stagecast.guide.shown import show_topic, show_topics
    from stagecast.guide.topics import topic as topic_of
    from stagecast.guide.topics import topics

    if topic is None:
        show_topics(console(), topics())
    else:
        show_topic(console(), topic_of(topic))
