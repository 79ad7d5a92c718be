"""Commands on what stagecast knows: one pest, and every value with its source."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import As, AsOf, Format, Screen, argument, day, option

if TYPE_CHECKING:
    from stagecast.knowledge import Knowledge


Name = Annotated[
    str | None,
    argument(
        "NAME", "A pest: its id, name, short or scientific name. Without it: the list of all."
    ),
]
SomeFolder = Annotated[Path | None, argument("DIR", "A season folder. Default: the library alone.")]
OneField = Annotated[str | None, option("--field", "ID", "The pest in this field.")]
OneStation = Annotated[
    str | None,
    option("--station", "ID", "The pest at this weather station. Default: every station in use."),
]
Numbers = Annotated[
    bool, typer.Option("--numbers", help="Print the numbers behind the chart, week by week.")
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


def pest(
    name: Name = None,
    folder: SomeFolder = None,
    field: OneField = None,
    station: OneStation = None,
    as_of: AsOf = None,
    numbers: Numbers = False,
    format_: Annotated[
        Screen, typer.Option("--format", help="How to print the result.")
    ] = Screen.table,
) -> None:
    """One pest: timing this season against past ones, thresholds here, how to sample it."""
    from stagecast.files import pest as documents
    from stagecast.files.season import to_json
    from stagecast.knowledge import load
    from stagecast.screens.pest_page import show_page, show_pests
    from stagecast.screens.screen import console
    from stagecast.season.settings.pest_names import find_pest

    as_json = format_ is Screen.json
    if folder is None:
        _needs_folder(field=field, station=station, as_of=as_of, numbers=numbers)
    elif name is not None:
        _in_season(folder, name, field, station, as_of, numbers=numbers, as_json=as_json)
        return
    knowledge = load()
    if name is not None:
        found = find_pest(name, knowledge.pests)
        if as_json:
            typer.echo(to_json(documents.page_document(found, knowledge)), nl=False)
        else:
            show_page(console(), found, knowledge)
        return
    pests = sorted(knowledge.pests.values(), key=lambda pest: pest.id)
    if as_json:
        typer.echo(to_json(documents.pests_document(pests)), nl=False)
    else:
        show_pests(console(), pests)


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
    from stagecast.base.errors import Problem, SeasonProblems
    from stagecast.files.pest import season_document
    from stagecast.files.season import to_json
    from stagecast.screens.pest import show_pest
    from stagecast.screens.screen import console
    from stagecast.visits.pest_season import pest_season

    if field is not None and station is not None:
        step = "give one of them"
        raise SeasonProblems([Problem("--station", "a field was named too", next_step=step)])
    known = day(as_of, option="--as-of")
    found = pest_season(folder, name, as_of=known, field=field, station=station)
    if as_json:
        typer.echo(to_json(season_document(found)), nl=False)
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
    """Every value that stagecast works with: its unit, its source, and how it was come by."""
    from stagecast.files import sources as sources_files
    from stagecast.files.season import to_csv, to_json
    from stagecast.screens import sources as sources_view
    from stagecast.screens.screen import console
    from stagecast.words.sources import source_rows

    knowledge = knowledge_of(folder)
    tags = [_tag(text) for text in tag or ()]
    rows = sources_view.chosen(source_rows(knowledge), tags=tags, about=about)
    if format_ is Format.table:
        sources_view.show_sources(console(), rows, knowledge)
        return
    document = sources_files.sources_document(rows, knowledge)
    if format_ is Format.json:
        typer.echo(to_json(document), nl=False)
    else:
        typer.echo(to_csv(document["values"], sources_files.COLUMNS), nl=False)


def _tag(text: str) -> str:
    """A tag as it is written, typed in any case."""
    from stagecast.base.errors import Problem, SeasonProblems
    from stagecast.words.sources import TAGS

    if text.upper() in TAGS:
        return text.upper()
    problem = Problem("--tag", "there is no such tag", found=text, accepted=", ".join(TAGS))
    raise SeasonProblems([problem])


def knowledge_of(folder: Path | None) -> Knowledge:
    """What is known: of stagecast alone, or with what a season folder adds to it."""
    from stagecast.knowledge import load
    from stagecast.season.folder import read_season

    known = load()
    if folder is None:
        return known
    return read_season(folder).knowledge
