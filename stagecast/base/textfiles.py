"""Files of text that people give us, and text that a terminal may print."""

from __future__ import annotations

import unicodedata
from pathlib import Path

from stagecast.base.errors import Problem

EMOJI_JOINER = "\u200d"
_PORTS = [f"{port}{number}" for port in ("COM", "LPT") for number in "0123456789\u00b9\u00b2\u00b3"]
_DEVICES = frozenset({"CON", "PRN", "AUX", "NUL", *_PORTS})
_MARK = "\ufffd"
_LAYOUT = frozenset("\n\r\t")
_TURNS = ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")


def read_bytes(
    path: Path, *, label: str, largest_bytes: int, missing_step: str | None = None
) -> tuple[bytes, Problem | None]:
    """Return what a file holds, or the reason why it cannot be read.

    Parameters
    ----------
    label: the file's name as a person would say it, for problems.
    largest_bytes: A larger file is refused.
    missing_step: optional; what the person can do when the file is not there.

    Notes
    -----
    Only an ordinary file is opened: a pipe may never begin, and a device never end.
    """
    step = None
    try:
        if path.is_dir():
            message = "this is a folder, not a file"
        elif not path.exists() and path.is_symlink():
            message, step = "this is a link that leads nowhere", "put the file itself in its place"
        elif not path.exists():
            message, step = "there is no such file", missing_step
        elif not path.is_file():
            message = "this is not an ordinary file"
        else:
            with path.open("rb") as stream:
                raw = stream.read(largest_bytes + 1)
            if len(raw) <= largest_bytes:
                return raw, None
            message = f"larger than {largest_bytes / 1e6:g} MB, far too large for such a file"
    except OSError as error:
        message = f"cannot be read ({error.strerror})"
    return b"", Problem(label, message, next_step=step)


def reserved_name(name: str) -> bool:
    """Whether Windows keeps a name for itself, whatever its ending, or drops a part of it.

    learn.microsoft.com/windows/win32/fileio/naming-a-file: devices, and a dot or blank at the end.
    """
    return name.partition(".")[0].rstrip().upper() in _DEVICES or name.endswith((".", " "))


def unseen_character(text: str) -> str | None:
    """First character that no screen shows: control, format or line marks, or none of Unicode."""
    if text.isprintable():
        return None
    return next((char for char in text if _unseen(char)), None)


def clean(text: str) -> str:
    """Text a terminal may print: unseen characters, but for the joiner of emoji, become marks.

    What a person typed is kept in files as it is; only the screen is protected.
    """
    if text.isprintable():
        return text
    return "".join(_MARK if _unseen(c) and c != EMOJI_JOINER else c for c in text)


def steering_character(text: str) -> str | None:
    """First character that steers a screen or the direction of writing, instead of being read.

    Line ends and tabs are left to a text of several lines.
    """
    if text.isprintable():
        return None
    return next((char for char in text if _steers(char)), None)


def steered_by_none(text: str) -> str:
    """Text of any number of lines with marks in the place of what would steer."""
    if steering_character(text) is None:
        return text
    return "".join(_MARK if _steers(char) else char for char in text)


def _steers(char: str) -> bool:
    if char in _LAYOUT:
        return False
    return unicodedata.category(char) == "Cc" or unicodedata.bidirectional(char) in _TURNS


def _unseen(char: str) -> bool:
    category = unicodedata.category(char)
    return category.startswith("C") or category in ("Zl", "Zp")
