"""A set in one line of words: ``25 sweeps: stink bugs adults 3, nymphs 1; corn earworm 0``."""

from __future__ import annotations

import difflib
import re

from stagecast.base.tables import parse_number
from stagecast.knowledge.life_stages import GROWN, LARGE, NEVER, SMALL, YOUNG
from stagecast.knowledge.units import JUDGED, SampleUnit
from stagecast.season.log.cells import ACCEPTED_UNITS, JUDGED_SIZE, unit_called
from stagecast.season.log.entries import (
    ACCEPTED_COUNT,
    ACCEPTED_SIZE,
    LARGEST_SET,
    MOST_COUNTED,
    SMALLEST_SET,
    LoggedCount,
    LoggedSet,
    life_stage_of,
    number_as_typed,
)
from stagecast.season.settings.pest_names import LIKENESS, PestNames, did_you_mean, joined

WHOLE_PERCENT = 100.0
EXAMPLE = "25 sweeps: stink bugs adults 3, nymphs 1; corn earworm 0"

KINDS = (GROWN, LARGE, NEVER, SMALL, YOUNG)
_SIZE = re.compile(r"(\S+)\s+(\S.*)")
_COUNT = re.compile(r"(.*\S)\s+(\S+)|(\S+)")


def parse_set(text: str, *, number: int, names: PestNames) -> LoggedSet:
    """Read one set.

    Parameters
    ----------
    text: size and unit; after a colon the counts, each a pest, a life stage if there is one, and a
        number. After a comma the same pest goes on, after a semicolon comes another.
    number: of the set, from 1.
    names: what the pests may be called.

    Raises
    ------
    ValueError
        With a reason a person can act on.
    """
    size_text, colon, counts_text = text.partition(":")
    if not colon:
        _check_colon(size_text.split())
    size, unit = _size(size_text.strip())
    counts: dict[tuple[str, str], LoggedCount] = {}
    for part in counts_text.split(";"):
        pest: str | None = None
        for item in filter(str.strip, part.split(",")):
            count = _count(item.strip(), pest, names)
            pest, key = count.pest, (count.pest, count.life_stage)
            if key in counts:
                raise ValueError(f"{' '.join(filter(None, key))} stands twice in the set")
            if unit == "percent" and count.number > WHOLE_PERCENT:
                raise ValueError(f"{item.strip()!r} is more than all of it, 100 percent")
            counts[key] = count
    return LoggedSet(number, size, unit, tuple(counts.values()))


def _check_colon(words: list[str]) -> None:
    """Refuse counts that follow the unit without a colon; the unit may have several words."""
    if unit_called(" ".join(words[1:])) is not None:
        return
    for end in range(len(words) - 1, 1, -1):
        if unit_called(" ".join(words[1:end])) is not None:
            head, rest = " ".join(words[:end]), " ".join(words[end:])
            raise ValueError(f"put a colon after the unit: {head}: {rest}")


def _size(text: str) -> tuple[float, SampleUnit]:
    """Size and unit of a set; what is judged may go without a size."""
    judged = unit_called(text)
    if judged in JUDGED:
        return 1.0, judged
    found = _SIZE.fullmatch(text)
    if found is None:
        raise ValueError("a set begins with its size and unit")
    unit = unit_called(found[2])
    if unit is None:
        raise ValueError(f"{found[2]!r} is not a unit that sets are taken in ({ACCEPTED_UNITS})")
    size = _number(found[1])
    if size <= 0:
        raise ValueError("a set must have a size above 0")
    if not SMALLEST_SET <= size <= LARGEST_SET:
        raise ValueError(f"no set has this size: found {size:g}, accepted {ACCEPTED_SIZE}")
    if unit in JUDGED and size != 1:
        raise ValueError(f"{text!r}: {JUDGED_SIZE}")
    return size, unit


def set_text(one: LoggedSet) -> str:
    """The set as :func:`parse_set` reads it."""
    pests: dict[str, list[str]] = {}
    for count in one.counts:
        said = f"{count.life_stage} {number_as_typed(count.number)}".strip()
        pests.setdefault(count.pest, []).append(said)
    counts = "; ".join(f"{pest} {', '.join(said)}" for pest, said in pests.items())
    size = one.unit if one.unit in JUDGED else f"{number_as_typed(one.size)} {one.unit}"
    return f"{size}: {counts}" if counts else size


def _count(item: str, pest: str | None, names: PestNames) -> LoggedCount:
    """``stink bugs adults 3``, or ``nymphs 1`` of the pest before."""
    found = _COUNT.fullmatch(item)
    words = (found[1] if found else None) or ""
    number_text = (found[2] or found[3]) if found else item
    if pest is None and not words:
        raise ValueError(f"{item!r} is not a pest and a number")
    number = _number(number_text)
    if number < 0:
        raise ValueError(f"{item!r} is below 0")
    if number > MOST_COUNTED:
        raise ValueError(
            f"{item!r} is too many to count: found {number:g}, accepted {ACCEPTED_COUNT}"
        )
    named, life_stage = _split(words, names)
    if named is None:
        if pest is None:
            near = did_you_mean(names.near(words))
            raise ValueError(
                f"no pest of the name {words!r} is known"
                + (f"; {near}" if near else "; `stagecast pest` lists them")
            )
        named = pest
        _doubt_slip(words, names)
    if ":" in life_stage:
        raise ValueError(f"{item!r}: a colon stands only after the size of the set")
    return LoggedCount(named, life_stage_of(life_stage), number)


def _doubt_slip(words: str, names: PestNames) -> None:
    """Refuse a misspelt pest, which after a comma would be taken for a life stage."""
    close = difflib.get_close_matches(joined(words), names.ids, n=1, cutoff=LIKENESS)
    if close:
        meant = did_you_mean(list(names.ids[close[0]]))
        raise ValueError(f"{words!r} is no life stage and no pest that is known; {meant}")


def _split(words: str, names: PestNames) -> tuple[str | None, str]:
    """Pest and life stage: the longest beginning that names a pest, and the rest.

    Some words of a name are a name only before what is known as a life stage: ``corn earwrm`` is
    no earworm.
    """
    parts = words.split()
    for end in range(len(parts), 0, -1):
        whole = all(any(kind.search(part.casefold()) for kind in KINDS) for part in parts[end:])
        found = names.find(" ".join(parts[:end]), by_words=whole)
        if len(found) > 1:
            called = " ".join(parts[:end])
            raise ValueError(f"several pests are called {called!r}; say which: {', '.join(found)}")
        if found:
            return found[0], " ".join(parts[end:])
    return None, words


def _number(text: str) -> float:
    try:
        return parse_number(text)
    except ValueError as error:
        raise ValueError(f"{text!r}: {error}") from None
