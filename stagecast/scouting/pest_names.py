"""The pest that was asked for by name, or one sentence on why there is none."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from stagecast.errors import Problem, SeasonProblems
from stagecast.knowledge.pest import Pest
from stagecast.season.known_pests import PestNames, did_you_mean


def find_pest(name: str, pests: Mapping[str, Pest]) -> Pest:
    """The pest with a name, in any case, singular or plural, with blanks or hyphens.

    Raises
    ------
    SeasonProblems
        When no pest has the name, or when several have.
    """
    names = PestNames.of(pests)
    found = names.find(name)
    if len(found) == 1:
        return pests[found[0]]
    if found:
        several = "several pests are called so"
        raise SeasonProblems([Problem("NAME", several, found=name, accepted=", ".join(found))])
    raise SeasonProblems([_unknown(name, names)])


def _unknown(name: str, names: PestNames) -> Problem:
    near = names.near(name)
    step = "`stagecast pest` lists them all"
    if near:
        step = f"{did_you_mean(near)} {step}"
    elif _is_folder(name):
        step = f"this is a folder; name the pest first: `stagecast pest NAME {name}`"
    return Problem("NAME", "there is no such pest", found=name, next_step=step)


def _is_folder(name: str) -> bool:
    try:
        return bool(name.strip()) and Path(name).is_dir()
    except (OSError, ValueError):  # too long for a path, or a character that none may have
        return False
