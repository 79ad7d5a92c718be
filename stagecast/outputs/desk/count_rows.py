"""Counts in rows of a form: a pest to pick, and a number for each set."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import get_args

from stagecast.errors import Problem
from stagecast.knowledge import Knowledge
from stagecast.knowledge.pest import SampleUnit
from stagecast.scouting.plan import FieldPlan, SeasonPlan
from stagecast.scouting.visit_work import is_open, pressing

ROWS, SETS = 6, 4
"""How many pests and sets have room; what has none goes into the lines below."""

SIZE, UNIT = "set_size", "set_unit"
NAMES = (
    SIZE,
    UNIT,
    *(f"pest_{row}" for row in range(ROWS)),
    *(f"count_{row}_{number}" for row in range(ROWS) for number in range(SETS)),
)
"""The inputs, as a browser sends them."""

UNITS = get_args(SampleUnit)
_APART = re.compile(r"[\s,;:]")


@dataclass(frozen=True, slots=True)
class CountRows:
    """What the rows offer.

    Attributes
    ----------
    planned, others : tuple of (str, str)
        Id and name of pests: those that the visit is for, and all others.
    """

    planned: tuple[tuple[str, str], ...]
    others: tuple[tuple[str, str], ...]


def count_rows(knowledge: Knowledge, plan: SeasonPlan | None, field: FieldPlan | None) -> CountRows:
    """The pests of a field's visit first, as its plan has them; leaf loss has its own input."""
    leaf = knowledge.decisions.leaf_loss.pest
    likely: list[str] = []
    if plan is not None and field is not None:
        day = plan.loaded.as_of
        open_then = sorted((w for w in field.windows if is_open(w, day)), key=pressing)
        likely = list(dict.fromkeys(w.pest for w in open_then if w.pest and w.pest != leaf))
    planned = likely[: int(knowledge.revisit.planned_pests)]
    rest = sorted(knowledge.pests.values(), key=lambda pest: pest.name)
    others = [pest.id for pest in rest if pest.id not in planned and pest.id != leaf]
    named = {pest.id: pest.name for pest in rest}
    return CountRows(
        tuple((one, named[one]) for one in planned), tuple((one, named[one]) for one in others)
    )


def blank_rows(rows: CountRows, knowledge: Knowledge, field: FieldPlan | None) -> dict[str, str]:
    """The rows before anything is typed: the planned pests picked, the usual set."""
    sampling = None if field is None else knowledge.sampling.get(field.visit.sample)
    words = [] if sampling is None else sampling.unit.split()
    size = str(int(knowledge.sweeps.usual_set))
    if words and words[-1] == "sweeps":
        size = next((word for word in words if word.isdecimal()), size)
    picked = {f"pest_{row}": pest for row, (pest, _) in enumerate(rows.planned[:ROWS])}
    return dict.fromkeys(NAMES, "") | {SIZE: size, UNIT: "sweeps"} | picked


def sets_of_rows(values: Mapping[str, str], *, called: str) -> tuple[list[str], list[Problem]]:
    """The sets as the lines of the form have them, and what is wrong with the rows.

    Parameters
    ----------
    values : mapping
        Input -> text. A blank number is a pest that was not looked for in the set.
    called : str
        What a person typed them into, for problems.

    Returns
    -------
    (list of str, list of Problem)
    """
    problems = [Problem(called, message, found=found) for message, found in _wrong(values)]
    columns = [_column(values, number) for number in range(SETS)]
    size = f"{values.get(SIZE, '').strip()} {values.get(UNIT, '').strip()}".strip()
    return [f"{size}: {'; '.join(counts)}" for counts in columns if counts], problems


def _column(values: Mapping[str, str], number: int) -> list[str]:
    """What one set holds."""
    found = []
    for row in range(ROWS):
        count = values.get(f"count_{row}_{number}", "").strip()
        if count:
            found.append(f"{values.get(f'pest_{row}', '').strip()} {count}")
    return found


def _wrong(values: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    for row in range(ROWS):
        typed = [values.get(f"count_{row}_{number}", "").strip() for number in range(SETS)]
        counts = [count for count in typed if count]
        if counts and not values.get(f"pest_{row}", "").strip():
            yield f"pest {row + 1} has numbers and no name: pick it", ", ".join(counts)
        for number, count in enumerate(typed, start=1):
            if _APART.search(count):
                yield f"pest {row + 1}, set {number}: not a number", count
