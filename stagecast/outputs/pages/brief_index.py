"""The page that leads to every grower's page of a season."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from urllib.parse import quote

from stagecast.outputs.pages.brief import Brief
from stagecast.outputs.pages.plain_words import LONGEST_TEXT, plain_day, stage_said, typed
from stagecast.outputs.pages.render import render
from stagecast.scouting.plan import SeasonPlan


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
    return render(
        "brief_index.html",
        made=f"{plain_day(day, weekday=True)}, {day.year}",
        rows=[
            {
                "file": quote(names[one.field_id]),
                "field": " ".join(filter(None, (typed(one.field_id), typed(one.name)))),
                "grower": typed(one.grower),
                "stage": stage_said(one.stage),
                "closed": one.closed is not None,
            }
            for one in briefs
        ],
        refused=[
            typed(problem.sentence(), most=3 * LONGEST_TEXT) for problem in season.loaded.refused
        ],
    )
