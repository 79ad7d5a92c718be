"""Pests by any of the names that people use."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from stagecast.base.errors import Problem, SeasonProblems
from stagecast.knowledge.pest import Pest
from stagecast.knowledge.texts import LONGEST_NAME

SUGGESTED = 4
SHORTEST_HELD = 3
NUMBERS = {"1": "one", "2": "two", "3": "three"}
_NAMES_KEPT = 4096
_WORD = re.compile(r"[^\W_]+")
LIKENESS = 0.7
"""From which likeness on, of 0 to 1, a name counts as a near miss."""


@dataclass(frozen=True, slots=True)
class PestNames:
    """Everything a pest may be called: its id, its names, short names and scientific names.

    Attributes
    ----------
    ids: name in its letters alone -> ids of the pests that bear it.
    singular: the same, of names without the s of a plural.
    words: id -> the words of each of its common names, without the s of a plural.
    accepted: the ids, for a person who has to choose one.
    """

    ids: dict[str, tuple[str, ...]]
    singular: dict[str, tuple[str, ...]]
    words: dict[str, tuple[tuple[str, ...], ...]]
    accepted: str

    @classmethod
    def of(cls, pests: Mapping[str, Pest], *, unread: Collection[str] = ()) -> PestNames:
        """The names of some pests; an id or a full name goes before the other names.

        A complex bears the names of its species too, and then the species itself is meant: of
        several pests the one with the fewest scientific names. ``unread`` are names of pests
        that are not known because their own file is wrong; each stands for itself.
        """
        kinds = {pest.id: len(pest.scientific) for pest in pests.values()}
        first = {pest.id: (pest.id, pest.name) for pest in pests.values()}
        other = {p.id: (p.short, *p.also, *p.scientific) for p in pests.values()}
        ids, alike = (
            _bearers(other, kinds, way) | _bearers(first, kinds, way) for way in (letters, singular)
        )
        for name in unread:
            ids.setdefault(letters(name), (folded(name),))
            alike.setdefault(singular(name), (folded(name),))
        words = {
            pest.id: tuple(tuple(map(singular, _WORD.findall(name))) for name in names_of(pest))
            for pest in pests.values()
        }
        accepted = ", ".join(sorted({pest for bearers in ids.values() for pest in bearers}))
        return cls(ids, alike, words, accepted)

    def find(self, text: str, *, by_words: bool = True) -> tuple[str, ...]:
        """Ids of the pests called so; none or several when the text names no single one.

        ``by_words``: whether some words of a name do.
        """
        if len(" ".join(text.split())) > LONGEST_NAME:
            return ()
        found = self.ids.get(letters(text)) or self.singular.get(singular(text))
        return found or (self._by_words(singular(text)) if by_words else ())

    def _by_words(self, asked: str) -> tuple[str, ...]:
        """Ids of pests of whose name these are some words, in any order: ``stink bug green``.

        What kind of animal it is, alone, names no single pest: not every caterpillar is one of
        velvetbean.
        """
        if len(asked) < SHORTEST_HELD or asked in NUMBERS.values():
            return ()
        found = [
            pest
            for pest, names in self.words.items()
            if any(_made_of(asked, words) for words in names)
        ]
        if len(found) == 1 and any(words[-1:] == (asked,) for words in self.words[found[0]]):
            return ()
        return tuple(found)

    def near(self, text: str) -> list[str]:
        """Ids of pests whose names hold the text, then of those with a similar name."""
        asked = letters(text[:LONGEST_NAME])
        names = sorted(self.ids)
        close = difflib.get_close_matches(asked, names, n=SUGGESTED, cutoff=LIKENESS)
        long_enough = len(asked) >= SHORTEST_HELD
        holding = [name for name in names if long_enough and singular(asked) in name]
        found = (pest for name in (*holding, *close) for pest in self.ids[name])
        return list(dict.fromkeys(found))[:SUGGESTED]


def folded(text: str) -> str:
    """A name without capitals, hyphens, underscores and spare blanks."""
    return " ".join(text.casefold().replace("-", " ").replace("_", " ").split())


def joined(text: str) -> str:
    """The letters and digits of a name alone, without capitals: ``Red-banded`` is ``redbanded``."""
    return "".join(filter(str.isalnum, text.casefold()))


def names_of(pest: Pest) -> tuple[str, ...]:
    """What people call a pest; scientific names are left out, as a complex bears its species'."""
    return (pest.id, pest.name, pest.short, *pest.also)


@lru_cache(maxsize=_NAMES_KEPT)
def letters(text: str) -> str:
    """A pest's name joined, small numbers in words: ``3-cornered`` is ``threecornered``."""
    return "".join(NUMBERS.get(char, char) for char in joined(text))


def did_you_mean(ids: list[str]) -> str:
    """``did you mean corn-earworm?``, or nothing where no name is near."""
    return f"did you mean {' or '.join(ids)}?" if ids else ""


def singular(text: str) -> str:
    """A joined name without the s at its end; both sides of a comparison lose it."""
    return letters(text).removesuffix("s")


def _made_of(asked: str, words: tuple[str, ...]) -> bool:
    """Whether a joined text consists of some of these words, each once at most."""
    if not asked:
        return True
    for i, word in enumerate(words):
        rest = words[:i] + words[i + 1 :]
        if (
            word
            and asked.startswith(word)
            and any(
                asked.startswith(said) and _made_of(asked[len(said) :], rest)
                for said in (word, f"{word}s")
            )
        ):
            return True
    return False


def _bearers(
    names: Mapping[str, tuple[str, ...]], kinds: Mapping[str, int], way: Callable[[str], str]
) -> dict[str, tuple[str, ...]]:
    """Ids of the pests that bear each name, those of the fewest kinds among them."""
    ids: dict[str, dict[str, None]] = {}
    for pest, own in names.items():
        for name in own:
            ids.setdefault(way(name), {})[pest] = None
    return {
        name: tuple(pest for pest in found if kinds[pest] == min(map(kinds.__getitem__, found)))
        for name, found in ids.items()
    }


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
        several = "several pests have this name: say which"
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
