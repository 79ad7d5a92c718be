"""The page that leads to every grower's page of a season, grower by grower."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import quote

from stagecast.outputs.pages.brief import Brief
from stagecast.outputs.pages.plain_words import (
    LONGEST_TEXT,
    plain_day,
    short_day,
    stage_said,
    typed,
)
from stagecast.outputs.pages.render import render
from stagecast.scouting.plan import SeasonPlan


@dataclass(frozen=True, slots=True)
class IndexRow:
    """A field in the list: its page, where it stands, what was found, and when we come."""

    file: str
    field: str
    grower: str
    stage: str
    found: str
    above: bool
    next: str
    closed: bool


@dataclass(frozen=True, slots=True)
class GrowerRows:
    """The fields of one grower, in file order."""

    name: str
    rows: tuple[IndexRow, ...]


def index_html(season: SeasonPlan, briefs: Sequence[Brief], names: Mapping[str, str]) -> str:
    """The page, self-contained.

    Parameters
    ----------
    season : SeasonPlan
    briefs : sequence of Brief
    names : mapping
        Field id -> name of its file beside this one.
    """
    day = season.loaded.as_of
    rows = [index_row(one, names[one.field_id]) for one in briefs]
    return render(
        "brief_index.html",
        made=f"{plain_day(day, weekday=True)}, {day.year}",
        decide=[row for row in rows if row.above],
        growers=by_grower(rows),
        refused=[
            typed(problem.sentence(), most=3 * LONGEST_TEXT) for problem in season.loaded.refused
        ],
    )


def index_row(brief: Brief, file: str) -> IndexRow:
    """What the list says of a field."""
    found = brief.found
    seen = "" if found.date is None else f" ({short_day(found.date)})"
    return IndexRow(
        file=quote(file),
        field=" ".join(filter(None, (typed(brief.field_id), typed(brief.name)))),
        grower=typed(brief.grower),
        stage=stage_said(brief.stage),
        found=f"{found.short}{seen}",
        above=found.above,
        next=brief.next_short,
        closed=brief.closed is not None,
    )


def by_grower(rows: Sequence[IndexRow]) -> tuple[GrowerRows, ...]:
    """Growers by name, each with all fields; those without a name come last."""
    found: dict[str, list[IndexRow]] = {}
    for row in rows:
        found.setdefault(row.grower, []).append(row)
    order = sorted(found, key=lambda name: (not name, name.casefold(), name))
    return tuple(GrowerRows(name, tuple(found[name])) for name in order)
