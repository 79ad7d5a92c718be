"""Commands on the scouting log: add, import and export."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stagecast.cli.options import FieldId, Folder, Text, Texts, argument, day, now, option

if TYPE_CHECKING:
    from stagecast.season.log.book import LogBook, NewEntries

OPTIONS = {
    "field_id": "FIELD", "date": "--date", "who": "--who", "stage": "--stage",
    "share_percent": "--share", "defoliation_percent": "--defoliation", "stand_notes": "--stand",
    "stand_count": "--stand-count", "arrived": "--arrived", "left": "--left",
    "method": "--method", "notes": "--notes", "product": "--product", "time": "--time",
    "reentry_hours": "--reentry-hours", "preharvest_days": "--preharvest-days",
    "corrects": "--corrects", "set": "--set",
}  # fmt: skip
"""Column of the log's table, and ``set`` -> the option that gives it."""


def book_of(folder: Path) -> LogBook:
    """The log of a folder; SeasonProblems where it is no season folder."""
    from stagecast.season.log.book import LogBook

    return LogBook.of(folder, called=OPTIONS)


def log(book: LogBook, entries: NewEntries, *, entered_at: dt.datetime) -> None:
    """Add entries and acknowledge each by its id, once it is on the disk."""
    from stagecast.base.terminal import console, paragraph
    from stagecast.season.log.entries import entry_id
    from stagecast.words.log_entries import entry_text

    recorded = book.record(entries, entered_at=entered_at)
    screen = console()
    for entry in recorded.entries:
        said = "logged" if entry_id(entry) in recorded.new else "in the log already:"
        paragraph(screen, f"{said} {entry_text(entry)}")
    for doubt in recorded.doubts:
        paragraph(screen, f"doubtful: {doubt.sentence()}")


Table = Annotated[Path, argument("FILE", "The table, as CSV.")]
Date = Annotated[
    Text, option("--date", "DATE", "The day of the visit or treatment. Default: today.")
]
Who = Annotated[Text, option("--who", "NAME", "Who looked.")]
Stage = Annotated[Text, option("--stage", "STAGE", "Growth stage seen, such as R3.")]
Share = Annotated[Text, option("--share", "PERCENT", "Percent of plants in that stage or beyond.")]
Defoliation = Annotated[Text, option("--defoliation", "PERCENT", "Leaf loss of the whole canopy.")]
Stand = Annotated[Text, option("--stand", "TEXT", "Notes on the stand.")]
StandCount = Annotated[
    Text,
    option(
        "--stand-count",
        "COUNT",
        'Plants at several places, such as "15-inch rows, 17.4 ft: 118, 104 gap 3, 121" (3 ft of '
        'that row in long gaps) or "30-inch hoop: 14, 12, 15".',
    ),
]
Arrived = Annotated[
    Text, option("--arrived", "TIME", "When you came to the field, such as 8:05 or 1:30 pm.")
]
Left = Annotated[Text, option("--left", "TIME", "When you left it.")]
Method = Annotated[Text, option("--method", "TEXT", "How you looked.")]
Notes = Annotated[Text, option("--notes", "TEXT", "Notes of any kind.")]
Sets = Annotated[
    Texts,
    option(
        "--set",
        "SET",
        'One set, such as "25 sweeps: stink bugs adults 3, nymphs 1; corn earworm 0". May be '
        "given more than once.",
    ),
]
Product = Annotated[Text, option("--product", "TEXT", "What was applied.")]
Time = Annotated[Text, option("--time", "TIME", "When it was applied, such as 14:30.")]
Reentry = Annotated[
    Text, option("--reentry-hours", "HOURS", "Restricted-entry interval of its label.")
]
Preharvest = Annotated[
    Text, option("--preharvest-days", "DAYS", "Pre-harvest interval of its label.")
]
Corrects = Annotated[
    Text,
    option(
        "--corrects",
        "ID",
        "The entry that this one takes the place of; what is not given stays as it was there.",
    ),
]
Output = Annotated[Path | None, option("--output", "FILE", "Write to a file.", short="-o")]


app = typer.Typer(
    help="What was seen, counted and applied; nothing is ever lost.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@app.command()
def add(
    folder: Folder,
    field: FieldId,
    date: Date = None,
    who: Who = None,
    stage: Stage = None,
    share: Share = None,
    defoliation: Defoliation = None,
    stand: Stand = None,
    stand_count: StandCount = None,
    arrived: Arrived = None,
    left: Left = None,
    method: Method = None,
    notes: Notes = None,
    sets: Sets = None,
    product: Product = None,
    time: Time = None,
    reentry_hours: Reentry = None,
    preharvest_days: Preharvest = None,
    corrects: Corrects = None,
) -> None:
    """Log a visit, a treatment or both.

    At a terminal, without any of these options, it asks step by step.
    """
    given = {
        "date": date, "who": who, "stage": stage, "share_percent": share,
        "defoliation_percent": defoliation, "stand_count": stand_count, "stand_notes": stand,
        "arrived": arrived, "left": left,
        "method": method, "notes": notes, "product": product, "time": time,
        "reentry_hours": reentry_hours, "preharvest_days": preharvest_days,
    }  # fmt: skip
    said = {column: text for column, text in given.items() if text is not None}
    book = book_of(folder)
    said["field_id"] = book.field(field)
    if corrects is not None:
        log(book, book.correction(book.entry(corrects), said, sets or None), entered_at=now())
        return
    said.setdefault("date", day(None, option="--date").isoformat())
    if sets or said.keys() - {"field_id", "date"}:
        log(book, book.new_entries(said, sets or ()), entered_at=now())
    else:
        _prompt(folder, book, said)


def _prompt(folder: Path, book: LogBook, said: dict[str, str]) -> None:
    """Ask for everything; where that is cut short, say how to go on with what was typed."""
    import sys

    from stagecast.base.errors import SeasonProblems, StagecastError
    from stagecast.base.textfiles import clean
    from stagecast.cli.log_prompts import Answers, ask, resumed

    message = "nothing was given that could be logged"
    step = (
        "give at least one of --stage, --set, --defoliation, --stand, --stand-count, --notes or "
        "--product"
    )
    nothing = SeasonProblems.of("log add", message, next_step=step)
    if not sys.stdin.isatty():
        raise nothing
    answers = Answers(said)
    try:
        ask(book, answers)
        if not answers.sets and answers.given.keys() <= {"field_id", "date"}:
            raise nothing
        log(book, book.new_entries(answers.given, answers.sets), entered_at=now())
    except (KeyboardInterrupt, EOFError, StagecastError) as error:
        typer.echo(f"\nNothing was logged. To go on with what you typed:\n"
                   f"{clean(resumed(folder, answers))}", err=True)  # fmt: skip
        if isinstance(error, StagecastError):
            raise
        raise typer.Exit(2) from None


@app.command("import")
def import_(folder: Folder, table: Table) -> None:
    """Log a table of visits and treatments.

    All of it or nothing; twice is as good as once.
    """
    from stagecast.base.errors import Problem, SeasonProblems
    from stagecast.base.terminal import console, paragraph
    from stagecast.season.log.book import NewEntries
    from stagecast.season.log.table import read_log_csv
    from stagecast.words.notes import counted

    book = book_of(folder)
    read = read_log_csv(table, names=book.names)
    errors = [problem for problem in read.problems if not problem.doubtful]
    if errors:
        nothing = Problem(table.name, "nothing was logged", next_step="correct it and repeat")
        raise SeasonProblems([*errors, nothing])
    entries = NewEntries(read.visits, read.treatments)
    recorded = book.record(entries, entered_at=now(), label=table.name, lines=read.lines)
    screen = console()
    for doubt in (*read.problems, *recorded.doubts):
        paragraph(screen, f"doubtful: {doubt.sentence()}")
    if read.us_order:
        paragraph(screen, f"Dates with slashes were read as month/day/year in {table.name}.")
    visits = sum(visit.visit_id in recorded.new for visit in read.visits)
    treatments = len(recorded.new) - visits
    known = len(recorded.entries) - len(recorded.new)
    said = f"{counted(visits, 'visit')} and {counted(treatments, 'treatment')} logged"
    paragraph(screen, f"{table.name}: {said}, {known} in the log already")


@app.command()
def export(folder: Folder, output: Output = None) -> None:
    """Print the log as a table that import reads back.

    Every entry is in it, also those corrected since.
    """
    import sys

    from stagecast.season.folder import require_folder
    from stagecast.season.log.entries import LOG_FILE
    from stagecast.season.log.store import LogStore
    from stagecast.season.log.table import save_log_csv, write_log_csv

    require_folder(folder)
    text = write_log_csv(LogStore(folder / LOG_FILE).all_entries())
    if output is None:
        sys.stdout.write(text)  # echo would leave out what looks like a colour
    else:
        save_log_csv(output, text)
