"""How hard a text is to read, and what of a page is text."""

from __future__ import annotations

import html
import re

_ENDS = re.compile(r"[.!?](?:\s|$)")
_WORD = re.compile(r"[A-Za-z']+")
_DRAWING = re.compile(r'<svg\b[^>]*aria-hidden="true".*?</svg>', re.DOTALL)
_NOT_TEXT = re.compile(r"<(table|svg|style|script)\b.*?</\1>", re.DOTALL)


def body_text(page: str, *, tables: bool) -> str:
    """What a person reads on a page; without tables and charts unless asked for."""
    body = _DRAWING.sub("", page[page.index("<body") :])  # the words beside it are its text
    if tables:
        body = re.sub(r"<(style|script)\b.*?</\1>", "", body, flags=re.DOTALL)
    else:
        body = _NOT_TEXT.sub("", body)
    spaced = re.sub(r"</?(?:bdi|strong)>", "", body)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", spaced)).split())


def grade(text: str) -> float:
    """School grade by the Flesch-Kincaid formula; syllables are counted by runs of vowels.

    References
    ----------
    Kincaid, Fishburne, Rogers and Chissom (1975), Derivation of new readability formulas for
    Navy enlisted personnel, Research Branch Report 8-75: 0.39 words a sentence, 11.8 syllables a
    word, minus 15.59 (from memory).
    """
    words = _WORD.findall(text)
    sentences = max(1, len(_ENDS.findall(text)))
    syllables = sum(map(_syllables, words))
    return 0.39 * len(words) / sentences + 11.8 * syllables / len(words) - 15.59


def _syllables(word: str) -> int:
    runs = re.findall(r"[aeiouy]+", word.lower())
    silent = word.lower().endswith("e") and not word.lower().endswith(("le", "ee"))
    return max(1, len(runs) - (silent and len(runs) > 1))
