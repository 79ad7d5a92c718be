"""A SQLite file made into one that cannot be read: newer, another program's, text, torn."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path


def newer(path: Path) -> None:
    """As a stagecast might leave it that is years ahead."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 99")


def foreign(path: Path) -> None:
    """Another program's file under our name."""
    path.unlink()
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE photographs (x)")


def text(path: Path) -> None:
    """A table saved under our name."""
    path.write_text("field_id,date\n" * 400, encoding="ascii")


def torn(path: Path) -> None:
    """Good in its first page, noise in all others."""
    data = path.read_bytes()
    path.write_bytes(data[:4096] + b"\xff" * (len(data) - 4096))
