"""Commands that read a season folder and say what it means: stages, windows, revisit, plan."""

from __future__ import annotations

import contextlib
import datetime as dt
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import (
    As,
    AsOf,
    AsScreen,
    Every,
    EveryLine,
    Folder,
    Format,
    Notes,
    Only,
    Screen,
    Text,
    Texts,
    day,
    open_season,
    option,
    print_document,
    print_json,
    progress,
)

if TYPE_CHECKING:
    from stagecast.files.season import Listing
    from stagecast.screens.screen import ShownList
    from stagecast.visits.season_day import FieldDay, SeasonDay


On = Annotated[
    Text,
    option(
        "--on",
        "DATE",
        "Say how likely each stage is on this day. Default: the day of the forecast.",
    ),
]
Pests = Annotated[
    bool,
    typer.Option(
        "--pests",
        help="Flights of pests instead: heat against the mean date, by past years in traps.csv.",
    ),
]


def stages(
    folder: Folder,
    as_of: AsOf = None,
    on: On = None,
    format_: As = Format.table,
    field: Only = None,
    notes: Notes = False,
) -> None:
    """Growth stage of every field now and next.

    VE to R8, each with its range of days.
    """
    from functools import partial

    from stagecast.files.season import STAGES
    from stagecast.screens.stages import show_stages

    season, fields = _season(folder, as_of, field)
    asked = season.as_of if on is None else _in_season(season, day(on, option="--on"))
    listing = STAGES._replace(document=partial(STAGES.document, on=asked))
    _tell(season, fields, format_, partial(show_stages, on=asked), listing, _shown(field, notes))


def _in_season(season: SeasonDay, on: dt.date) -> dt.date:
    """The day itself; an error when it lies in another year than the season."""
    from stagecast.base.errors import SeasonProblems

    year = season.settings.year
    if on.year == year:
        return on
    message, accepted = "not in the season's year", f"a date in {year}"
    raise SeasonProblems.of("--on", message, found=on.isoformat(), accepted=accepted)


def windows(
    folder: Folder,
    as_of: AsOf = None,
    format_: As = Format.table,
    field: Only = None,
    every: Every = False,
    notes: Notes = False,
) -> None:
    """When each scouting window opens and closes.

    Those of the crop and of its pests, and why.
    """
    from stagecast.files.season import WINDOWS
    from stagecast.screens.plan import show_windows

    season, fields = _season(folder, as_of, field)
    _tell(season, fields, format_, show_windows, WINDOWS, _shown(field, notes, every))


def revisit(
    folder: Folder,
    as_of: AsOf = None,
    format_: As = Format.table,
    field: Only = None,
    every: Every = False,
    notes: Notes = False,
) -> None:
    """When to be back in every field, and why.

    And what to look for there.
    """
    from stagecast.files.season import VISITS
    from stagecast.screens.plan import show_revisit

    season, fields = _season(folder, as_of, field, by_need=True)
    _tell(season, fields, format_, show_revisit, VISITS, _shown(field, notes, every))


def today(
    folder: Folder, as_of: AsOf = None, format_: AsScreen = Screen.table, every: EveryLine = False
) -> None:
    """What to do this morning, in at most 24 lines.

    What to decide, where to walk, what comes, what is new.
    """
    from stagecast.base.errors import SeasonProblems, StoreError
    from stagecast.base.terminal import console
    from stagecast.files.today import today_document
    from stagecast.screens.today import show_today
    from stagecast.season.mornings import keep_morning, read_mornings
    from stagecast.week.morning import morning_of, to_keep

    season = open_season(folder, as_of=day(as_of), routed=True)
    kept = int(season.knowledge.alerts.kept_mornings)
    mornings = read_mornings(folder)
    told = morning_of(season, mornings.before(season.as_of, most_days=kept))
    # First, since whoever reads the screen may stop reading. What is new tomorrow is held against
    # this; a folder that cannot be written only loses that.
    with contextlib.suppress(StoreError):
        morning = to_keep(season, mornings.days.get(season.as_of))
        keep_morning(folder, season.as_of, morning, most=kept)
    if format_ is Screen.json:
        print_json(today_document(told))
    else:
        show_today(console(), told, every=every)
    if season.loaded.refused:
        raise SeasonProblems(season.loaded.refused)


def plan(
    folder: Folder,
    as_of: AsOf = None,
    format_: As = Format.table,
    field: Only = None,
    every: Every = False,
    notes: Notes = False,
) -> None:
    """Fields by need, and the days of the week's route.

    And what to look for in each.
    """
    from stagecast.files.season import PLAN
    from stagecast.screens.plan import show_plan

    season, fields = _season(folder, as_of, field, by_need=True)
    _tell(season, fields, format_, show_plan, PLAN, _shown(field, notes, every))


def skill(
    folder: Folder, as_of: AsOf = None, format_: As = Format.table, pests: Pests = False
) -> None:
    """How far off past forecasts were.

    Every stage seen is held against what was forecast days before.
    """
    if pests:
        _pest_skill(folder, day(as_of), format_)
        return
    from stagecast.base.errors import SeasonProblems
    from stagecast.base.terminal import console
    from stagecast.files.skill import STAGE_COLUMNS, skill_document
    from stagecast.forecast.skill import hindcast, summarise
    from stagecast.screens.skill import show_skill

    found = hindcast(folder, as_of=day(as_of))
    rows = summarise(found.hindcasts)
    if format_ is Format.table:
        show_skill(console(), found, rows)
    else:
        document = skill_document(found, rows)
        print_document(document, document["rows"], STAGE_COLUMNS, format_)
    if found.loaded.refused:
        raise SeasonProblems(found.loaded.refused)


def _pest_skill(folder: Path, as_of: dt.date, form: Format) -> None:
    from stagecast.base.terminal import console
    from stagecast.files.skill import TRAP_COLUMNS, trap_skill_document, trap_skill_rows
    from stagecast.forecast.load import read_folder
    from stagecast.pests.traps.history import season_histories
    from stagecast.screens.skill import show_trap_skill

    read = read_folder(folder)
    histories = list(season_histories(read, as_of=as_of).values())
    if form is Format.table:
        show_trap_skill(console(), histories, read.season, as_of=as_of)
    else:
        year = read.season.settings.year
        document = trap_skill_document(histories, as_of=as_of, year=year)
        print_document(document, trap_skill_rows(document), TRAP_COLUMNS, form)


def _season(
    folder: Path, as_of: Text, only: Texts, *, by_need: bool = False
) -> tuple[SeasonDay, Sequence[FieldDay]]:
    """The season on the day, and the fields asked for, or all; ids may be given in any case."""
    from stagecast.base.errors import Problem, SeasonProblems
    from stagecast.forecast.field_names import no_date_yet
    from stagecast.week.week import fields_by_need

    with progress():
        season = open_season(folder, as_of=day(as_of), routed=by_need)
        fields = fields_by_need(season) if by_need else season.fields
    if not only:
        return season, fields
    ids = season.loaded.season.field_ids
    # Two ids may differ in case alone; then only the one typed is meant.
    named = {
        asked: {i for i in ids if i == asked}
        or {i for i in ids if i.casefold() == asked.casefold()}
        for asked in only
    }
    unknown = [asked for asked, found in named.items() if not found]
    if unknown:
        message = "there is no such field in fields.csv"
        shown = ", ".join(ids[:12]) + (", ..." if len(ids) > 12 else "")
        raise SeasonProblems(
            [Problem("--field", message, found=i, accepted=shown) for i in unknown]
        )
    wanted = set().union(*named.values())
    told = season.loaded.season
    undated = [no_date_yet(f.field_id, told) for f in told.undated if f.field_id in wanted]
    if wanted - {f.field_id for f in fields}:
        raise SeasonProblems(undated or season.loaded.refused)
    return season, [f for f in fields if f.field_id in wanted]


def _shown(only: Texts, notes: bool, every: bool = False) -> ShownList:
    from stagecast.screens.screen import ShownList

    return ShownList(in_detail=bool(only), every=every, notes=notes)


def _tell(
    season: SeasonDay,
    fields: Sequence[FieldDay],
    form: Format,
    show: Callable[..., None],
    listing: Listing,
    shown: ShownList,
) -> None:
    """Show or print the fields; then say which could not be forecast, and fail."""
    from stagecast.base.errors import SeasonProblems
    from stagecast.base.terminal import console, paged

    if form is Format.table:
        screen = console()
        with progress(), paged(screen):
            show(screen, season, fields, shown=shown)
    else:
        document = listing.document(season, fields)
        print_document(document, listing.rows(document), listing.columns, form)
    if season.loaded.refused and not shown.in_detail:
        raise SeasonProblems(season.loaded.refused)
