"""Write pages into files: never over what is somebody else's, under names that are safe."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from pathlib import Path

from stagecast.errors import StoreError, write_step
from stagecast.outputs.pages.pdf import MARK, pdf_bytes
from stagecast.savefile import check_target, save_file

_GENERATOR = re.compile(rb'<meta name="generator" content="stagecast[^"]*">')
_START, _TOP = b"<!doctype html>", 1024
_TAIL = 1024
_PLAIN = re.compile(r"[A-Z0-9]{1,40}(?:-[A-Z0-9]{1,40})?")
_OTHER = re.compile(r"[^a-z0-9]+")


def file_name(field_id: str, ending: str) -> str:
    """A name for the file of a field: ``field-F01.html``.

    Any other id than plain capitals and digits is written in small letters, and told from all
    ids by a digest of it: no two meet, on no file system, and none has a folder in it.
    """
    if _PLAIN.fullmatch(field_id):
        return f"field-{field_id}.{ending}"
    words = _OTHER.sub("-", field_id.lower()).strip("-")[:30].strip("-")
    digest = hashlib.sha256(field_id.encode("utf-8", "surrogatepass")).hexdigest()[:20]
    return f"field-{'_'.join(filter(None, (words, digest)))}_.{ending}"


def check_page(path: Path, html: str) -> None:
    """Refuse a place at which no page of the same kind stands.

    Raises
    ------
    StoreError
    """
    check_target(path, is_ours=_like(html.encode("utf-8", "replace")))


def save_page(path: Path, html: str) -> None:
    """Write a page, if need be over an older one of ours of the same kind.

    Raises
    ------
    StoreError
        Something else is there, or writing failed.
    """
    data = html.encode("utf-8", "replace")
    save_file(path, data, is_ours=_like(data))


def _like(page: bytes) -> Callable[[bytes], bool]:
    """Whether what begins so is a page of the same kind: it says so near its top, as ours do."""
    found = _GENERATOR.search(page[:_TOP])
    assert found is not None, "every page of ours says what it is"
    mark = found.group()
    return lambda there: there.startswith(_START) and mark in there[:_TOP]


def save_pdf(path: Path, html: str) -> None:
    """The same as PDF.

    Raises
    ------
    SeasonProblems
        When no PDF can be made here.
    StoreError
        Something else is there, or writing failed.
    """
    made = pdf_bytes(html)
    save_file(path, made, is_ours=lambda there: there.startswith(b"%PDF") and _marked(path))


def make_folder(folder: Path) -> None:
    """Make a folder for pages, where there is none yet.

    Raises
    ------
    StoreError
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        step = "choose another name"
        raise StoreError(str(folder), "a file is there already", next_step=step) from error
    except OSError as error:
        step = write_step(error, otherwise="choose a folder you may write to")
        raise StoreError(str(folder), error.strerror or str(error), next_step=step) from error


def _marked(path: Path) -> bool:
    """Whether a PDF has our identifier at its end."""
    return b"(%s)" % MARK in path.read_bytes()[-_TAIL:]
