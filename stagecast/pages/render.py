"""Pages as HTML from templates, and saved whole or not at all."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache, partial
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from stagecast.base.errors import Problem, SeasonProblems, StoreError, write_step
from stagecast.base.savefile import NewFile, check_target, save_files
from stagecast.base.textfiles import clean
from stagecast.pages.pdf import MARK, pdf_bytes

PDF = ".pdf"
LINE_BREAKS = "\n\t"


@cache
def environment() -> Environment:
    """The template engine: always escaping, and a name that is not given is an error."""
    made = Environment(
        loader=PackageLoader("stagecast.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.filters["visible"] = visible
    made.filters["css_text"] = css_text
    return made


def css_text(text: str) -> Markup:
    """Text as a string in a style sheet, in which nothing ends it or the sheet."""
    return Markup(
        '"' + "".join(c if c.isalnum() or c in " ,." else f"\\{ord(c):x} " for c in text) + '"'
    )


def visible(text: str) -> str:
    """Text of a person as it may stand on a page; line breaks stay."""
    return "".join(char if char in LINE_BREAKS else clean(char) for char in text)


def render(
    template: str, *, script: str | Sequence[str] = (), connect: bool = False, **values: Any
) -> str:
    """Render a page.

    Parameters
    ----------
    template: name of a file in ``templates``; it extends ``base.html``
    script: name of a script in ``templates`` that the page runs; several are run as one, in order
    connect: whether it may ask the desk that served it
    **values: what the template names. Text is escaped there, never here.
    """
    names = (script,) if isinstance(script, str) else script
    source = "\n".join(map(asset, names))
    return (
        environment()
        .get_template(template)
        .render(
            style=Markup(asset("style.css")),
            script=Markup(source),
            policy=_policy(source, connect=connect),
            **values,
        )
    )


_BODY = re.compile(r"<body>\n(.*?)\n</body>", re.DOTALL)
_SKIP = re.compile(r'<a class="skip"[^>]*>[^<]*</a>\n')
_NAMED = re.compile(r'( (?:id|for|aria-labelledby|aria-describedby)=")([^"]+)(")')
_SECTION = re.compile(r'(<section[^>]*?) aria-labelledby="[^"]*"')
_PARTS = (("header", "div"), ("main", "article"), ("footer", "div"))
_APART = "<style>.apart + .apart { break-before: page; margin-top: 3rem; }</style>"


def on_one_page(pages: Sequence[str]) -> str:
    """Several pages of one kind as one, each of which begins a sheet of paper; none has a script.

    What a person wrote stands in them with its quotes escaped, so only our own ids are renamed.
    """
    bodies = []
    for number, html in enumerate(pages, start=1):
        found = _BODY.search(html)
        assert found is not None, "every page of ours has a body"
        body = _NAMED.sub(partial(_numbered, number=number), _SKIP.sub("", found[1]))
        body = _SECTION.sub(r"\1", body)  # the sections of two letters have the same names
        for tag, plain in _PARTS:
            body = re.sub(rf"<{tag}[^>]*>", f"<{plain}>", body).replace(f"</{tag}>", f"</{plain}>")
        bodies.append(f'<div class="apart">\n{body}\n</div>')
    first = pages[0]
    start, end = first.index("<body>") + len("<body>"), first.index("</body>")
    main = f'<header></header>\n<main id="main">\n{_APART}\n{"".join(bodies)}\n</main>'
    return f"{first[:start]}\n{main}\n{first[end:]}"


def _numbered(attribute: re.Match[str], *, number: int) -> str:
    """An attribute of ids, each with a number after it."""
    before, names, after = attribute.groups()
    return before + " ".join(f"{name}-{number}" for name in names.split()) + after


@cache
def asset(name: str) -> str:
    """A style sheet or script of our own, as it stands in ``templates``."""
    return (files("stagecast.pages") / "templates" / name).read_text("utf-8")


def _policy(script: str, *, connect: bool) -> str:
    """What a browser may do with the page: run this very script, and fetch nothing from others."""
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    scripts = f"'sha256-{digest}'" if script else "'none'"
    connects = "connect-src 'self'; " if connect else ""
    return (
        f"default-src 'none'; style-src 'unsafe-inline'; script-src {scripts}; "
        f"{connects}img-src data:; base-uri 'none'; form-action 'self'"
    )


_GENERATOR = re.compile(rb'<meta name="generator" content="stagecast[^"]*">')
_START, _TOP = b"<!doctype html>", 1024
_TAIL = 1024
_PLAIN = re.compile(r"[A-Z0-9]{1,40}(?:-[A-Z0-9]{1,40})?")
_WORDS = re.compile(r"[a-z0-9]+(?: [a-z0-9]+){0,5}")
_OTHER = re.compile(r"[^a-z0-9]+")


def file_name(field_id: str, ending: str) -> str:
    """A name for the file of a field: ``field-F01.html``.

    Any other id than plain capitals and digits is written in small letters, and told from all
    ids by a digest of it: no two meet, on no file system, and none has a folder in it.
    """
    if _PLAIN.fullmatch(field_id):
        return f"field-{field_id}.{ending}"
    return f"field-{_told_apart(field_id)}.{ending}"


def letter_name(grower: str, ending: str) -> str:
    """The same for the letter to a grower: ``letter-grower-a.html``; small letters are no other."""
    name = " ".join(grower.casefold().split())
    told = name.replace(" ", "-") if _WORDS.fullmatch(name) else _told_apart(name)
    return f"letter-{told}.{ending}"


def _told_apart(name: str) -> str:
    words = _OTHER.sub("-", name.lower()).strip("-")[:30].strip("-")
    digest = hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:20]
    return f"{'_'.join(filter(None, (words, digest)))}_"


def save_page(path: Path, html: str) -> None:
    """Write a page, if need be over an older one of ours of the same kind.

    Raises
    ------
    StoreError
        Something else is there, or writing failed.
    """
    save_files([_page(path, html)])


def save_pages(
    pages: Mapping[Path, str], *, beside: Iterable[NewFile] = (), gone: Iterable[Path] = ()
) -> None:
    """Write several, those that end in .pdf as PDF: all of them, or none.

    Files of other kinds go ``beside`` them, and older ones that are ``gone`` with them, as one set.

    Raises
    ------
    SeasonProblems
        With all that is in the way.
    StoreError
        Writing failed.
    """
    new = [(_pdf if path.suffix == PDF else _page)(path, html) for path, html in pages.items()]
    new += beside
    problems = []
    for file in new:
        try:
            check_target(file.path, is_ours=file.is_ours)
        except StoreError as error:
            problems.append(Problem(error.path, error.reason, next_step=error.next_step))
    if problems:
        raise SeasonProblems(problems)
    save_files(new, gone=gone)


def _page(path: Path, html: str) -> NewFile:
    data = html.encode("utf-8", "replace")
    return NewFile(path, data, _like(data))


def _pdf(path: Path, html: str) -> NewFile:
    ours = partial(_our_pdf, path)
    return NewFile(path, pdf_bytes(html), ours)


def _our_pdf(path: Path, there: bytes) -> bool:
    return there.startswith(b"%PDF") and _marked(path)


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
    save_files([_pdf(path, html)])


def make_folder(folder: Path) -> None:
    """Make a folder for pages, where there is none yet.

    Raises
    ------
    StoreError
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        reason, step = "a file is there already", "choose another name, or move it away"
        if folder.is_symlink():
            reason, step = "this is a link that leads to no folder", "take the link away"
        raise StoreError(str(folder), reason, next_step=step) from error
    except OSError as error:
        step = write_step(error, otherwise="choose a folder you may write to")
        raise StoreError(str(folder), error.strerror or str(error), next_step=step) from error


def _marked(path: Path) -> bool:
    """Whether a PDF has our identifier at its end."""
    return b"(%s)" % MARK in path.read_bytes()[-_TAIL:]
