"""Which pest a person means: by id, name, short name, other name or scientific name."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from pathlib import Path

from stagecast.errors import Problem, SeasonProblems
from stagecast.knowledge.pest import Pest

LONGEST_NAME = 80
SUGGESTED = 4


def find_pest(name: str, pests: Mapping[str, Pest]) -> Pest:
    """The pest with a name, in any case, with blanks or hyphens between its words.

    Raises
    ------
    SeasonProblems
        When no pest has the name, or when several have.
    """
    asked = _plain(name[:LONGEST_NAME])
    for names_of in (_first_names, _other_names):
        found = [pest for pest in pests.values() if asked in names_of(pest)]
        # A complex is named by its species too; the file of the species itself is meant.
        found = [pest for pest in found if pest.counted_with is not None] or found
        if len(found) == 1:
            return found[0]
        if found:
            ids = ", ".join(pest.id for pest in found)
            raise SeasonProblems(
                [Problem("NAME", "several pests are called so", found=name, accepted=ids)]
            )
    raise SeasonProblems([_unknown(name, asked, pests)])


def _first_names(pest: Pest) -> set[str]:
    return {_plain(pest.id), _plain(pest.name)}


def _other_names(pest: Pest) -> set[str]:
    return {_plain(name) for name in (pest.short, *pest.also, *pest.scientific)}


def _plain(name: str) -> str:
    return " ".join(name.replace("-", " ").casefold().split())


def _unknown(name: str, asked: str, pests: Mapping[str, Pest]) -> Problem:
    near = suggestions(asked, pests.values())
    step = "`stagecast pest` lists them all"
    if near:
        step = f"did you mean {' or '.join(near)}? {step}"
    elif _is_folder(name):
        step = f"this is a folder; name the pest first: `stagecast pest NAME {name}`"
    return Problem("NAME", "there is no such pest", found=name, next_step=step)


def _is_folder(name: str) -> bool:
    try:
        return bool(name.strip()) and Path(name).is_dir()
    except (OSError, ValueError):  # too long for a path, or a character that none may have
        return False


def suggestions(asked: str, pests: Iterable[Pest]) -> list[str]:
    """Ids of pests whose names hold the text, then of those with a similar name."""
    by_name: dict[str, str] = {}
    # Of a name that a complex has too, the file of the species itself is meant.
    for pest in sorted(pests, key=lambda pest: pest.counted_with is None):
        for name in (*_first_names(pest), *_other_names(pest)):
            by_name.setdefault(name, pest.id)
    names = sorted(by_name)
    close = difflib.get_close_matches(asked, names, n=SUGGESTED, cutoff=0.7)
    holding = [name for name in names if asked and len(asked) > 2 and asked in name]
    return list(dict.fromkeys(by_name[name] for name in (*holding, *close)))[:SUGGESTED]
