"""Stages seen, held against the field's planting and against one another."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from stagecast.errors import Problem
from stagecast.season.fields import FIELDS_FILE, Field
from stagecast.season.visits import Visit


def order_problems(visits: Iterable[Visit], fields: Iterable[Field]) -> tuple[Problem, ...]:
    """A stage before there was a crop is an error; one that goes backwards is doubtful.

    A visit that found no plant in its stage yet says nothing against any order. What stands in
    the scouting log is never changed, so that there everything is a doubt.
    """
    by_id = {field.field_id: field for field in fields}
    seen = [v for v in visits if v.stage is not None and v.share != 0.0 and v.field_id in by_id]
    last: dict[str, Visit] = {}
    problems: list[Problem] = []
    for visit in sorted(seen, key=lambda v: (v.date, v.line or 0)):
        problems += _against_field(visit, by_id[visit.field_id])
        before = last.get(visit.field_id)
        if before is not None and _backwards(before.stage or "", visit.stage or ""):
            problems.append(_went_back(visit, before))
        last[visit.field_id] = visit
    return tuple(sorted(problems, key=lambda problem: problem.line or 0))


def _against_field(visit: Visit, field: Field) -> Iterator[Problem]:
    if not after_planting(visit, field):
        yield Problem(
            visit.file,
            f"{visit.stage} on {visit.date} is not after planting, {field.planting_date} "
            f"({FIELDS_FILE} line {field.line})",
            visit.line,
            "stage",
            next_step=visit.step("correct the date, or clear the stage"),
            field_id=visit.field_id,
            date=visit.date,
            doubtful=visit.entry is not None,
        )
    elif field.emergence_date is not None and visit.date < field.emergence_date:
        yield Problem(
            visit.file,
            f"{visit.stage} on {visit.date} is before the emergence_date {field.emergence_date} "
            f"({FIELDS_FILE} line {field.line})",
            visit.line,
            "stage",
            next_step=visit.step("check both dates"),
            field_id=visit.field_id,
            date=visit.date,
            doubtful=True,
        )


def after_planting(visit: Visit, field: Field) -> bool:
    """Whether there can have been a crop to see."""
    return visit.date > field.planting_date


def _went_back(visit: Visit, before: Visit) -> Problem:
    return Problem(
        visit.file,
        f"{visit.stage} on {visit.date} comes after {before.stage} on {before.date} "
        f"({before.place}): stages do not go backwards",
        visit.line,
        "stage",
        next_step=visit.step("check both stages; both are kept"),
        field_id=visit.field_id,
        date=visit.date,
        doubtful=True,
    )


def _backwards(before: str, after: str) -> bool:
    """Whether the later stage is an earlier one of its kind; V and R run side by side."""
    both_known = before[0] == after[0] or after in ("VE", "VC")
    return both_known and _place(after) < _place(before)


def _place(stage: str) -> float:
    number = {"VE": -1, "VC": 0}.get(stage)
    return float(stage[1:]) if number is None else number
