"""Write pages into files: never over what is somebody else's, under names that are safe."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from stagecast.errors import StoreError, write_step
from stagecast.outputs.pages.pdf import MARK, pdf_bytes
from stagecast.savefile import save_file

GENERATOR = b'<meta name="generator" content="stagecast">'
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


def save_page(path: Path, html: str) -> None:
    """Write a page, if need be over an older one of ours.

    Raises
    ------
    StoreError
        Something else is there, or writing failed.
    """
    save_file(path, html.encode("utf-8", "replace"), is_ours=lambda there: GENERATOR in there)


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
