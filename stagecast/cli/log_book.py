"""The log of a season folder, as options of a command name what goes into it."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stagecast.scouting.log_book import Entries, LogBook

OPTIONS = {
    "field_id": "FIELD", "date": "--date", "who": "--who", "stage": "--stage",
    "share_percent": "--share", "defoliation_percent": "--defoliation", "stand_notes": "--stand",
    "method": "--method", "notes": "--notes", "product": "--product", "time": "--time",
    "reentry_hours": "--reentry-hours", "preharvest_days": "--preharvest-days",
    "corrects": "--corrects", "set": "--set",
}  # fmt: skip
"""Column of the log's table, and ``set`` -> the option that gives it."""


def book_of(folder: Path) -> LogBook:
    """The log of a folder; SeasonProblems where it is no season folder."""
    from stagecast.scouting.log_book import LogBook

    return LogBook.of(folder, called=OPTIONS)


def log(book: LogBook, entries: Entries, *, entered_at: dt.datetime) -> None:
    """Add entries and acknowledge each by its id, once it is on the disk."""
    from stagecast.outputs.screen import console, paragraph
    from stagecast.scouting.log_book import entry_text
    from stagecast.season.log_content import entry_id

    recorded = book.record(entries, entered_at=entered_at)
    screen = console()
    for entry in recorded.entries:
        said = "logged" if entry_id(entry) in recorded.new else "in the log already:"
        paragraph(screen, f"{said} {entry_text(entry)}")
    for doubt in recorded.doubts:
        paragraph(screen, f"doubtful: {doubt.sentence()}")
