"""What a browser sends: the texts of a form, and files byte for byte."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from urllib.parse import parse_qsl

from stagecast.base.errors import SeasonProblems

MOST_INPUTS = 3_000
"""Of one form: the settings of a season have a few hundred."""

MOST_PARTS = 5_000
_BOUNDARY = re.compile(r'multipart/form-data; *boundary="?([^"; ]{1,200})"?', re.IGNORECASE)
_NAME = re.compile(rb'[; ]name="([^"]*)"', re.IGNORECASE)
_FILE = re.compile(rb'[; ]filename="([^"]*)"', re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Sent:
    """A form as it was sent: texts by input, and files as (name, bytes)."""

    texts: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, tuple[str, bytes]] = field(default_factory=dict)


def read_texts(body: bytes, *, most: int = MOST_INPUTS) -> dict[str, str]:
    """What a form without a file sent, with line ends as files have them.

    ``most``: inputs that it may have.

    Raises
    ------
    SeasonProblems
        Where it is no such form.
    """
    try:
        pairs = parse_qsl(
            body.decode("ascii"), keep_blank_values=True, max_num_fields=most, errors="strict"
        )
    except UnicodeDecodeError as error:
        raise _no_text() from error
    except ValueError as error:
        raise _no_form() from error
    return {name: _lines(text) for name, text in reversed(pairs)}


def read_parts(body: bytes, content_type: str) -> Sent:
    """The form of a body; the first of two parts of a name counts.

    Raises
    ------
    SeasonProblems
        Where it is no such form.

    References
    ----------
    RFC 7578, ``multipart/form-data``.
    """
    found = _BOUNDARY.fullmatch(content_type.strip())
    if found is None:
        raise _no_form()
    texts: dict[str, str] = {}
    files: dict[str, tuple[str, bytes]] = {}
    for head, data in _parts(body, found[1].encode("latin-1", "replace")):
        name = _NAME.search(head)
        if name is None:
            continue
        key, file = _text(name[1]), _FILE.search(head)
        if file is not None:
            files.setdefault(key, (_text(file[1]), data))
        else:
            texts.setdefault(key, _lines(_text(data)))
    return Sent(texts, files)


def _parts(body: bytes, boundary: bytes) -> Iterator[tuple[bytes, bytes]]:
    pieces = (b"\r\n" + body).split(b"\r\n--" + boundary)[1:]
    if len(pieces) > MOST_PARTS or not pieces or not pieces[-1].startswith(b"--"):
        raise _no_form()
    for piece in pieces[:-1]:
        head, _, data = piece.removeprefix(b"\r\n").partition(b"\r\n\r\n")
        yield head, data


def _text(raw: bytes) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError as error:
        raise _no_text() from error


def _lines(text: str) -> str:
    """A text with line ends as files have them."""
    return text.replace("\r\n", "\n")


def _no_text() -> SeasonProblems:
    message, step = "it holds bytes that are no text", "type it once more, or save it as UTF-8"
    return SeasonProblems.of("Form", message, next_step=step)


def _no_form() -> SeasonProblems:
    message, step = "this is not what a form of the desk sends", "use the form of the desk"
    return SeasonProblems.of("Form", message, next_step=step)
