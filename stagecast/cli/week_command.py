"""The command that makes the week's route."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import (
    AsOf,
    Days,
    Folder,
    Notes,
    Screen,
    Text,
    Texts,
    a_field,
    check_days,
    day,
    now,
    open_season,
    option,
    print_json,
    progress,
)

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable, Sequence

    from stagecast.base.savefile import NewFile
    from stagecast.week.week import WeekRoute

# A file is written over only where it has this mark near its beginning. A calendar may be anyone's:
# what is not ours stays in it.
GPX_MARK, GEOJSON_MARK, CALENDAR_MARK = (
    b'creator="stagecast"', b'"creator": "stagecast"', b"BEGIN:VCALENDAR",
)  # fmt: skip

Starting = Annotated[Text, option("--starting", "DATE", "First day. Default: today.")]
Done = Annotated[
    Texts,
    option(
        "--done",
        "FIELD",
        "Walked already and not logged yet. May be given more than once.",
        completed=a_field,
    ),
]
Off = Annotated[
    Texts,
    option(
        "--off",
        "[SCOUT=]DATE",
        "A day on which nobody works, or this scout does not. May be given more than once.",
    ),
]
Must = Annotated[
    Texts,
    option(
        "--must",
        "FIELD",
        "Walk this field in any case. May be given more than once.",
        completed=a_field,
    ),
]
From = Annotated[
    Texts,
    option(
        "--from",
        "[SCOUT=]TIME",
        "The first day starts then, such as 13:30 or Kim=1:30pm. Default: as in season.toml.",
    ),
]
At = Annotated[
    Texts,
    option("--at", "[SCOUT=]FIELD", "The first day starts at this field. Default: at home."),
]
Explain = Annotated[
    bool, typer.Option("--explain", help="Print every term of what waiting costs, and the formula.")
]
Looks = Annotated[
    bool, typer.Option("--looks", help="How each field is sampled, and what to look for first.")
]
Beside = Annotated[
    bool,
    typer.Option(
        "--beside-rules",
        help="What two plain rules would come to: nearest field first, due date first.",
    ),
]
Gpx = Annotated[Path | None, option("--gpx", "FILE", "Write GPX routes.")]
GeoJson = Annotated[Path | None, option("--geojson", "FILE", "Write GeoJSON.")]
Calendar = Annotated[
    Path | None,
    option(
        "--calendar",
        "FILE",
        "Write iCalendar events; where the file exists, it is brought up to date.",
    ),
]


def week(
    folder: Folder,
    starting: Starting = None,
    days: Days = 7,
    as_of: AsOf = None,
    done: Done = None,
    off: Off = None,
    must: Must = None,
    from_: From = None,
    at: At = None,
    explain: Explain = False,
    looks: Looks = False,
    notes: Notes = False,
    beside: Beside = False,
    format_: Annotated[
        Screen, typer.Option("--format", help="How to print the result.")
    ] = Screen.table,
    gpx: Gpx = None,
    geojson: GeoJson = None,
    calendar: Calendar = None,
) -> None:
    """The week's route, stop by stop, for every scout.

    Hours go where waiting costs most.
    """
    from stagecast.base.errors import StagecastError
    from stagecast.week.asked import read_asked
    from stagecast.week.problem import WeekRequest
    from stagecast.week.week import route_week

    known = None if as_of is None else day(as_of)
    first = known if starting is None and known else day(starting, option="--starting")
    check_days(days)
    asked = WeekRequest(
        first_day=first,
        days=days,
        done=tuple(done or ()),
        must=tuple(must or ()),
        beside=beside,
    )
    if known is None:
        known = min(first, now().date())
    plain = asked == WeekRequest(first_day=known) and not (off or from_ or at)
    with progress():
        season = open_season(folder, as_of=known, routed=plain)
        asked = read_asked(asked, season.loaded, off=off or (), from_=from_ or (), at=at or ())
        route = route_week(season, asked)
    if starting is not None:
        _in_season(route)
    # Files first, since whoever reads the screen may stop reading; what fails is told after it.
    failed, written = None, []
    try:
        written = _write(route, gpx, geojson, calendar)
    except StagecastError as error:
        failed = error
    _show(route, format_, written, explain=explain, looks=looks, notes=notes)
    if failed is not None:
        raise failed
    _complain(route, asked.must)


def _in_season(route: WeekRoute) -> None:
    """Refuse a first day that was asked for and is no day of the season."""
    from stagecast.base.errors import SeasonProblems

    span = route.season.loaded.span
    if span.first_day <= route.first_day <= span.last_day:
        return
    message = f"no day of the season of {span.year}"
    accepted = f"a day from {span.first_day} to {span.last_day}"
    found = route.first_day.isoformat()
    raise SeasonProblems.of("--starting", message, found=found, accepted=accepted)


def _show(
    route: WeekRoute,
    form: Screen,
    written: Sequence[Path],
    *,
    explain: bool,
    looks: bool,
    notes: bool,
) -> None:
    from stagecast.base.terminal import PHONE, console, paged, paragraph
    from stagecast.files.week import week_document
    from stagecast.screens.screen import ShownList
    from stagecast.screens.week import show_week

    if form is Screen.json:
        print_json(week_document(route, explain=explain))
        return
    screen = console(narrowest=PHONE)
    with paged(screen):
        show_week(screen, route, explain=explain, looks=looks, shown=ShownList(notes=notes))
        for path in written:
            paragraph(screen, f"Wrote {path}")


def _write(
    route: WeekRoute, gpx: Path | None, geojson: Path | None, calendar: Path | None
) -> list[Path]:
    """Write the files asked for, all or none; the calendar goes on from what stood in it."""
    from stagecast.base.savefile import NewFile, save_files
    from stagecast.files.geojson import geojson_text
    from stagecast.files.gpx import gpx_text

    kinds: tuple[tuple[Path | None, bytes, Callable[[Path], bytes]], ...] = (
        (gpx, GPX_MARK, lambda _: gpx_text(route).encode()),
        (geojson, GEOJSON_MARK, lambda _: geojson_text(route).encode()),
        (calendar, CALENDAR_MARK, lambda path: _events(route, path, stamped=now())),
    )
    wanted = [(path, mark, make) for path, mark, make in kinds if path is not None]
    _check([(path, mark) for path, mark, _ in wanted])
    save_files([NewFile(path, make(path), partial(_has, mark)) for path, mark, make in wanted])
    return [path for path, *_ in wanted]


def calendar_file(route: WeekRoute, path: Path, *, stamped: dt.datetime) -> NewFile:
    """The route's stops as a calendar, carried on from what stands in it."""
    from stagecast.base.savefile import NewFile

    data = _events(route, path, stamped=stamped)
    return NewFile(path, data, partial(_has, CALENDAR_MARK))


def _events(route: WeekRoute, path: Path, *, stamped: dt.datetime) -> bytes:
    from stagecast.files.calendar import calendar_bytes

    before = path.read_bytes() if path.exists() else None
    return calendar_bytes(route, before=before, stamped=stamped, file=str(path), done=route.done)


def _check(wanted: Sequence[tuple[Path, bytes]]) -> None:
    """Before anything is written: every file that cannot be, all at once."""
    from stagecast.base.errors import Problem, SeasonProblems, StoreError
    from stagecast.base.savefile import check_target

    problems = []
    seen: set[Path] = set()
    for path, mark in wanted:
        if path.resolve() in seen:
            message = "the same file is given twice"
            problems.append(Problem(str(path), message, next_step="give each its own"))
        seen.add(path.resolve())
        try:
            check_target(path, is_ours=partial(_has, mark))
        except StoreError as error:
            problems.append(Problem(error.path, error.reason, next_step=error.next_step))
    if problems:
        raise SeasonProblems(problems)


def _has(mark: bytes, beginning: bytes) -> bool:
    """Whether a file is of a kind that may be written over; one without anything in it is."""
    return mark in beginning or not beginning.strip()


def _complain(route: WeekRoute, must: tuple[str, ...]) -> None:
    """After the route, say which fields that must be walked are not, and which had no forecast."""
    from stagecast.base.errors import Problem, SeasonProblems
    from stagecast.words.week import left_out_text

    known = {plan.field_id for plan in route.season.fields}
    problems = list(route.season.loaded.refused)
    problems += [
        Problem(
            "--must",
            f"it must be walked and cannot be: {left_out_text(one.why)}",
            field_id=one.field_id,
        )
        for one in route.left_out
        if one.field_id in must and one.field_id in known
    ]
    if problems:
        raise SeasonProblems(problems)
