"""The documents that people read, for tests that hold them against the code."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
GUIDE = {p.stem: p.read_text("utf-8") for p in sorted((ROOT / "stagecast" / "guide").glob("*.md"))}
"""Topic -> its text."""

FOR_PEOPLE = {"README": README, **GUIDE}
"""What a person who scouts reads."""


def fences(language: str, text: str) -> list[str]:
    """The fenced blocks of a language, in order."""
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def quoted(text: str) -> set[str]:
    """What stands in single back quotes outside fences."""
    return set(re.findall(r"`([^`\n]+)`", re.sub(r"^```.*?^```", "", text, flags=re.M | re.S)))


def keys_said(start: str) -> set[str]:
    """Everything in back quotes in the paragraph of the guide's JSON that starts so."""
    (text,) = re.findall(rf"^{start}(.*?)\n\n", GUIDE["json"] + "\n", re.MULTILINE | re.DOTALL)
    return set(re.findall(r"`([a-z_0-9]+)`", text))
