"""A page as PDF, where WeasyPrint is installed; nothing is fetched for it."""

from __future__ import annotations

import importlib
import importlib.util
import re
from typing import Any, NoReturn

from stagecast.base.errors import SeasonProblems

MARK = b"stagecast"
"""Stands in the identifier at the end of each file, by which we know our own."""


def need_pdf() -> None:
    """Say at once what to install where no PDF can be made.

    Raises
    ------
    SeasonProblems
    """
    if importlib.util.find_spec("weasyprint") is None:
        step = 'install it with: pip install "stagecast[pdf]", or print the page from a browser'
        raise _cannot("PDF needs WeasyPrint, which is not installed", step)


def pdf_bytes(html: str) -> bytes:
    """The page as PDF.

    Raises
    ------
    SeasonProblems
        When WeasyPrint or the libraries that it needs are not installed.
    """
    need_pdf()
    try:
        weasyprint: Any = importlib.import_module("weasyprint")
    except OSError as error:
        step = "install Pango, as WeasyPrint's manual says, or print the page from a browser"
        raise _cannot("WeasyPrint does not find the libraries it needs", step) from error
    page = weasyprint.HTML(string=styled_charts(html), url_fetcher=_nothing)
    made: bytes = page.write_pdf(pdf_identifier=MARK)
    return made


def styled_charts(html: str) -> str:
    """The page with the rules of its charts inside each, where WeasyPrint looks for them.

    Colors are those of paper, as the page's own rules for print have them.
    """
    style = html.partition("<style>")[2].partition("</style>")[0]
    print_root = style.partition("@media print")[2].partition("}")[0]
    colors = dict(_COLOR.findall(print_root))
    rules = "\n".join(_CHART_RULE.findall(style))
    rules = _VARIABLE.sub(lambda found: colors.get(found[1], "#000"), rules)
    return _SVG.sub(lambda found: f"{found[0]}<style>{rules}</style>", html)


_COLOR = re.compile(r"(--[a-z]+): ([^;]+);")
_VARIABLE = re.compile(r"var\((--[a-z]+)\)")
_CHART_RULE = re.compile(r"^\.chart [^{}]+\{[^{}]*\}", re.MULTILINE)
_SVG = re.compile(r'<svg [^>]*class="chart"[^>]*>')


def _nothing(url: str, *_: object, **__: object) -> NoReturn:
    """A page of ours asks for nothing; if one did, it would not get it."""
    raise ValueError(f"nothing is fetched: {url}")


def _cannot(message: str, step: str) -> SeasonProblems:
    return SeasonProblems.of("--pdf", message, next_step=step)
