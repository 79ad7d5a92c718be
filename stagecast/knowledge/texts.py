"""Text that a person may be shown: nothing unseen in it, and names that fit a line."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator

from stagecast.base.textfiles import unseen_character

LONGEST_NAME = 80
_LAYOUT = frozenset("\n\r\t")


def checked_text(text: str) -> str:
    """Refuse what steers a screen instead of being read on it; lines and tabs are left.

    Raises
    ------
    ValueError
    """
    if text.isprintable():
        return text
    unseen = unseen_character("".join(char for char in text if char not in _LAYOUT))
    if unseen is not None:
        raise ValueError(f"an invisible character (U+{ord(unseen):04X}) stands in this text")
    return text


def checked_words(text: str) -> str:
    """Refuse a text that says nothing.

    Raises
    ------
    ValueError
    """
    if not text.strip():
        raise ValueError("this must not be blank")
    return text


def checked_name(text: str) -> str:
    """Refuse a name that is blank, longer than a line, or broken into lines.

    Raises
    ------
    ValueError
    """
    unseen = unseen_character(checked_words(text))
    if unseen is not None:
        what = f"a line break or invisible character (U+{ord(unseen):04X})"
        raise ValueError(f"{what} stands in this name")
    if len(text) > LONGEST_NAME:
        raise ValueError(f"this name has {len(text)} characters, more than {LONGEST_NAME}")
    return text


Name = Annotated[str, AfterValidator(checked_name)]
Words = Annotated[str, AfterValidator(checked_words)]
